"""The stage of the browser tests: a real server that can be stopped, and browsers that report every violation.

Rules for this folder: the server is the installed command in a process of its own; 'offline' means that this process is
gone, not a browser flag. Chromium is the machine's own (`apt-get install chromium`).
"""

import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

from playwright.sync_api import BrowserContext, Page

CHECKOUT = Path(__file__).parents[1]
CHROMIUM = os.environ.get("RAILCASE_CHROMIUM", "/usr/bin/chromium")
PASSWORD = "a long enough password"
PHONE_SIZE = {"width": 360, "height": 740}
DESK_SIZE = {"width": 1280, "height": 800}
UNREACHABLE = re.compile(r"net::ERR_(CONNECTION_REFUSED|CONNECTION_RESET|EMPTY_RESPONSE|FAILED|INTERNET_DISCONNECTED)")


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Server:
    """railcase as a process: start, stop, start again on the same data and port."""

    def __init__(self, data: Path, program: Path = CHECKOUT):
        self.data, self.program, self.port, self.process = data, program, free_port(), None
        self.url = f"http://127.0.0.1:{self.port}"

    def run(self, *args: str) -> str:
        """Run one railcase command on this server's data; return what it prints."""
        done = subprocess.run(
            [sys.executable, "-m", "webapp", *args], env=self.env(), cwd=CHECKOUT, capture_output=True, text=True
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    def env(self) -> dict:
        return {**os.environ, "RAILCASE_DATA": str(self.data), "RAILCASE_URL": self.url}

    def start(self) -> None:
        command = [sys.executable, "-m", "webapp", "serve", "--port", str(self.port), "--workers", "2"]
        log = (self.data.parent / "server.log").open("ab")
        self.process = subprocess.Popen(
            command, env=self.env(), cwd=self.program, stdout=log, stderr=log, start_new_session=True
        )
        self.wait_until(True)

    def stop(self) -> None:
        """Kill the server and its workers at once, as a dead signal would."""
        if self.process is not None:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()
            self.process = None
            self.wait_until(False)

    def wait_until(self, is_up: bool, seconds: float = 30.0) -> None:
        end = time.monotonic() + seconds
        while self.answers() is not is_up:
            assert time.monotonic() < end, (self.data.parent / "server.log").read_text()
            time.sleep(0.1)

    def answers(self) -> bool:
        try:
            with urllib.request.urlopen(self.url + "/healthz", timeout=2) as response:
                return response.status == 200
        except OSError:
            return False

    def add_person(self, name: str, login: str, role: str, workshop: str = "Quarry Road Diesel (invented)") -> None:
        words = ["--name", name, "--login", login, "--role", role, "--workshop", workshop, "--password", PASSWORD]
        self.run("person", "add", *words)

    def pairing_code(self, login: str) -> str:
        return re.search(r"Code: (\S+)", self.run("pair", login, "--unchecked")).group(1)


class Complaints:
    """Everything a page says that it should not: console errors, exceptions, policy violations."""

    def __init__(self, context: BrowserContext):
        self.texts: list[str] = []
        context.on("console", lambda message: self.note(message.type, message.text))
        context.on("weberror", lambda error: self.texts.append(f"exception: {error.error}"))
        report = "(e) => console.error(`policy: ${e.violatedDirective} ${e.blockedURI}`)"
        context.add_init_script(f"addEventListener('securitypolicyviolation', {report})")

    def note(self, kind: str, text: str) -> None:
        """Keep errors; a request that found no server is no fault of the page."""
        if kind == "error" and not UNREACHABLE.search(text):
            self.texts.append(text)

    def assert_none(self) -> None:
        assert not self.texts, self.texts


def wait_offline_ready(page: Page) -> None:
    """Wait until the first visit has stored all that an offline start needs."""
    page.wait_for_function("() => navigator.serviceWorker.ready.then(() => navigator.serviceWorker.controller !== null)")
