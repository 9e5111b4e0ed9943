"""Injector return, sensor volts, scan text and the small calculators: entered offline, kept as readings, judged."""

from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import expect

from e2e.hands import Hands


def go(hands: Hands, screen: str, address: str) -> None:
    hands.page.goto(hands.page.url.split("/check/")[0] + address)
    hands.on(screen)


def fills(hands: Hands) -> list[int]:
    return [int(tube.get_attribute("data-fill")) for tube in hands.page.locator("[data-cylinder]").all()]


def test_tubes_fill_while_typing_and_the_collection_is_timed(hands: Hands, tmp_path: Path) -> None:
    go(hands, "returns", "/check/injector_return/returns/injector_return")
    assert fills(hands) == [0, 0, 0, 0]
    for value in ("21", "23", "22", "64"):
        hands.type_number(value)
        hands.press("next-place")
    grown = fills(hands)
    assert grown[3] == max(grown) > 2.5 * grown[0] > 0
    hands.press("collect")
    hands.press("collect-begin")
    expect(hands.page.locator('[data-phase="count"]')).to_contain_text("third beep")
    hands.page.locator('[data-act="collect-end"]').wait_for(timeout=10000)
    hands.page.locator('[data-act="collect-done"]').wait_for(timeout=10000)
    expect(hands.page.locator("[data-collected]")).to_have_attribute("data-collected", "5.00")
    hands.press("collect-done")
    expect(hands.page.locator('[name="duration"]')).to_have_value("5")
    Image.new("RGB", (640, 480), (90, 90, 40)).save(tmp_path / "tubes.jpg")
    hands.page.set_input_files('input[name="photo"]', tmp_path / "tubes.jpg")
    expect(hands.page.locator('[data-kept="1"]')).to_be_visible()
    hands.press("save-reading")
    hands.on("verdict")
    expect(hands.page.locator('[data-verdict="fail"]').first).to_be_visible()
    expect(hands.page.locator("main")).to_contain_text("cylinder 4")


def test_a_burst_that_went_wrong_does_not_count(hands: Hands) -> None:
    go(hands, "returns", "/check/injector_return/returns/injector_return")
    hands.press("collect")
    hands.press("collect-begin")
    hands.page.locator('[data-act="collect-end"]').wait_for(timeout=10000)
    hands.press("collect-end")
    hands.press("collect-drop")
    hands.press("collect-done")
    expect(hands.page.locator('[name="duration"]')).to_have_value("")


def test_pressure_from_sensor_volts(hands: Hands) -> None:
    go(hands, "volts", "/check/crank/volts/crank_pressure")
    hands.write("volts", "1.0")
    hands.write("reference_v", "4.8")
    hands.write("high_bar", "1800")
    expect(hands.page.locator("[data-bar]")).to_have_attribute("data-bar", "243.75")
    hands.press("save-volts")
    hands.on("verdict")
    expect(hands.page.locator(".big-value")).to_contain_text("243.8")
    go(hands, "volts", "/check/crank/volts/crank_pressure")
    expect(hands.page.locator('[name="high_bar"]')).to_have_value("1800")


def test_a_wrong_sensor_figure_is_refused_by_name(hands: Hands) -> None:
    go(hands, "volts", "/check/crank/volts/crank_pressure")
    hands.write("volts", "one")
    expect(hands.page.locator('[data-field="volts"] .error')).to_contain_text("not a number")
    expect(hands.page.locator('[data-act="save-volts"]')).to_be_disabled()


@pytest.mark.parametrize(
    ("address", "text", "choice", "said"),
    [
        ("/check/crank/scan/crank_pressure", "41 23 0B B8", None, "300"),
        ("/check/battery/scan/cranking_speed", "410C0320\n41 23 0B B8", None, "200"),
        ("/check/control/scan/commanded_pressure", "41 6D 07 0B B8 0A 8C 5A", "commanded_rail_pressure", "300"),
    ],
)
def test_scan_text_becomes_a_reading(hands: Hands, address: str, text: str, choice: str | None, said: str) -> None:
    go(hands, "scan", address)
    hands.write("scan-text", text)
    if choice:
        hands.pick("scan", choice)
    expect(hands.page.locator('[data-act="save-scan"]')).to_be_enabled()
    hands.press("save-scan")
    hands.on("verdict")
    expect(hands.page.locator(".big-value")).to_contain_text(said)


def test_what_is_no_scan_text_is_said(hands: Hands) -> None:
    go(hands, "scan", "/check/crank/scan/crank_pressure")
    hands.write("scan-text", "hello")
    expect(hands.page.locator('[role="alert"]')).to_contain_text("hello")
    expect(hands.page.locator('[data-act="save-scan"]')).to_be_disabled()


def test_dummy_load_and_outside_drive(hands: Hands) -> None:
    go(hands, "resistor", "/check/hold/resistor")
    hands.write("coil_ohm", "3")
    hands.write("supply_v", "12")
    expect(hands.page.locator('[data-figure="resistor_ohm"]')).to_contain_text("3.3")
    expect(hands.page.locator('[data-figure="on_time_s"]')).to_contain_text("s")
    expect(hands.page.locator("main .warn").first).to_be_visible()
    hands.write("coil_ohm", "-3")
    expect(hands.page.locator('[data-field="coil_ohm"] .error')).to_contain_text("cannot be")
