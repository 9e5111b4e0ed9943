"""A machine as deploy/pages/install.md leaves it, in a folder: the pages' commands run there as they are written.

Only what cannot be had without rights or systemd is stood in for: folders at the root lie in the machine's folder, the port
is a free one, there is no user railcase, `systemctl` really starts and stops the server with the settings of
/etc/railcase/env, and a version's virtual environment is this checkout's.
"""

import os
import re
import signal
import socket
import subprocess
import sys
from pathlib import Path

CHECKOUT = Path(__file__).parents[2]
PAGES = CHECKOUT / "deploy/pages"
ROOTS = ("/opt/railcase", "/etc/railcase", "/var/lib/railcase", "/var/backups/railcase", "/usr/local/sbin")
BLOCK = re.compile(r"```sh(?: (\w+))?\n(.*?)```", re.S)
SYSTEMCTL = """#!/bin/sh
# systemctl start|stop|restart railcase, or start railcase-backup.service
set -eu
echo "$*" >> {root}/asked
case "$*" in
"start railcase-backup.service")
    set -a; RAILCASE_DATA={root}/var/lib/railcase; . {root}/etc/railcase/env; set +a
    PATH={root}/opt/railcase/current/bin:$PATH exec {root}/usr/local/sbin/railcase-backup {root}/var/backups/railcase ;;
esac
case "$1" in stop|restart)
    if [ -f {root}/pid ]; then
        kill -TERM "$(cat {root}/pid)"
        while kill -0 "$(cat {root}/pid)" 2>/dev/null; do sleep 0.1; done
        rm {root}/pid
    fi
esac
case "$1" in start|restart)
    set -a; RAILCASE_DATA={root}/var/lib/railcase; . {root}/etc/railcase/env; set +a
    setsid {root}/opt/railcase/current/bin/railcase serve --port {port} --workers 1 >> {root}/log 2>&1 < /dev/null &
    echo $! > {root}/pid
esac
"""


class Machine:
    def __init__(self, root: Path):
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.root = root
        for name in (*ROOTS, "/bin"):
            self.at(name).mkdir(parents=True)
        for name in ("railcase-admin", "railcase-backup"):
            self.write(f"/usr/local/sbin/{name}", (CHECKOUT / "deploy/systemd" / name).read_text())
        self.write("/bin/systemctl", SYSTEMCTL.format(root=root, port=self.port))
        self.at("/etc/railcase/env").write_text((CHECKOUT / "deploy/env.example").read_text())
        self.add_version("1.0.0")
        self.at("/opt/railcase/current").symlink_to(self.at("/opt/railcase/1.0.0"))

    def at(self, path: str) -> Path:
        return self.root / path.lstrip("/")

    def write(self, path: str, text: str) -> None:
        """A program; folders at the root become the machine's."""
        self.at(path).write_text(self.place(text))
        self.at(path).chmod(0o755)

    def place(self, text: str) -> str:
        text = re.sub(rf"(?<!\w)({'|'.join(ROOTS)})", rf"{self.root}\1", text)  # a path of the machine's stays as it is
        text = text.replace("install -d -o railcase -g railcase", "install -d")
        return text.replace("127.0.0.1:8700", f"127.0.0.1:{self.port}")

    def add_version(self, version: str, tables: str = "") -> None:
        """`tables`: what this version answers to `railcase tables`."""
        self.at(f"/opt/railcase/{version}/bin").mkdir(parents=True)
        answer = f'[ "$1" = tables ] && {{ echo {tables}; exit; }}\n' if tables else ""
        program = f'#!/bin/sh\n{answer}PYTHONPATH={CHECKOUT} exec {sys.executable} -m webapp "$@"\n'
        self.write(f"/opt/railcase/{version}/bin/railcase", program)

    def run(self, script: str, folder: Path | None = None) -> str:
        user = os.environ.get("USER") or "root"
        path = f"{self.at('/bin')}:{self.at('/usr/local/sbin')}:{os.environ['PATH']}"
        env = {key: value for key, value in os.environ.items() if not key.startswith("RAILCASE")}
        env |= {"PATH": path, "RAILCASE_USER": user}
        done = subprocess.run(["sh", "-eu", "-c", self.place(script)], env=env, cwd=folder or self.root, text=True,
                              stdout=subprocess.PIPE, stderr=subprocess.STDOUT, timeout=120)  # fmt: skip
        assert done.returncode == 0, f"{script}\n{done.stdout}"
        return done.stdout

    def follow(self, page: str, *kinds: str, folder: Path | None = None, leave_out: str = "no such words") -> str:
        """Run a page's blocks, all in one shell: those of no kind and of `kinds`, but those that hold `leave_out`."""
        blocks = BLOCK.findall((PAGES / page).read_text())
        chosen = [text for kind, text in blocks if (not kind or kind in kinds) and leave_out not in text]
        assert chosen, page
        return self.run("\n".join(chosen), folder)

    def asked(self) -> list[str]:
        return self.at("asked").read_text().splitlines()

    def stop(self) -> None:
        if self.at("pid").exists():
            os.kill(int(self.at("pid").read_text()), signal.SIGTERM)
