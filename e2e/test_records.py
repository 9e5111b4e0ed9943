"""What the office keeps reaches the phone and counts there: limits, an instrument, an erasure."""

import re

from playwright.sync_api import BrowserContext, Page, expect

from e2e.hands import Hands
from e2e.kills import pair, read_log
from e2e.stage import DESK_SIZE, PHONE_SIZE, Server, wait_offline_ready
from e2e.test_screens import axe_violations

GAUGE = {
    "name": "Blue gauge", "serial": "G-17", "accuracy_full_scale": "1.6", "full_scale": "400", "accuracy_reading": "0",
    "resolution": "5", "calibrated_on": "2026-01-10", "due_on": "2036-01-10",
}  # fmt: skip


def publish_limits(desk: Page, url: str, low: str) -> None:
    """Limits for all the workshop's work, with another lower limit of the cranking pressure, through every page."""
    desk.goto(url + "/office/limits")
    desk.fill('[name="name"]', "Our vans")
    desk.select_option('[name="kind"]', "workshop")
    desk.click('main form button[type="submit"]')
    desk.goto(url + "/office/limits/our-vans/edit/crank_pressure")
    desk.fill('[name="low"]', low)
    desk.select_option('[name="basis"]', "judgement")
    desk.fill('[name="note"]', "seen on our vans")
    desk.click('button:has-text("See what this would change")')
    desk.fill('[name="note"]', "for the test")
    desk.click('button:has-text("Publish version 2")')
    expect(desk.locator(".told")).to_contain_text("Version 2 is published")


def add_gauge(desk: Page, url: str) -> None:
    desk.goto(url + "/office/instruments")
    for name, value in GAUGE.items():
        desk.fill(f'main [name="{name}"]', value)
    desk.select_option('[name="like"]', "rail_sensor")
    desk.click('button:has-text("Add it")')
    expect(desk.locator('[data-instrument="blue-gauge"]')).to_contain_text("In order")


def read_offline(hands: Hands) -> None:
    """One reading with the workshop's own gauge."""
    hands.open_check("crank")
    hands.enter("crank_pressure")
    hands.press("instruments")
    hands.pick("instrument", "own-blue-gauge.1")
    hands.type_number("300")
    hands.press("save-reading")
    hands.on("verdict")


def test_what_the_office_sets_reaches_the_phone_and_an_erasure_empties_it(
    server: Server, van: BrowserContext, desk: Page
) -> None:
    hands = Hands(van.new_page())
    hands.page.goto(server.url + "/")
    wait_offline_ready(hands.page)
    publish_limits(desk, server.url, "320")
    add_gauge(desk, server.url)
    pair(server, hands.on("cases"))
    expect(hands.page.locator('[data-act="new-case"]')).to_be_visible()
    hands.page.wait_for_function(HAS_LIMITS)
    server.stop()
    hands.open_case("Van of Mrs Quill (invented)", "metering-only", "4", "no_start")
    read_offline(hands)
    verdict = hands.page.locator("[data-verdict]").first
    expect(verdict).to_have_attribute("data-verdict", "fail")  # 300 bar is enough for the library, not for these vans
    expect(hands.page.locator("main")).to_contain_text("320")
    hands.press("to-check")
    hands.on("check").press("back")
    server.start()
    hands.page.evaluate("dispatchEvent(new Event('online'))")
    expect(hands.page.locator('[data-sending="sent"]')).to_be_visible(timeout=30000)
    check_and_erase(desk, server)
    hands.page.evaluate("location.hash = '#/'")
    hands.page.evaluate("dispatchEvent(new Event('online'))")
    expect(hands.page.locator('[data-screen="cases"]')).not_to_contain_text("Quill", timeout=30000)
    left = read_log(hands.page)
    assert [entry for entry in left["entries"] if entry["kind"] != "personal_data_erased"] == []


HAS_LIMITS = """() => new Promise((done) => {
  const open = indexedDB.open('railcase');
  open.onsuccess = () => {
    const ask = open.result.transaction('meta').objectStore('meta').get('limits');
    ask.onsuccess = () => { open.result.close(); done(Boolean(ask.result && ask.result.instruments.length)); };
  };
})"""


def check_and_erase(desk: Page, server: Server) -> None:
    desk.goto(server.url + "/office/")
    desk.locator('a[href*="/office/cases/0"]').first.click()
    main = desk.locator("main")
    expect(main).to_contain_text("Blue gauge, no. G-17")
    expect(main).to_contain_text("at least 320 bar")
    desk.goto(server.url + "/office/privacy?q=quill")
    expect(main).to_contain_text("1 case holds these words")
    desk.check('[name="cases"]')
    desk.fill('[name="reason"]', "the customer asked for it")
    desk.click('button:has-text("Erase for good")')
    expect(desk.locator(".told")).to_contain_text(re.compile("1 case erased"))
    desk.goto(server.url + "/office/privacy?q=quill")
    expect(main).to_contain_text("No case holds all these words")


def test_no_page_of_the_records_minds_axe_or_is_cut_off(server: Server, desk: Page) -> None:
    add_gauge(desk, server.url)
    publish_limits(desk, server.url, "320")
    found, wide = [], []
    for size in (PHONE_SIZE, DESK_SIZE):
        desk.set_viewport_size(size)
        for address in ("instruments", "instruments/blue-gauge", "privacy", "privacy?q=nothing", "insights"):
            desk.goto(f"{server.url}/office/{address}")
            found += axe_violations(desk, f"{address} at {size['width']}")
            if desk.evaluate("document.documentElement.scrollWidth") > size["width"]:
                wide.append((address, size["width"]))
    assert (found, wide) == ([], [])
