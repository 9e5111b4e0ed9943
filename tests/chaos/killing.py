"""Death between any two statements: counts what goes to the database and strikes at the one that was named."""

import os
import signal
import threading
from collections.abc import Callable

from sqlalchemy import Engine, event


class Killed(BaseException):
    """In one process: unwinds everything, as no handler of ours may catch it."""


def kill_process() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def raise_killed() -> None:
    raise Killed


class Trap:
    """`arm(n)`: the n-th statement or commit of this thread from now on is its last; 0 never strikes."""

    def __init__(self, strike: Callable[[], None]):
        self.strike = strike
        self.thread = threading.local()

    def arm(self, number: int) -> None:
        self.thread.left = number

    def step(self, *_) -> None:
        left = getattr(self.thread, "left", 0)
        self.thread.left = max(left - 1, 0)
        if left == 1:
            self.strike()

    def watch(self, engine: Engine) -> None:
        for name in ("before_cursor_execute", "after_cursor_execute", "commit"):
            event.listen(engine, name, self.step)
