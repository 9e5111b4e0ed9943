"""The offline start in two other browser engines: first visit, server gone, reload, engine answers, a case is kept.

Not covered by these stand-ins: real iOS (process killing, the home screen's own storage, its storage timers).
"""

import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from e2e.other_engines import Firefox, WebKit
from e2e.stage import Server

WATCH = """(() => { window.complaints = []; addEventListener('securitypolicyviolation',
  (e) => window.complaints.push(e.violatedDirective + ' ' + e.blockedURI)); addEventListener('error',
  (e) => window.complaints.push(String(e.message))); return true; })()"""


@pytest.fixture(params=[WebKit, Firefox], ids=["webkit", "firefox"])
def browser_engine(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[WebKit | Firefox]:
    engine = request.param(tmp_path)
    yield engine
    engine.close()


def until(engine: WebKit | Firefox, expression: str, seconds: float = 30.0) -> None:
    """Wait until an expression is true; a page that is being left counts as not yet."""
    end = time.monotonic() + seconds
    while True:
        try:
            if engine.evaluate(f"Boolean({expression})"):
                return
        except Exception as error:
            last = error
        else:
            last = None
        assert time.monotonic() < end, f"{expression} did not become true ({last})"
        time.sleep(0.1)


def press(engine: WebKit | Firefox, selector: str) -> None:
    until(engine, f"document.querySelector('{selector}')")
    engine.evaluate(f"(document.querySelector('{selector}').click(), true)")


def test_offline_start(server: Server, browser_engine: WebKit | Firefox) -> None:
    engine = browser_engine
    engine.go(server.url + "/")
    until(engine, "navigator.serviceWorker.controller")
    until(engine, "document.querySelector('[data-screen=\"cases\"]')")
    server.stop()
    engine.go(server.url + "/")
    engine.evaluate(WATCH)
    press(engine, '[data-act="new-case"]')
    for choice in ("metering-only", "4", "electric"):
        press(engine, f'[data-choice="{choice}"]')
    press(engine, '[data-act="save-case"]')
    until(engine, "document.querySelector('[data-screen=\"case\"] .ledger-row')")
    assert engine.evaluate("document.querySelectorAll('.ledger-row').length") >= 9
    assert engine.evaluate("window.complaints") == []
    engine.go(server.url + "/")
    until(engine, "document.querySelector('[data-case]')")
