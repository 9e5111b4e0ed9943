"""Sending from the browser: over a bad link, from two tabs, with a tab that is stuck, a wrong clock, a phone shut out."""

import json
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page, expect

from e2e.hands import Hands
from e2e.kills import office_entries, pair, read_log
from e2e.link import Link
from e2e.stage import PHONE_SIZE, Server, wait_offline_ready
from e2e.test_journey import make_photo

PUT_ENTRIES = """(entries) => new Promise((done, failed) => {
  const open = indexedDB.open('railcase');
  open.onsuccess = () => {
    const write = open.result.transaction(['entries', 'outbox'], 'readwrite');
    for (const entry of entries) {
      write.objectStore('entries').put(entry);
      write.objectStore('outbox').put({id: entry.id, case: entry.case, seq: entry.seq, problems: null});
    }
    write.oncomplete = () => { open.result.close(); done(); };
    write.onerror = () => failed(write.error);
  };
})"""
HOLD_THE_TURN = "() => { navigator.locks.request('railcase-sync', () => new Promise(() => {})).catch(() => {}); }"


@pytest.fixture
def link(server: Server) -> Iterator[Link]:
    link = Link(server.port)
    yield link
    link.stop()


def start(context: BrowserContext, server: Server, url: str, name: str = "Van phone") -> Hands:
    """A paired phone with one case, all of it at the office."""
    hands = Hands(context.new_page())
    hands.page.goto(url + "/")
    wait_offline_ready(hands.page)
    pair(server, hands.on("cases"), name)
    hands.open_case("Van (invented)", "metering-only", "4", "hard_start")
    expect(sent(hands.page)).to_be_visible(timeout=20000)
    return hands


def sent(page: Page):
    return page.locator('[data-sending="sent"]')


def waiting(page: Page):
    return page.locator('[data-sending="waiting"], [data-sending="sending"]')


def write_note(hands: Hands, text: str) -> None:
    hands.write("note", text)
    hands.press("save-note")
    expect(hands.page.locator("[data-note]", has_text=text)).to_be_visible()


def open_notes(hands: Hands) -> None:
    hands.press("notes")
    hands.on("notes")


def texts(entries: list[dict]) -> list[str]:
    return [entry["body"]["text"] for entry in entries if entry["kind"] == "note_added"]


def make_entry(hands: Hands, number: int, kind: str, body: dict) -> dict:
    """An entry as an app of another version might have left it in this phone's log."""
    last = max(read_log(hands.page)["entries"], key=lambda entry: entry["seq"])
    return {**last, "id": f"{last['id'][:-4]}{number:04x}", "seq": last["seq"] + number, "kind": kind, "body": body}


def test_everything_arrives_once_over_a_bad_link(server: Server, link: Link, van: BrowserContext, tmp_path: Path) -> None:
    """Messages lost on either way; nobody does anything but wait."""
    hands = start(van, server, link.url)
    open_notes(hands)
    link.faults = ["ask", "answer", "half", "busy", "portal"]
    for number in range(3):
        write_note(hands, f"note {number}")
    hands.page.set_input_files('input[type="file"]', make_photo(tmp_path / "bottle.jpg"))
    expect(hands.page.locator("[data-photo]")).to_be_visible()
    hands.to_case()
    expect(waiting(hands.page)).to_be_visible()
    expect(sent(hands.page)).to_be_visible(timeout=60000)
    assert link.counts.keys() >= {"ask", "answer", "half"}
    there = [entry["id"] for entry in office_entries(server)]
    assert sorted(there) == sorted(entry["id"] for entry in read_log(hands.page)["entries"])
    assert len(set(there)) == len(there)


def test_a_photo_costs_a_piece_and_not_the_photo(server: Server, link: Link, van: BrowserContext, tmp_path: Path) -> None:
    """The link breaks at every piece; what has arrived is not sent again, and no entry waits for the photo."""
    hands = start(van, server, link.url)
    link.asked.clear()
    link.faults = ["ok", "ok", "ok", "ask", "ok", "answer"]
    open_notes(hands)
    hands.page.set_input_files('input[type="file"]', make_noise(tmp_path / "bottle.png"))
    expect(hands.page.locator("[data-photo]")).to_be_visible()
    write_note(hands, "written while the photo goes")
    wait_for(hands.page, lambda: [path for _, path, fault, _ in link.asked if path.endswith("/finish") and fault == "ok"])
    pieces = [path for method, path, fault, _ in link.asked if method == "PUT" and fault in ("ok", "answer")]
    assert len(pieces) > 3
    assert len(set(pieces)) == len(pieces), "a piece that had arrived was sent again"
    hands.to_case()
    hands.press("back")
    expect(hands.on("cases").page.locator("[data-photos-waiting]")).to_have_count(0)


def make_noise(path: Path) -> Path:
    """A photo that does not get small."""
    Image.effect_noise((1600, 1200), 90).convert("RGB").save(path, "PNG")
    return path


def wait_for(page: Page, condition, seconds: float = 60) -> None:
    for _ in range(int(seconds * 20)):
        if condition():
            return
        page.wait_for_timeout(50)
    raise AssertionError("this did not come about in time")


def test_two_tabs_send_everything_once(server: Server, link: Link, van: BrowserContext) -> None:
    first = start(van, server, link.url)
    case = first.page.url
    second = Hands(van.new_page())
    second.page.goto(case)
    second.on("case")
    server.stop()
    for hands, name in ((first, "first"), (second, "second")):
        open_notes(hands)
        for number in range(3):
            write_note(hands, f"{name} {number}")
    link.asked.clear()
    server.start()
    for hands in (first, second):
        hands.page.evaluate("() => dispatchEvent(new Event('online'))")
        hands.to_case()
    for hands in (first, second):
        expect(sent(hands.page)).to_be_visible(timeout=30000)
    there = texts(office_entries(server))
    assert sorted(there) == sorted(f"{name} {number}" for name in ("first", "second") for number in range(3))


def test_a_stuck_tab_does_not_keep_the_others_from_sending(server: Server, link: Link, van: BrowserContext) -> None:
    """A frozen tab keeps its lock for good: after a while without a sign of life it loses its turn."""
    stuck = van.new_page()
    stuck.goto(link.url + "/healthz")
    hands = start(van, server, link.url)
    hands.page.clock.install()
    stuck.evaluate(HOLD_THE_TURN)
    open_notes(hands)
    write_note(hands, "kept waiting")
    hands.to_case()
    expect(waiting(hands.page)).to_be_visible()
    for _ in range(11):
        hands.page.clock.run_for(10_100)
        hands.page.wait_for_timeout(100)
    expect(sent(hands.page)).to_be_visible(timeout=20000)
    assert texts(office_entries(server)) == ["kept waiting"]


def test_a_closed_tab_gives_its_turn_away(server: Server, link: Link, van: BrowserContext) -> None:
    stuck = van.new_page()
    stuck.goto(link.url + "/healthz")
    hands = start(van, server, link.url)
    stuck.evaluate(HOLD_THE_TURN)
    open_notes(hands)
    write_note(hands, "kept waiting")
    hands.to_case()
    expect(waiting(hands.page)).to_be_visible()
    stuck.close()
    expect(sent(hands.page)).to_be_visible(timeout=20000)


def rename(hands: Hands, name: str) -> None:
    hands.press("details")
    hands.on("new-case").write("description", name)
    hands.press("save-case")
    expect(hands.on("case").page.locator("h1")).to_have_text(name)
    expect(sent(hands.page)).to_be_visible(timeout=20000)


def come_online(hands: Hands) -> None:
    hands.page.evaluate("() => dispatchEvent(new Event('online'))")


def test_a_wrong_clock_decides_nothing_and_is_said(
    server: Server, link: Link, van: BrowserContext, browser: Browser
) -> None:
    """A phone in 2099, then in 1970, and one that is right: who wrote last counts."""
    hands = start(van, server, link.url)
    hands.page.clock.set_fixed_time("2099-01-02T03:04:05Z")
    rename(hands, "Named in 2099")
    expect(hands.page.locator('[data-line="clock"]')).to_contain_text("ahead")

    other = browser.new_context(viewport=PHONE_SIZE)
    second = Hands(other.new_page())
    second.page.goto(link.url + "/")
    pair(server, second.on("cases"), "Second phone")
    second.page.locator('[data-act="open-case"]', has_text="Named in 2099").click()
    rename(second.on("case"), "Named second")
    come_online(hands)
    expect(hands.page.locator("h1")).to_have_text("Named second", timeout=20000)

    hands.page.clock.set_fixed_time("1970-01-02T03:04:05Z")
    rename(hands, "Named in 1970")
    expect(hands.page.locator('[data-line="clock"]')).to_contain_text("behind")
    come_online(second)
    expect(second.page.locator("h1")).to_have_text("Named in 1970", timeout=20000)
    other.close()


def shut_out(server: Server) -> None:
    with sqlite3.connect(server.data / "railcase.db") as database:
        database.execute("UPDATE devices SET revoked_at = '2026-11-25T00:00:00.000Z'")


def test_a_phone_that_was_shut_out_keeps_its_work(server: Server, link: Link, van: BrowserContext) -> None:
    hands = start(van, server, link.url)
    shut_out(server)
    open_notes(hands)
    write_note(hands, "after the office shut it out")
    line = hands.page.locator('[data-line="pair-again"][data-reason="revoked"]')
    expect(line).to_be_visible(timeout=20000)
    server.stop()
    hands.page.reload()
    expect(hands.on("notes").page.locator("[data-note]", has_text="after the office")).to_be_visible()
    expect(line).to_be_visible()
    with hands.page.expect_download() as download:
        hands.press("export", line)
    exported = json.loads(Path(download.value.path()).read_text())
    assert "after the office shut it out" in texts(exported["entries"])
    assert len(exported["unsent"]) == 1

    server.start()
    hands.press("pair-again")
    hands.on("pair").write("code", server.pairing_code("technician"))
    hands.press("pair-now")
    expect(hands.page.locator("[data-paired]")).to_be_visible()
    hands.press("to-cases")
    expect(sent(hands.on("cases").page)).to_be_visible(timeout=20000)
    assert texts(office_entries(server)) == ["after the office shut it out"]
    expect(line).to_have_count(0)


def test_a_refused_entry_stays_and_an_unknown_kind_goes_round(
    server: Server, link: Link, van: BrowserContext, browser: Browser
) -> None:
    """What a newer app wrote reaches the other phones, which keep it; what the office cannot take is kept here, by name."""
    hands = start(van, server, link.url)
    bad = make_entry(hands, 1, "reading_taken", {"quantity": "crank_pressure", "value": "much"})
    new = make_entry(hands, 2, "torque_noted", {"bolt": 3, "torque_nm": 25})
    hands.page.evaluate(PUT_ENTRIES, [bad, new])
    hands.page.reload()
    attention = hands.on("case").page.locator('[data-line="attention"]')
    expect(attention).to_be_visible(timeout=20000)
    hands.press("attention")
    refused = hands.on("attention").page.locator(f'[data-refused="{bad["id"]}"]')
    expect(refused.locator(".error")).not_to_be_empty()
    hands.press("retry-refused")
    hands.page.wait_for_timeout(1000)
    expect(refused).to_be_visible()
    assert [row["id"] for row in read_log(hands.page)["outbox"]] == [bad["id"]]

    other = browser.new_context(viewport=PHONE_SIZE)
    second = Hands(other.new_page())
    second.page.goto(link.url + "/")
    pair(server, second.on("cases"), "Second phone")
    second.page.locator('[data-act="open-case"]').click()
    second.on("case")
    assert new["id"] in [entry["id"] for entry in read_log(second.page)["entries"]]
    other.close()


def test_the_browser_sends_when_the_app_is_closed(server: Server, link: Link, van: BrowserContext) -> None:
    """Where the browser has Background Sync, the worker alone sends what waits."""
    hands = start(van, server, link.url)
    server.stop()
    open_notes(hands)
    write_note(hands, "saved with no signal")
    desk = van.new_page()
    desk.goto("about:blank")
    hands.page.close()
    server.start()
    control = van.new_cdp_session(desk)
    found: dict = {}
    control.on(
        "ServiceWorker.workerRegistrationUpdated", lambda e: found.update({r["scopeURL"]: r for r in e["registrations"]})
    )
    control.send("ServiceWorker.enable")
    wait_for(desk, lambda: link.url + "/" in found, 10)
    registration = found[link.url + "/"]["registrationId"]
    wanted = {"origin": link.url, "registrationId": registration, "tag": "railcase-send", "lastChance": False}
    control.send("ServiceWorker.dispatchSyncEvent", wanted)
    wait_for(desk, lambda: texts(office_entries(server)) == ["saved with no signal"], 20)
    hands = Hands(van.new_page())
    hands.page.goto(link.url + "/")
    expect(sent(hands.on("cases").page)).to_be_visible(timeout=20000)
    assert len(office_entries(server)) == len(read_log(hands.page)["entries"])
