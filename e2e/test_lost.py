"""Whole stores lost: the office's, put back from an older copy, and the phone's, cleared with the app itself."""

import re
import shutil
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, expect

from e2e.kills import office_entries, pair, read_log
from e2e.stage import PHONE_SIZE, Server, wait_offline_ready
from e2e.test_journey import make_photo
from e2e.test_storage import start_paired, storage
from e2e.test_sync_browser import open_notes, sent, texts, wait_for, write_note

ONLINE = "() => dispatchEvent(new Event('online'))"


def copy_data(server: Server, folder: Path) -> Path:
    server.stop()
    shutil.copytree(server.data, folder)
    server.start()
    return folder


def put_back(server: Server, copy: Path) -> None:
    server.stop()
    shutil.rmtree(server.data)
    shutil.copytree(copy, server.data)
    server.start()


def kept_photos(server: Server) -> set[str]:
    """Whole ones, by their sum."""
    return {path.name for path in (server.data / "photos").rglob("*") if re.fullmatch("[0-9a-f]{64}", path.name)}


@pytest.mark.parametrize("copied", ["before pairing", "after pairing"])
def test_a_server_put_back_from_a_copy_gets_everything_again(
    server: Server, van: BrowserContext, tmp_path: Path, copied: str
) -> None:
    """Entries and the photo that came after the copy was made; also where the copy knows nothing of this phone."""
    copy = copy_data(server, tmp_path / "copy") if copied == "before pairing" else None
    hands = start_paired(van, server)
    copy = copy or copy_data(server, tmp_path / "copy")
    open_notes(hands)
    write_note(hands, "sent after the copy")
    hands.page.set_input_files('input[type="file"]', make_photo(tmp_path / "bottle.jpg"))
    expect(hands.page.locator("[data-photo]")).to_be_visible()
    hands.to_case()
    wait_for(hands.page, lambda: kept_photos(server))
    expect(sent(hands.page)).to_be_visible(timeout=20000)
    photos, all_ids = kept_photos(server), {entry["id"] for entry in read_log(hands.page)["entries"]}

    put_back(server, copy)
    assert not kept_photos(server)
    hands.page.evaluate(ONLINE)
    if copied == "before pairing":
        expect(hands.page.locator('[data-line="pair-again"]')).to_be_visible(timeout=20000)
        hands.press("back")
        pair(server, hands.on("cases"))
    expect(hands.page.locator('[data-line="cleared"]')).to_contain_text("put back from an older copy", timeout=20000)
    wait_for(hands.page, lambda: {entry["id"] for entry in office_entries(server)} == all_ids)
    wait_for(hands.page, lambda: kept_photos(server) == photos)
    expect(sent(hands.page)).to_be_visible(timeout=20000)
    hands.press("cleared-read")
    expect(hands.page.locator('[data-line="cleared"]')).to_have_count(0)
    hands.page.reload()
    expect(sent(hands.page)).to_be_visible(timeout=20000)
    expect(hands.page.locator('[data-line="cleared"]')).to_have_count(0)


def test_app_and_log_gone_with_no_signal(server: Server, van: BrowserContext) -> None:
    """Said by the page that is left, which has the emergency words; with a signal the app comes back, and the cases."""
    hands = start_paired(van, server)
    kept = {entry["id"] for entry in read_log(hands.page)["entries"]}
    hands.page.goto("about:blank")
    server.stop()
    storage(hands.page, "clearDataForOrigin", server, storageTypes="indexeddb,cache_storage")
    hands.page.goto(server.url + "/")
    page = hands.on("files-lost").page
    expect(page.locator("main")).to_contain_text("What to do")
    expect(page.locator('a[href="tel:112"]')).to_be_visible()
    assert page.locator('[data-act="retry-start"]').bounding_box()["height"] >= 64

    server.start()
    hands.press("retry-start")
    expect(hands.on("cases").page.locator('[data-line="cleared"]')).to_contain_text("cleared the storage")
    pair(server, hands)
    expect(hands.on("cases").page.locator('[data-act="open-case"]')).to_have_count(1, timeout=20000)
    assert kept == {entry["id"] for entry in read_log(hands.page)["entries"]}


def test_everything_cleared_under_an_open_app_with_no_signal(server: Server, browser: Browser) -> None:
    """The open case is saved anew, the person is told to keep the page open, and the app is stored again by itself."""
    hands = start_paired(browser.new_context(viewport=PHONE_SIZE), server)
    open_notes(hands)
    server.stop()
    storage(hands.page, "clearDataForOrigin", server, storageTypes="all")
    write_note(hands, "written afterwards")
    expect(hands.page.locator('[data-line="cleared"]')).to_contain_text("Leave this page open")
    server.start()
    hands.page.evaluate(ONLINE)
    hands.page.wait_for_function("() => navigator.serviceWorker.controller !== null", timeout=40000)
    wait_for(hands.page, lambda: texts(office_entries(server)) == ["written afterwards"])
    server.stop()
    hands.page.reload()
    hands.on("notes")
    expect(hands.page.locator("[data-note]")).to_have_count(1)
    hands.page.context.close()


def test_a_phone_that_knows_nothing_any_more_says_how_cases_come_back(server: Server, van: BrowserContext) -> None:
    hands = start_paired(van, server)
    hands.page.goto("about:blank")
    storage(hands.page, "clearDataForOrigin", server, storageTypes="all")
    hands.page.goto(server.url + "/")
    expect(hands.on("cases").page.locator("[data-came-back]")).to_contain_text("Pair this phone again")
    pair(server, hands)
    expect(hands.on("cases").page.locator('[data-act="open-case"]')).to_have_count(1, timeout=20000)
    expect(hands.page.locator("[data-came-back]")).to_have_count(0)
    wait_offline_ready(hands.page)
