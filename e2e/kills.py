"""A phone whose browser is killed again and again while somebody types and the app sends.

A round: the app is opened on what the last round left, notes are saved one after the other by the screen's own field and
button, over a link that loses messages, and at a random moment every process of the browser gets SIGKILL. Whatever the
screen had shown as kept must be in the phone's log when it opens again, and at the end once, and only once, at the office.
"""

import json
import random
import re
import sqlite3
import time
from pathlib import Path
from typing import NamedTuple

from playwright.sync_api import Page, Playwright, expect

from e2e.conftest import Phone
from e2e.hands import Hands
from e2e.link import Link
from e2e.stage import PHONE_SIZE, Server, wait_offline_ready

FAULTS = ("ok", "ok", "ask", "answer", "half", "busy")
# what the screen shows as kept is reported at once; nothing here knows of the log
WATCH = """addEventListener('DOMContentLoaded', () => new MutationObserver(() => {
  for (const note of document.querySelectorAll('[data-note]:not([data-told])')) {
    note.dataset.told = 'true';
    kept(note.dataset.note, note.querySelector('p').textContent);
  } }).observe(document.body, {childList: true, subtree: true}));"""
TYPE = """(round) => {
  let number = 0, typed = '';
  const type = (field, text) => {
    field.value = typed = text;
    field.dispatchEvent(new Event('input', {bubbles: true}));
  };
  setInterval(() => {
    const field = document.querySelector('[name="note"]'), save = document.querySelector('[data-act="save-note"]');
    if (!field || !save) return;
    if (field.value && field.value !== typed) return type(field, '');  // what the last round had typed when it died
    if (field.value) return;
    number += 1;
    type(field, `note ${round}.${number}`);
    requestAnimationFrame(() => save.click());
  }, 5); }"""
READ_LOG = """() => new Promise((done, failed) => {
  const open = indexedDB.open('railcase');
  open.onerror = () => failed(open.error);
  open.onsuccess = () => {
    const read = open.result.transaction(['entries', 'outbox']);
    const entries = read.objectStore('entries').getAll(), outbox = read.objectStore('outbox').getAll();
    read.oncomplete = () => { open.result.close(); done({entries: entries.result, outbox: outbox.result}); };
  };
})"""


class Outcome(NamedTuple):
    kills: int
    confirmed: int
    entries: int
    faults: dict[str, int]


def read_log(page: Page) -> dict:
    """Return the phone's entries and what waits, past the app."""
    return page.evaluate(READ_LOG)


def office_entries(server: Server) -> list[dict]:
    with sqlite3.connect(server.data / "railcase.db") as database:
        return [json.loads(content) for (content,) in database.execute("SELECT content FROM entries")]


def pair(server: Server, hands: Hands, name: str = "Van phone") -> None:
    hands.press("settings")
    hands.on("settings").press("pair")
    hands.on("pair").write("code", server.pairing_code("technician"))
    hands.write("device-name", name)
    hands.press("pair-now")
    expect(hands.page.locator("[data-paired]")).to_be_visible()
    hands.press("to-cases")


class Killing:
    """One phone, one case, many deaths."""

    def __init__(self, playwright: Playwright, folder: Path, server: Server, seed: int):
        self.random, self.server = random.Random(seed), server
        self.link = Link(server.port)
        self.phone = Phone(playwright, folder / "profile", PHONE_SIZE)
        self.confirmed: dict[str, str] = {}
        self.kills, self.case = 0, ""

    def note(self, entry: str, text: str) -> None:
        self.confirmed[entry] = text

    def open(self, address: str) -> Hands:
        def watch(context) -> None:
            context.expose_function("kept", self.note)
            context.add_init_script(WATCH)

        return self.phone.open(self.link.url + address, watch)

    def begin(self) -> None:
        hands = self.open("/")
        wait_offline_ready(hands.page)
        pair(self.server, hands.on("cases"))
        hands.open_case("Van (invented)", "metering-only", "4", "hard_start")
        self.case = re.search(r"#/case/[^/]+", hands.page.url).group(0)
        hands.press("notes")
        hands.on("notes")

    def kill(self, hands: Hands) -> None:
        """Type, send over a bad link, and die: at any moment, or soon after something was shown as kept."""
        self.link.faults = self.random.choices(FAULTS, k=20)
        hands.page.evaluate(TYPE, self.kills)
        before = len(self.confirmed)
        if self.random.random() < 0.7:
            self.wait_for_more_than(before, hands)
        hands.page.wait_for_timeout(self.random.uniform(0, 400))
        self.phone.kill()
        self.kills += 1

    def wait_for_more_than(self, before: int, hands: Hands) -> None:
        end = time.monotonic() + 30
        while len(self.confirmed) == before:
            assert time.monotonic() < end, f"round {self.kills}: nothing is shown as kept"
            hands.page.wait_for_timeout(10)

    def check(self, hands: Hands) -> None:
        """All that was shown as kept is there, and all that is there is whole."""
        log = read_log(hands.page)
        found = {entry["id"]: entry["body"].get("text") for entry in log["entries"]}
        lost = {entry: text for entry, text in self.confirmed.items() if found.get(entry) != text}
        assert not lost, f"after kill {self.kills}: {lost}"
        numbers = [entry["seq"] for entry in log["entries"]]
        assert len(set(numbers)) == len(numbers), f"after kill {self.kills}: a running number was given twice"
        assert {row["id"] for row in log["outbox"]} <= set(found), f"after kill {self.kills}: what waits is not there"
        assert not [row for row in log["outbox"] if row["problems"]], f"after kill {self.kills}: {log['outbox']}"

    def heal(self, hands: Hands) -> int:
        """With a good link again everything goes by itself; every entry is at the office once."""
        self.link.faults = []
        hands.page.goto(self.link.url + "/#/")
        expect(hands.on("cases").page.locator('[data-sending="sent"]')).to_be_visible(timeout=60000)
        here = {entry["id"]: entry for entry in read_log(hands.page)["entries"]}
        there = office_entries(self.server)
        assert sorted(entry["id"] for entry in there) == sorted(here)
        assert {entry["id"]: entry["body"] for entry in there} == {key: entry["body"] for key, entry in here.items()}
        return len(there)

    def run(self, kills: int) -> Outcome:
        try:
            self.begin()
            hands = Hands(self.phone.context.pages[0])
            while self.kills < kills:
                self.kill(hands)
                hands = self.open(f"/{self.case}/notes")
                hands.on("notes")
                self.check(hands)
            entries = self.heal(hands)
            self.phone.complaints.assert_none()
        finally:
            self.phone.close()
            self.link.stop()
        return Outcome(self.kills, len(self.confirmed), entries, dict(self.link.counts))
