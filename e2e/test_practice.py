"""Practice with no signal: a made-up car from complaint to debrief, cranked on the gauge; real cases untouched."""

import re

from playwright.sync_api import expect

from e2e.conftest import Phone
from e2e.hands import Hands
from e2e.stage import Server, wait_offline_ready
from tests.engine.scenes import CATALOGUE
from tests.engine.test_practice import walk_as_told
from webapp.engine.book import open_book
from webapp.engine.practice import debrief, hidden_car, read_request

CAR, GRADE = 4, "plain"
BOOK = open_book(CATALOGUE)


def take_car(hands: Hands, car: int) -> None:
    hands.on("practice")
    hands.pick("grade", GRADE)
    hands.write("car", str(car))
    hands.press("practice-take")
    hands.on("practice-car")


def measure(hands: Hands, check: str, secures: bool) -> None:
    """One check on the practice car, with or without what has to be secured first."""
    hands.press("practice-check", hands.page.locator(f'.row[data-check="{check}"]'))
    hands.on("practice-check")
    expect(hands.page.locator('[data-act="practice-measure"]')).to_be_visible()
    if secures:
        for tick in hands.page.locator('[data-act="tick"]').all():
            tick.click()
    hands.press("practice-measure")
    if hands.page.locator("[data-cranking], [data-screen='practice-shown']").first.get_attribute("data-cranking"):
        hands.press("practice-crank")
        expect(hands.page.locator('[data-screen="practice-shown"]')).to_be_visible(timeout=10000)
    hands.on("practice-shown")
    expect(hands.page.locator("[data-reading]").first).to_be_visible()
    hands.press("practice-back")
    hands.on("practice-car")


def test_from_complaint_to_debrief_with_no_signal(server: Server, phone: Phone) -> None:
    hands = phone.open(server.url)
    hands.on("cases")
    wait_offline_ready(hands.page)
    server.stop()
    hands.page.reload()
    hands.on("cases").press("settings")
    hands.on("settings").press("practice")
    take_car(hands, CAR)
    expect(hands.page.locator("[data-practice]")).to_be_visible()
    path = walk_as_told(CAR, GRADE)
    for row in path:
        measure(hands, row["check"], secures=True)
    hands.page.reload()  # the car under way survives
    expect(hands.on("practice-car").page.locator("[data-minutes]")).to_contain_text(re.compile(r"\d+ minutes so far"))
    fault = hidden_car(read_request({"car": CAR, "grade": GRADE})[0], GRADE, BOOK)["fault"]
    hands.press("practice-name")
    hands.on("practice-name").pick("fault", fault)
    hands.press("practice-done")
    hands.on("practice-debrief")
    expect(hands.page.locator("[data-right]")).to_have_attribute("data-right", "true")
    expect(hands.page.locator("[data-fault]")).to_have_attribute("data-fault", fault)
    best = debrief({"car": CAR, "grade": GRADE, "path": path, "named": fault}, BOOK)["best"]["minutes"]
    expect(hands.page.locator('[data-way="best"]')).to_have_attribute("data-minutes", f"{best:g}")
    assert hands.page.locator("[data-skipped]").count() == 0
    hands.page.goto(server.url + "/#/")
    expect(hands.on("cases").page.locator("[data-case]")).to_have_count(0)


def test_a_pump_named_in_vain_and_steps_left_out_come_up(server: Server, phone: Phone) -> None:
    fault = hidden_car(read_request({"car": CAR, "grade": GRADE})[0], GRADE, BOOK)["fault"]
    assert fault != "pump_worn"
    hands = phone.open(server.url + "/#/practice")
    take_car(hands, CAR)
    measure(hands, "supply", secures=False)
    hands.press("practice-name")
    hands.on("practice-name").pick("fault", "pump_worn")
    hands.press("practice-done")
    hands.on("practice-debrief")
    expect(hands.page.locator("[data-right]")).to_have_attribute("data-right", "false")
    expect(hands.page.locator("[data-pump-minutes]")).to_contain_text("4 hours")
    left_out = [step for step in BOOK.checks["supply"]["steps"] if step["caution"] and not step["quantity"]]
    assert int(hands.page.locator("[data-skipped]").get_attribute("data-skipped")) in range(1, len(left_out) + 1)
