"""The real server in a process of its own that dies where it is told to, and is there again a moment later.

A nursery, forked before there are threads, forks server after server from one application that has not been asked
anything yet, so a death costs a few hundredths of a second. A request names its own death in the header X-Chaos-Kill (the
number of the statement).
"""

import contextlib
import json
import logging
import os
import signal
import socket
import sys
import time
from collections.abc import Callable, Iterable

from werkzeug.serving import WSGIRequestHandler, make_server

from tests.chaos.killing import Trap, kill_process
from webapp.app import create_app
from webapp.settings import Settings
from webapp.store import cases
from webapp.store.refusals import Refusal
from webapp.store.scope import Workshop

KILL, DELAY = "HTTP_X_CHAOS_KILL", 0.002


class Quiet(WSGIRequestHandler):
    def log(self, *_args, **_kwargs) -> None:
        pass


class Application:
    """The WSGI application with its trap, and an address at which the office writes without a browser."""

    def __init__(self, settings: Settings):
        self.app = create_app(settings)
        self.database = self.app.extensions["railcase.database"]
        self.trap = Trap(kill_process)
        self.trap.watch(self.database.engine)

    def __call__(self, environ: dict, start_response: Callable) -> Iterable[bytes]:
        self.trap.arm(int(environ.get(KILL, 0)))
        if environ["PATH_INFO"] == "/chaos/office":
            return self.write_at_the_desk(environ, start_response)
        return self.app(environ, start_response)

    def write_at_the_desk(self, environ: dict, start_response: Callable) -> list[bytes]:
        wanted = json.loads(environ["wsgi.input"].read(int(environ["CONTENT_LENGTH"])))
        status = "200 OK"
        try:
            with self.database.writing() as session:
                workshop = Workshop(session, wanted["workshop"])
                cases.write_entry(workshop, wanted["case"], "office", "note_added", wanted["body"])
        except Refusal:  # the case is still on its phone only, or the database is away
            status = "409 CONFLICT"
        start_response(status, [("Content-Type", "application/json")])
        return [b"{}"]


def serve(application: Application, port: int) -> None:
    """The child's whole life."""
    make_server("127.0.0.1", port, application, threaded=True, request_handler=Quiet).serve_forever()


class Nursery:
    """`pid` of the server that lives now stands in a file of the data folder."""

    def __init__(self, settings: Settings, port: int):
        self.settings, self.port = settings, port
        self.file = settings.data / "server.pid"
        self.process = os.fork()
        if self.process == 0:
            self.raise_servers()

    def raise_servers(self) -> None:
        signal.signal(signal.SIGTERM, lambda *_: self.end())
        logging.basicConfig(filename=self.settings.data / "server.log", level=logging.ERROR)
        sys.stderr = open(self.settings.data / "server.log", "a", buffering=1)  # noqa: SIM115 -- until the process ends
        application = Application(self.settings)  # it opens no connection before the first request
        while True:
            child = os.fork()
            if child == 0:
                signal.signal(signal.SIGTERM, signal.SIG_DFL)
                serve(application, self.port)
            self.file.write_text(str(child))
            os.waitpid(child, 0)
            time.sleep(DELAY)

    def end(self) -> None:
        with contextlib.suppress(OSError, ValueError):
            os.kill(int(self.file.read_text()), signal.SIGKILL)
        os._exit(0)

    def kill_server(self) -> None:
        with contextlib.suppress(OSError, ValueError):
            os.kill(int(self.file.read_text()), signal.SIGKILL)

    def stop(self) -> None:
        os.kill(self.process, signal.SIGTERM)
        os.waitpid(self.process, 0)

    def wait(self, seconds: float = 60) -> None:
        end = time.monotonic() + seconds
        while True:
            try:
                socket.create_connection(("127.0.0.1", self.port), 1).close()
                return
            except OSError:
                assert time.monotonic() < end, (self.settings.data / "server.log").read_text()[-2000:]
                time.sleep(0.01)
