"""The whole job: paired, then no signal, a no-start with one leaking injector, killed midway, concluded, and at the office.

The scenario is invented.
"""

import json
import re
from io import BytesIO
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page, expect

from e2e.conftest import Phone
from e2e.hands import Hands
from e2e.kills import read_log
from e2e.stage import Server, wait_offline_ready


def make_photo(path: Path) -> Path:
    picture = BytesIO()
    Image.new("RGB", (2400, 1800), (120, 90, 40)).save(picture, "JPEG")
    path.write_bytes(picture.getvalue())
    return path


def pair_by_link(server: Server, desk: Page, phone: Phone) -> Hands:
    """The office makes a pairing; the phone follows the link that its camera would have read."""
    desk.goto(server.url + "/office/devices")
    desk.select_option('[name="person"]', label="Tarek Technician")
    desk.click('main button[type="submit"]:has-text("pairing")')
    code = desk.locator("[data-code]").inner_text()
    hands = phone.open(server.url + "/#/pair")
    wait_offline_ready(hands.page)
    hands.on("pair").write("code", code)
    hands.write("device-name", "Tarek's van phone")
    hands.press("pair-now")
    number = hands.page.locator("[data-number]").inner_text()
    desk.click('main a:has-text("shows a number")')
    expect(desk.locator("[data-number]")).to_have_text(number)
    desk.click('main button:has-text("let it in")')
    expect(hands.page.locator("[data-paired]")).to_be_visible(timeout=15000)
    hands.press("to-cases")
    return hands


def make_the_test_valid(hands: Hands) -> None:
    """Battery, fuel, leaks, sensor: what must be good before any pressure is believed."""
    hands.open_check("battery")
    hands.read_number("battery_voltage_rest", "12.6")
    hands.read_number("battery_voltage_cranking", "10.6")
    hands.read_number("cranking_speed", "230")
    hands.to_case()
    hands.open_check("fuel")
    hands.read_choice("fuel_present", "yes")
    hands.read_choice("fuel_condition", "clean")
    hands.to_case()
    hands.open_check("leaks")
    hands.read_choice("external_leak", "none")
    hands.to_case()
    hands.open_check("sensor")
    hands.read_number("sensor_reference_voltage", "5.02")
    hands.read_number("sensor_signal_voltage", ".5")
    hands.read_number("rest_pressure", "18")
    hands.to_case()


def ask_the_control_unit_and_the_supply(hands: Hands) -> None:
    hands.open_check("control")
    hands.read_number("actuator_supply_voltage", "12.1")
    hands.read_choice("crank_sync", "yes")
    hands.read_number("commanded_pressure", "300")
    hands.to_case()
    hands.open_check("supply")
    hands.read_number("supply_pressure", "4.1")
    hands.read_choice("air_in_supply", "none")
    hands.to_case()


def crank_with_the_timer(hands: Hands) -> None:
    """165 bar is all it makes; the timer shows that the target was never reached."""
    hands.open_check("crank")
    hands.read_number("crank_pressure", "165")
    expect(hands.page.locator('.quantity[data-quantity="crank_pressure"] [data-verdict="fail"]')).to_be_visible()
    hands.press("timer", hands.page.locator('.quantity[data-quantity="crank_rise_time"]'))
    hands.on("timer").press("tap-start")
    hands.page.wait_for_timeout(700)
    hands.press("tap-stop")
    hands.press("save-not-reached")
    hands.page.wait_for_timeout(300)


def reading_rows(hands: Hands) -> list[str]:
    hands.press("readings")
    hands.on("readings")
    return [row.get_attribute("data-reading") for row in hands.page.locator("[data-reading]").all()]


def add_note_and_photo(hands: Hands, photo: Path) -> None:
    hands.press("notes")
    hands.on("notes").write("note", "Bottle 4 full twice as fast as the rest (invented).")
    hands.press("save-note")
    expect(hands.page.locator("[data-note]")).to_be_visible()
    hands.page.set_input_files('input[type="file"]', photo)
    expect(hands.page.locator("[data-photo]")).to_be_visible()


def conclude(hands: Hands) -> None:
    hands.on("case")
    expect(hands.page.locator('[data-conclusion="injector_return_high"]').first).to_contain_text("cylinder 4")
    ledger = hands.ledger()
    assert (ledger["injectors"], ledger["pump"], ledger["supply"]) == ("points_here", "locked", "ruled_out")
    hands.press("conclude")
    hands.on("conclude").press("save-conclusion")
    hands.on("result")


def check_office(desk: Page, server: Server, entries: int) -> None:
    desk.goto(server.url + "/office/")
    expect(desk.locator('a[href*="/office/cases/"]')).to_have_count(1)
    desk.locator('a[href*="/office/cases/"]').click()
    body = desk.locator("main")
    expect(body).to_contain_text("cylinder 4")
    expect(body).to_contain_text("Outside limits")
    expect(body).to_contain_text("Within limits")
    expect(body).to_contain_text("Bottle 4 full twice as fast")
    expect(body).not_to_contain_text("The phone answered differently")
    expect(body).to_contain_text(f"{entries} entries")
    photo = desk.locator("main img").first
    photo.scroll_into_view_if_needed()
    expect(photo).to_have_js_property("naturalWidth", 1600)


def stored(page: Page) -> dict:
    """Return what the phone holds: its entries, and the number of those not yet sent."""
    log = read_log(page)
    return {"entries": log["entries"], "unsent": len(log["outbox"])}


def test_a_whole_job_with_no_signal(server: Server, desk: Page, phone: Phone, tmp_path: Path) -> None:
    hands = pair_by_link(server, desk, phone)
    server.stop()

    hands.open_case("Blue van (invented)", "regulator-and-metering", "4", "no_start")
    make_the_test_valid(hands)
    before = reading_rows(hands)
    assert len(before) == 9

    hands.page.reload()
    assert [row.get_attribute("data-reading") for row in hands.on("readings").page.locator("[data-reading]").all()] == before
    hands.to_case()
    ask_the_control_unit_and_the_supply(hands)
    crank_with_the_timer(hands)

    # half a value is typed when the phone dies; it starts again with no server in sight
    address = re.sub(r"/check/.*", "", hands.page.url)
    hands.page.goto(address + "/check/injector_return")
    hands.on("check").press("acknowledge")
    hands.enter("injector_return")
    hands.type_number("21")
    hands.page.wait_for_timeout(200)
    kept = stored(hands.page)
    phone.kill()
    hands = phone.open(server.url + "/")
    hands.on("cases")
    after = stored(hands.page)
    assert after == kept
    hands.press("open-case")
    hands.on("case").open_check("injector_return")
    hands.enter("injector_return")
    expect(hands.page.locator('[name="value-0"]')).to_have_value("21")
    hands.press("key-clear")
    for value in ("21", "23", "22", "64", "30"):
        hands.type_number(value)
        hands.press("next-place")
    hands.pick("state", "cranking")
    hands.save_reading()
    hands.to_case()
    add_note_and_photo(hands, make_photo(tmp_path / "bottle.jpg"))
    hands.press("back")
    conclude(hands)

    waiting = stored(hands.page)
    assert waiting["unsent"] == len(waiting["entries"])
    server.start()
    hands.press("back")
    hands.on("case").press("back")
    hands.on("cases").press("settings")
    hands.on("settings").press("sync")
    expect(hands.page.locator('[data-unsent="0"]').first).to_be_visible(timeout=20000)
    hands.page.wait_for_timeout(1500)
    check_office(desk, server, len(waiting["entries"]))

    said = json.loads(server.run("fold", str(write_lines(tmp_path / "log.jsonl", waiting["entries"]))))
    assert said["state"] == "concluded"
    assert len({entry["id"] for entry in waiting["entries"]}) == said["entries"]


def write_lines(path: Path, entries: list[dict]) -> Path:
    own = ("id", "case", "device", "seq", "clock", "at", "by", "kind", "body")
    path.write_text("\n".join(json.dumps({key: entry[key] for key in own}) for entry in entries))
    return path
