"""Storage that fails: full, cleared, damaged, refused, in the hands of another version. It is said, and nothing is lost
that had been shown as kept."""

import json
import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Download, Locator, Page, expect

from e2e.hands import Hands
from e2e.kills import office_entries, pair, read_log
from e2e.stage import PHONE_SIZE, Server, wait_offline_ready
from e2e.test_sync_browser import make_noise, open_notes, sent, texts, write_note

CHANGE = """([store, key, change]) => new Promise((done, failed) => {
  const open = indexedDB.open('railcase');
  open.onsuccess = () => {
    const write = open.result.transaction(store, 'readwrite').objectStore(store);
    const read = write.get(key);
    read.onsuccess = () => { write.put({...read.result, ...change}); };
    write.transaction.oncomplete = () => { open.result.close(); done(); };
    write.transaction.onerror = () => failed(write.transaction.error);
  };
})"""
# the store as the first released version made it, held open by a page that knows nothing of versions
FIRST_STORE = """([entries, row]) => new Promise((done, failed) => {
  const open = indexedDB.open('railcase', 1);
  open.onupgradeneeded = () => {
    open.result.createObjectStore('entries', {keyPath: 'id'}).createIndex('case', 'case');
    for (const name of ['cases', 'outbox']) open.result.createObjectStore(name, {keyPath: 'id'});
    open.result.createObjectStore('photos', {keyPath: 'sha256'});
    for (const name of ['meta', 'catalogue', 'drafts']) open.result.createObjectStore(name);
    for (const entry of entries) {
      open.transaction.objectStore('entries').put(entry);
      open.transaction.objectStore('outbox').put({id: entry.id, case: entry.case, seq: entry.seq, problems: null});
    }
    open.transaction.objectStore('cases').put(row);
    open.transaction.objectStore('meta').put(row.device, 'install');
    open.transaction.objectStore('meta').put(entries.length, 'seq');
  };
  open.onsuccess = () => { window.held = open.result; done(); };
  open.onerror = () => failed(open.error);
})"""
NO_STORAGE = (
    """() => { IDBFactory.prototype.open = () => { throw new DOMException('denied by the browser', 'SecurityError'); }; }"""
)
FAILING_WRITES = """() => { const add = IDBObjectStore.prototype.add;
  IDBObjectStore.prototype.add = function (...args) {
    if (window.broken) throw new DOMException('the disk did not answer', 'UnknownError');
    return add.apply(this, args);
  }; }"""


def start(context: BrowserContext, server: Server) -> Hands:
    """A phone with one case, paired with nobody."""
    hands = Hands(context.new_page())
    hands.page.goto(server.url + "/")
    wait_offline_ready(hands.page)
    hands.open_case("Van (invented)", "metering-only", "4", "hard_start")
    return hands


def start_paired(context: BrowserContext, server: Server) -> Hands:
    hands = Hands(context.new_page())
    hands.page.goto(server.url + "/")
    wait_offline_ready(hands.page)
    pair(server, hands.on("cases"))
    hands.open_case("Van (invented)", "metering-only", "4", "hard_start")
    expect(sent(hands.page)).to_be_visible(timeout=20000)
    return hands


def export(hands: Hands, within=None) -> dict:
    with hands.page.expect_download() as download:
        hands.press("export", within)
    return read_download(download.value)


def read_download(download: Download) -> dict:
    return json.loads(Path(download.path()).read_text())


def storage(page: Page, command: str, server: Server, **words) -> None:
    page.context.new_cdp_session(page).send(f"Storage.{command}", {"origin": server.url, **words})


def test_a_full_phone_says_so_and_keeps_what_it_had(server: Server, van: BrowserContext, tmp_path: Path) -> None:
    hands = start(van, server)
    open_notes(hands)
    write_note(hands, "before")
    before = read_log(hands.page)
    storage(hands.page, "overrideQuotaForOrigin", server, quotaSize=1000)
    dialog = hands.page.locator('[data-dialog="storage-error"]')
    taken = take_photos_until(hands, dialog, tmp_path)
    expect(dialog).to_contain_text("full")
    exported = export(hands, dialog)
    assert len(exported["photos"]) == taken + 1
    assert [entry["kind"] for entry in exported["entries"] if entry.get("saved") is False] == ["photo_added"]
    hands.press("dialog-no")
    expect(hands.page.locator("[data-photo]")).to_have_count(taken)
    after = read_log(hands.page)["entries"]
    assert len(after) == len(before["entries"]) + taken

    storage(hands.page, "overrideQuotaForOrigin", server)
    write_note(hands, "after")
    assert texts(read_log(hands.page)["entries"]) == ["before", "after"]


def take_photos_until(hands: Hands, dialog: Locator, folder: Path) -> int:
    """Take photos until one does not fit; return how many did. The browser counts only now and then."""
    for number in range(80):
        hands.page.set_input_files('input[type="file"]', make_noise(folder / f"bottle {number}.png"))
        expect(dialog.or_(hands.page.locator("[data-photo]").nth(number))).to_be_visible(timeout=20000)
        if dialog.is_visible():
            return number
    raise AssertionError("the quota was never reached")


def test_room_can_be_made_from_photos_that_the_office_has(server: Server, van: BrowserContext, tmp_path: Path) -> None:
    hands = start_paired(van, server)
    open_notes(hands)
    hands.page.set_input_files('input[type="file"]', make_noise(tmp_path / "bottle.png"))
    expect(hands.page.locator("[data-photo] img")).to_be_visible()
    hands.to_case()
    expect(sent(hands.page)).to_be_visible(timeout=20000)
    hands.press("back")
    expect(hands.on("cases").page.locator("[data-photos-waiting]")).to_have_count(0, timeout=20000)
    hands.press("settings")
    hands.on("settings").press("free-space")
    expect(hands.page.locator('[data-act="free-space"]')).to_have_count(0)
    hands.press("back")
    hands.on("cases").press("open-case")
    open_notes(hands.on("case"))
    expect(hands.page.locator("[data-photo] img")).to_be_visible(timeout=20000)


def test_storage_cleared_while_the_app_is_open(server: Server, van: BrowserContext) -> None:
    """What is still in memory is put back, the pairing with it; the office gives back the rest."""
    hands = start_paired(van, server)
    server.stop()
    open_notes(hands)
    write_note(hands, "not sent when it happened")
    kept = {entry["id"] for entry in read_log(hands.page)["entries"]}
    storage(hands.page, "clearDataForOrigin", server, storageTypes="indexeddb")
    write_note(hands, "written afterwards")
    expect(hands.page.locator('[data-line="cleared"]')).to_contain_text("cleared the storage")
    log = read_log(hands.page)
    assert kept < {entry["id"] for entry in log["entries"]}
    assert texts([entry for entry in log["entries"] if entry["id"] in {row["id"] for row in log["outbox"]}]) == [
        "not sent when it happened",
        "written afterwards",
    ]
    numbers = [entry["seq"] for entry in log["entries"]]
    assert len(set(numbers)) == len(numbers)

    server.start()
    hands.press("cleared-read")
    hands.to_case()
    hands.page.evaluate("() => dispatchEvent(new Event('online'))")
    expect(sent(hands.page)).to_be_visible(timeout=30000)
    assert sorted(entry["id"] for entry in office_entries(server)) == sorted(
        entry["id"] for entry in read_log(hands.page)["entries"]
    )
    hands.page.reload()
    expect(hands.on("case").page.locator('[data-line="cleared"]')).to_have_count(0)


def test_another_case_comes_back_from_the_office(server: Server, van: BrowserContext) -> None:
    """The store is cleared while one case is open: the other one, which had been sent, returns by itself."""
    hands = start_paired(van, server)
    hands.press("back")
    hands.open_case("Second van (invented)", "metering-only", "4", "hard_start")
    expect(sent(hands.page)).to_be_visible(timeout=20000)
    all_ids = {entry["id"] for entry in read_log(hands.page)["entries"]}
    storage(hands.page, "clearDataForOrigin", server, storageTypes="indexeddb")
    open_notes(hands)
    write_note(hands, "written afterwards")
    hands.to_case()
    expect(sent(hands.page)).to_be_visible(timeout=30000)
    hands.press("back")
    expect(hands.on("cases").page.locator('[data-act="open-case"]')).to_have_count(2, timeout=20000)
    assert all_ids < {entry["id"] for entry in read_log(hands.page)["entries"]}


@pytest.mark.parametrize("types", ["indexeddb", "all"])
def test_storage_cleared_between_two_days(server: Server, van: BrowserContext, types: str) -> None:
    """A log that is gone is named where the browser left a trace, and what had been sent comes back with the pairing."""
    hands = start_paired(van, server)
    kept = {entry["id"] for entry in read_log(hands.page)["entries"]}
    install = {entry["device"] for entry in read_log(hands.page)["entries"]}
    hands.page.goto("about:blank")
    storage(hands.page, "clearDataForOrigin", server, storageTypes=types)
    hands.page.goto(server.url + "/")
    line = hands.on("cases").page.locator('[data-line="cleared"]')
    expect(line).to_have_count(1 if types == "indexeddb" else 0)
    pair(server, hands)
    expect(hands.on("cases").page.locator('[data-act="open-case"]')).to_have_count(1, timeout=20000)
    assert kept == {entry["id"] for entry in read_log(hands.page)["entries"]}
    hands.open_case("The day after (invented)", "metering-only", "4", "hard_start")
    expect(sent(hands.page)).to_be_visible(timeout=20000)
    devices = {entry["device"] for entry in read_log(hands.page)["entries"]}
    assert (devices == install) is (types == "indexeddb")


def test_a_phone_put_back_from_an_older_copy_is_told(server: Server, van: BrowserContext) -> None:
    """The office has more of this phone than the phone ever counted."""
    hands = start_paired(van, server)
    entries = read_log(hands.page)["entries"]
    hands.page.goto(server.url + "/healthz")
    hands.page.evaluate(
        """() => new Promise((done) => { const open = indexedDB.open('railcase'); open.onsuccess = () => {
        const write = open.result.transaction(['entries', 'cases', 'meta'], 'readwrite');
        write.objectStore('entries').clear(); write.objectStore('cases').clear(); write.objectStore('meta').put(1, 'seq');
        write.oncomplete = () => { open.result.close(); done(); }; }; })"""
    )
    hands.page.goto(server.url + "/")
    expect(hands.on("cases").page.locator('[data-line="cleared"]')).to_contain_text("comes back", timeout=20000)
    expect(hands.page.locator('[data-act="open-case"]')).to_have_count(1, timeout=20000)
    assert {entry["id"] for entry in entries} == {entry["id"] for entry in read_log(hands.page)["entries"]}


def test_damaged_records_are_set_aside_and_named(server: Server, van: BrowserContext) -> None:
    hands = start(van, server)
    open_notes(hands)
    write_note(hands, "whole")
    write_note(hands, "soon damaged")
    entries = read_log(hands.page)["entries"]
    bad = next(entry for entry in entries if entry["body"].get("text") == "soon damaged")
    hands.page.evaluate(CHANGE, ["entries", bad["id"], {"body": None, "seq": "?"}])
    hands.page.evaluate(CHANGE, ["cases", bad["case"], {"label": 7, "stamps": None, "clock": None}])
    hands.page.goto(server.url + "/")
    hands.page.reload()
    expect(hands.on("cases").page.locator('[data-act="open-case"]')).to_contain_text("Van (invented)")
    hands.press("open-case")
    hands.on("case")
    expect(hands.page.locator('[data-line="attention"]')).to_contain_text("damaged")
    open_notes(hands)
    expect(hands.page.locator("[data-note]")).to_have_count(1)
    write_note(hands, "afterwards")
    log = read_log(hands.page)["entries"]
    assert max(log, key=lambda entry: entry["clock"])["body"].get("text") == "afterwards"
    hands.to_case()
    hands.press("attention")
    expect(hands.on("attention").page.locator(f'[data-aside="entries:{bad["id"]}"]')).to_be_visible()
    aside = {row["key"]: row["record"] for row in export(hands)["aside"]}
    assert aside[bad["id"]]["kind"] == "note_added"


def test_a_failed_write_is_no_confirmation(server: Server, van: BrowserContext) -> None:
    van.add_init_script(f"({FAILING_WRITES})()")
    hands = start(van, server)
    open_notes(hands)
    before = read_log(hands.page)
    hands.page.evaluate("() => { window.broken = true; }")
    hands.write("note", "this cannot be written")
    hands.press("save-note")
    dialog = hands.page.locator('[data-dialog="storage-error"]')
    expect(dialog).to_contain_text("NOT saved")
    assert texts(export(hands, dialog)["entries"]) == ["this cannot be written"]
    hands.press("dialog-no")
    expect(hands.page.locator("[data-note]")).to_have_count(0)
    expect(hands.page.locator('[name="note"]')).to_have_value("this cannot be written")
    assert read_log(hands.page) == before
    hands.page.evaluate("() => { window.broken = false; }")
    hands.press("save-note")
    expect(hands.page.locator("[data-note]")).to_have_count(1)


def test_no_storage_at_all_is_said_and_the_injury_card_works(server: Server, van: BrowserContext) -> None:
    van.add_init_script(f"({NO_STORAGE})()")
    hands = Hands(van.new_page())
    hands.page.goto(server.url + "/")
    expect(hands.on("storage-failed").page.locator("main")).to_contain_text("denied by the browser")
    hands.press("injury")
    hands.on("injury")


def test_an_old_tab_holds_up_the_new_version_and_no_longer(server: Server, van: BrowserContext, browser: Browser) -> None:
    """The store of the first version, in use by an old tab: the new one says what it waits for, then has everything."""
    source = start(browser.new_context(viewport=PHONE_SIZE), server)
    entries = read_log(source.page)["entries"]
    first, last = entries[0], entries[-1]
    row = {"id": first["case"], "device": first["device"], "label": "Van (invented)", "registration": "", "state": "open"}
    row |= {
        "opened_at": first["at"],
        "updated_at": last["at"],
        "clock": last["clock"],
        "entries": len(entries),
        "stamps": {},
    }
    source.page.context.close()
    old = van.new_page()
    old.goto(server.url + "/catalogue.json")
    old.evaluate(FIRST_STORE, [entries, row])
    hands = Hands(van.new_page())
    hands.page.goto(server.url + "/")
    expect(hands.page.locator("[data-blocked]")).to_contain_text("another tab")
    old.evaluate("() => window.held.close()")
    expect(hands.on("cases").page.locator('[data-act="open-case"]')).to_have_count(1)
    assert {entry["id"] for entry in read_log(hands.page)["entries"]} == {entry["id"] for entry in entries}


def test_a_tab_that_is_left_behind_confirms_nothing(server: Server, van: BrowserContext) -> None:
    """A newer version changed the store from another tab: this one says so, and what is typed here is not called saved."""
    hands = start(van, server)
    open_notes(hands)
    newer = van.new_page()
    newer.goto(server.url + "/catalogue.json")
    newer.evaluate("() => { indexedDB.open('railcase', 99); }")
    expect(hands.page.locator('[data-line="replaced"]')).to_be_visible()
    hands.write("note", "typed in the old tab")
    hands.press("save-note")
    expect(hands.page.locator('[data-dialog="storage-error"]')).to_contain_text(re.compile("newer version.*NOT saved"))
    hands.press("dialog-no")
    expect(hands.page.locator("[data-note]")).to_have_count(0)
