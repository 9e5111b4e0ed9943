"""The second and third browser engine: WebKitGTK through its WebDriver, Firefox through WebDriver BiDi.

Firefox speaks BiDi on a socket of its own, so no driver program is needed; the few commands used here are those of the
W3C WebDriver BiDi draft (session.new, browsingContext.navigate, script.evaluate).
"""

import itertools
import json
import os
import shutil
import subprocess
import time
from contextlib import suppress
from pathlib import Path

import websocket
from selenium import webdriver
from selenium.webdriver.webkitgtk.options import Options
from selenium.webdriver.webkitgtk.service import Service

from e2e.stage import free_port

START_SECONDS = 60.0


class WebKit:
    """WebKitGTK's small browser under a virtual screen."""

    def __init__(self, folder: Path):
        self.screen = subprocess.Popen(
            ["Xvfb", "-displayfd", "1", "-screen", "0", "800x900x24"], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
        )
        os.environ["DISPLAY"] = ":" + self.screen.stdout.readline().decode().strip()
        options = Options()
        options.binary_location = next(str(p) for p in Path("/usr/lib").glob("*/webkit2gtk-4.*/MiniBrowser"))
        options.add_argument("--automation")
        self.driver = webdriver.WebKitGTK(options=options, service=Service("/usr/bin/WebKitWebDriver"))

    def go(self, url: str) -> None:
        self.driver.get(url)

    def evaluate(self, expression: str) -> object:
        return self.driver.execute_script(f"return ({expression})")

    def close(self) -> None:
        with suppress(Exception):
            self.driver.quit()
        self.screen.terminate()
        self.screen.wait()


class Firefox:
    """Firefox, headless, driven over its BiDi socket."""

    def __init__(self, folder: Path):
        self.profile = folder / "firefox"
        self.profile.mkdir()
        port = free_port()
        command = [shutil.which("firefox-esr") or "firefox", "--headless", "--no-remote", "--profile", str(self.profile)]
        env = {**os.environ, "HOME": str(folder), "MOZ_DISABLE_CONTENT_SANDBOX": "1"}
        self.process = subprocess.Popen(
            [*command, f"--remote-debugging-port={port}"], env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        self.numbers = itertools.count(1)
        self.socket = self.connect(f"ws://127.0.0.1:{port}/session")
        self.send("session.new", {"capabilities": {}})
        self.page = self.send("browsingContext.getTree", {})["contexts"][0]["context"]

    def connect(self, address: str) -> websocket.WebSocket:
        end = time.monotonic() + START_SECONDS
        while True:
            try:
                return websocket.create_connection(address, timeout=START_SECONDS, suppress_origin=True)
            except OSError:
                assert time.monotonic() < end, "Firefox did not open its socket"
                time.sleep(0.2)

    def send(self, method: str, params: dict) -> dict:
        number = next(self.numbers)
        self.socket.send(json.dumps({"id": number, "method": method, "params": params}))
        while True:
            answer = json.loads(self.socket.recv())
            if answer.get("id") == number:
                assert answer["type"] == "success", answer
                return answer["result"]

    def go(self, url: str) -> None:
        self.send("browsingContext.navigate", {"context": self.page, "url": url, "wait": "complete"})

    def evaluate(self, expression: str) -> object:
        wrapped = f"JSON.stringify({expression}) ?? 'null'"
        found = self.send("script.evaluate", {"expression": wrapped, "target": {"context": self.page}, "awaitPromise": True})
        return json.loads(found["result"]["value"])

    def close(self) -> None:
        with suppress(Exception):
            self.socket.close()
        self.process.terminate()
        self.process.wait(20)
