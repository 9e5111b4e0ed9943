"""A new build: offered and never forced, whole or not at all, and not while a test is running."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from e2e.hands import Hands
from e2e.stage import CHECKOUT, PHONE_SIZE, Complaints, Server, wait_offline_ready

VERSION = """() => new Promise((done) => { const pipe = new MessageChannel(); pipe.port1.onmessage = (e) => done(e.data);
  navigator.serviceWorker.controller.postMessage('version', [pipe.port2]); })"""
CACHES = "() => caches.keys().then((names) => names.filter((name) => name.startsWith('railcase-')))"


@pytest.fixture
def changing(tmp_path: Path) -> Iterator[Server]:
    """A server on a copy of the program, whose files may change."""
    program = tmp_path / "program"
    ignored = shutil.ignore_patterns("__pycache__")
    shutil.copytree(CHECKOUT / "webapp", program / "webapp", ignore=ignored)
    shutil.copytree(CHECKOUT / "static", program / "static", ignore=ignored)
    (tmp_path / "data").mkdir()
    server = Server(tmp_path / "data", program)
    server.start()
    yield server
    server.stop()


def change_build(server: Server) -> None:
    style = server.program / "static/css/app.css"
    style.write_text(style.read_text() + "\n/* the next build */\n")


def look_for_update(hands: Hands) -> None:
    hands.page.evaluate("() => navigator.serviceWorker.getRegistration().then((r) => r.update())")


def start_phone(browser: Browser, server: Server) -> tuple[Hands, Complaints]:
    context = browser.new_context(viewport=PHONE_SIZE)
    complaints = Complaints(context)
    hands = Hands(context.new_page())
    hands.page.goto(server.url + "/")
    wait_offline_ready(hands.page)
    return hands.on("cases"), complaints


def test_an_update_waits_until_it_is_accepted(browser: Browser, changing: Server) -> None:
    hands, complaints = start_phone(browser, changing)
    first = hands.page.evaluate(VERSION)
    hands.open_case("Grey pickup (invented)", "metering-only", "4", "hard_start")
    change_build(changing)
    look_for_update(hands)
    line = hands.page.locator('[data-line="update"]')
    expect(line).to_be_visible(timeout=20000)
    hands.page.reload()
    hands.on("case")
    assert hands.page.evaluate(VERSION) == first

    hands.open_check("leaks")
    expect(line).to_be_hidden()
    hands.to_case()

    with hands.page.expect_navigation(wait_until="load"):
        hands.press("update-accept")
    hands.on("case")
    hands.page.wait_for_function("() => navigator.serviceWorker.controller !== null")
    assert hands.page.evaluate(VERSION) != first
    assert len(hands.page.evaluate(CACHES)) == 1
    complaints.assert_none()


def test_a_build_with_a_missing_file_is_not_taken(browser: Browser, changing: Server) -> None:
    """The new list names a file that cannot be fetched: the old build stays, whole, and works without the server."""
    hands, _ = start_phone(browser, changing)
    first, kept = hands.page.evaluate(VERSION), hands.page.evaluate(CACHES)
    worker = changing.program / "static/sw.js"
    before, files = worker.read_text(), "Object.keys(PRECACHE.files)"
    after = before.replace(f"{files}.filter", f"[...{files}, '/static/gone.js'].filter")
    assert after != before
    worker.write_text(after)
    look_for_update(hands)
    hands.page.wait_for_timeout(1500)
    assert hands.page.evaluate(CACHES) == kept
    changing.stop()
    hands.page.reload()
    hands.on("cases")
    assert hands.page.evaluate(VERSION) == first
