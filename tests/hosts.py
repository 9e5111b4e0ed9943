"""Hosts of one installation on this machine: servers in processes of their own and deploy/nginx.conf in front of them."""

import os
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

CHECKOUT = Path(__file__).parents[1]
AROUND = """
daemon off;
{user}
pid {folder}/nginx.pid;
error_log {folder}/nginx.log warn;
events {{ worker_connections 1024; }}
http {{
    access_log off;
    client_body_temp_path {folder}/body;
    proxy_temp_path {folder}/proxy;
    fastcgi_temp_path {folder}/fastcgi;
    uwsgi_temp_path {folder}/uwsgi;
    scgi_temp_path {folder}/scgi;
    include {folder}/railcase.conf;
}}
"""
CERTIFICATE = "/etc/letsencrypt/live/cases.example.org"


def write_nginx(folder: Path, hosts: tuple[int, int], port: int, plain_port: int) -> Path:
    """deploy/nginx.conf with the places of this machine in it, and a certificate that nobody vouches for."""
    text = (CHECKOUT / "deploy/nginx.conf").read_text()
    lines = [line for line in text.splitlines() if "listen [::]" not in line]
    changes = {
        "192.0.2.11:8700": f"127.0.0.1:{hosts[0]}",
        "192.0.2.12:8700": f"127.0.0.1:{hosts[1]}",
        "listen 80;": f"listen 127.0.0.1:{plain_port};",
        "listen 443 ssl": f"listen 127.0.0.1:{port} ssl",
        CERTIFICATE: str(folder),
    }
    text = "\n".join(lines)
    for old, new in changes.items():
        assert old in text, old
        text = text.replace(old, new)
    (folder / "railcase.conf").write_text(text)
    make = "openssl req -x509 -newkey rsa:2048 -nodes -days 2 -subj /CN=localhost -keyout privkey.pem -out fullchain.pem"
    subprocess.run(make.split(), cwd=folder, check=True, capture_output=True)
    main = folder / "nginx.conf"
    main.write_text(AROUND.format(folder=folder, user="user root;" if os.geteuid() == 0 else ""))
    return main


class Host:
    """One server; it keeps its own folder, its port and its settings over restarts."""

    def __init__(self, folder: Path, port: int, **settings: str):
        folder.mkdir(exist_ok=True)
        self.port, self.log = port, (folder / "server.log").open("ab")
        self.env = {**os.environ, "RAILCASE_DATA": str(folder), **settings}
        self.process: subprocess.Popen | None = None

    def start(self) -> "Host":
        command = [sys.executable, "-m", "webapp", "serve", "--port", str(self.port), "--workers", "2"]
        self.process = subprocess.Popen(command, env=self.env, stdout=self.log, stderr=self.log, cwd=CHECKOUT)
        return self

    def stop(self) -> None:
        """As systemd does: ask, and wait."""
        if self.process:
            self.process.terminate()
            assert self.process.wait(60) == 0, Path(self.log.name).read_text()[-2000:]
            self.process = None

    def list_errors(self) -> list[str]:
        lines = Path(self.log.name).read_text().splitlines()
        return [line[:1500] for line in lines if '"level": "ERROR"' in line][-3:]

    def wait(self, seconds: float = 60) -> None:
        end = time.monotonic() + seconds
        while True:
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/readyz", timeout=5):
                    return
            except (OSError, urllib.error.URLError):
                assert time.monotonic() < end, Path(self.log.name).read_text()[-2000:]
                time.sleep(0.1)
