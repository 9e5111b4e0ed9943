"""A bad link between phone and server: a proxy on this machine that loses messages the way a field does.

`faults` names what happens to the next API questions, one a question, in order:
  ask      the connection breaks before the server has heard anything
  answer   the server has done its work and the answer is lost
  half     half of the answer arrives
  busy     something between answers 503 in the server's place
  portal   a sign-in page answers in the server's place
  ok       nothing is wrong; so is everything once the list has ended
"""

import json
import threading
from collections import Counter
from http.client import HTTPConnection
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

HOP = {"connection", "keep-alive", "transfer-encoding", "content-length", "server", "date"}
API = "/api/v1/"


class Handler(BaseHTTPRequestHandler):
    server: "Link"

    def answer(self) -> None:
        body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        is_api = self.path.startswith(API)
        fault = self.server.next_fault() if is_api else "ok"
        if is_api:
            self.server.note(self.command, self.path, fault, body)
        if fault == "ask":
            return self.cut()
        if fault in ("busy", "portal"):
            return self.stand_in(fault)
        try:
            status, headers, data = self.forward(body)
        except OSError:
            return self.cut()
        if fault == "answer":
            return self.cut()
        return self.pass_on(status, headers, data, len(data) // 2 if fault == "half" else len(data))

    def forward(self, body: bytes) -> tuple[int, list[tuple[str, str]], bytes]:
        connection = HTTPConnection("127.0.0.1", self.server.target, timeout=30)
        connection.request(self.command, self.path, body, dict(self.headers))
        response = connection.getresponse()
        data = response.read()
        connection.close()
        return response.status, [(name, value) for name, value in response.getheaders() if name.lower() not in HOP], data

    def pass_on(self, status: int, headers: list[tuple[str, str]], data: bytes, count: int) -> None:
        self.send_response(status)
        for name, value in [*headers, ("Content-Length", str(len(data)))]:
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(data[:count])
        self.close_connection = True

    def stand_in(self, fault: str) -> None:
        if fault == "busy":
            problem = {"error": [{"code": "away", "field": "", "text": "Try again soon."}]}
            return self.pass_on(
                503, [("Content-Type", "application/json"), ("Retry-After", "1")], json.dumps(problem).encode(), 999
            )
        return self.pass_on(200, [("Content-Type", "text/html")], b"<!doctype html><p>Sign in to this network.", 999)

    def cut(self) -> None:
        self.close_connection = True

    do_GET = do_POST = do_PUT = answer

    def log_message(self, format: str, *args) -> None:
        """Say nothing: the tests look at `asked`."""


class Link(ThreadingHTTPServer):
    daemon_threads = True
    request_queue_size = 256  # a browser fetches the whole app at once

    def __init__(self, target: int):
        super().__init__(("127.0.0.1", 0), Handler)
        self.target, self.url = target, f"http://127.0.0.1:{self.server_port}"
        self.faults: list[str] = []
        self.counts: Counter[str] = Counter()
        self.asked: list[tuple[str, str, str, bytes]] = []
        self.guard = threading.Lock()
        threading.Thread(target=self.serve_forever, daemon=True).start()

    def next_fault(self) -> str:
        with self.guard:
            return self.faults.pop(0) if self.faults else "ok"

    def note(self, method: str, path: str, fault: str, body: bytes) -> None:
        with self.guard:
            self.counts[fault] += 1
            self.asked.append((method, path.removeprefix(API), fault, body))

    def handle_error(self, request, client_address) -> None:
        """A phone that hung up is no news here."""

    def stop(self) -> None:
        self.shutdown()
        self.server_close()
