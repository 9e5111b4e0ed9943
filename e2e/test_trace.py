"""A rise by recorded trace: files of many loggers read on the phone, offline and on a slow one; looked at, mended, saved."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import expect

from e2e.conftest import Phone
from e2e.hands import Hands
from e2e.stage import Server, wait_offline_ready
from tests.trace.dialects import TARGETS, Dialect, make_dialects, true_seconds

SLOWED = 4
LIMIT_BAR = TARGETS[-1]
DIALECTS = {dialect.name: dialect for dialect in make_dialects()}


@pytest.fixture
def hands(phone: Phone, server: Server) -> Hands:
    """At the trace screen of a new case; the server is gone and the processor slow."""
    hands = phone.open(server.url)
    hands.open_case("van with a logger", "regulator-and-metering", "4", "no_start")
    hands.open_check("crank")
    wait_offline_ready(hands.page)
    server.stop()
    hands.page.reload()
    hands.on("check")
    hands.page.context.new_cdp_session(hands.page).send("Emulation.setCPUThrottlingRate", {"rate": SLOWED})
    hands.press("trace")
    return hands.on("trace")


def choose(hands: Hands, name: str, data: bytes) -> None:
    file = {"name": f"{name}.csv", "mimeType": "text/csv", "buffer": data}
    hands.page.locator('main > label [name="trace"]').set_input_files(file)


def read_rise(hands: Hands, dialect: Dialect) -> list[float]:
    """Choose a file and wait for the times that it gives."""
    choose(hands, dialect.name, dialect.data)
    expect(hands.page.locator(".trace-name")).to_have_text(f"{dialect.name}.csv", timeout=20000)
    return shown_times(hands)


def shown_times(hands: Hands) -> list[float]:
    return [float(part) for part in hands.page.get_attribute("[data-rise]", "data-rise").split()]


def wait_for_time(hands: Hands, seconds: float) -> None:
    """Wait until the last target's time is so, to the millisecond."""
    is_so = "(s) => Math.abs(Number(document.querySelector('[data-rise]').dataset.rise.split(' ').pop()) - s) < 1e-3"
    hands.page.wait_for_function(is_so, arg=seconds)


def view_width(hands: Hands) -> float:
    low, high = hands.page.get_attribute("[data-chart]", "data-view").split()
    return float(high) - float(low)


READ_RISES = """() => new Promise((done) => {
  const opening = indexedDB.open('railcase');
  opening.onsuccess = () => {
    const asked = opening.result.transaction('entries').objectStore('entries').getAll();
    asked.onsuccess = () => {
      opening.result.close();
      done(asked.result.filter((entry) => entry.kind === 'rise_recorded').map((entry) => entry.body));
    };
  };
})"""


def test_every_dialect_is_read_and_a_trace_gives_two_readings_and_a_verdict(hands: Hands) -> None:
    for dialect in DIALECTS.values():
        if dialect.options:
            continue
        times = read_rise(hands, dialect)
        allowed = dialect.tolerance_s if dialect.has_battery else 0.12  # the pressure starts a dead time after the starter
        assert times == pytest.approx([true_seconds(bar) for bar in TARGETS], abs=allowed), dialect.name
    expect(hands.page.locator(".chart canvas")).to_be_visible()
    hands.press("save-trace")
    hands.on("verdict")
    expect(hands.page.locator(".big-value")).to_contain_text(f"{times[-1]:.2f}")
    hands.press("back")
    for quantity in ("crank_pressure", "crank_rise_time"):
        expect(hands.page.locator(f'.quantity[data-quantity="{quantity}"]').first).to_have_attribute("data-measured", "true")


def test_a_file_that_needs_help_says_what_it_needs(hands: Hands, tmp_path: Path) -> None:
    choose(hands, "letter", b"Time (s),Rail pressure (bar)\n0,2\n1,3\n2,x\n" + b"3,y\n" * 40)
    expect(hands.part("message", "trace-problem")).to_contain_text("row 4, column 'Rail pressure (bar)': 'x'")
    choose(hands, "no-header", DIALECTS["no-header"].data)
    expect(hands.part("message", "trace-problem")).to_contain_text("'column 1'")
    hands.pick("time-column", "0")
    hands.pick("pressure-column", "1")
    hands.pick("pressure-unit", "bar")
    hands.press("trace-use")
    expect(hands.page.locator("[data-rise]")).to_be_visible(timeout=20000)
    expect(hands.page.locator('[data-message="rise-warning"]').first).to_be_visible()  # the start is only the pressure's
    choose(hands, "scope", DIALECTS["scope-volts-title-lines"].data)
    expect(hands.part("message", "trace-problem")).to_be_visible()
    hands.pick("pressure-column", "1")
    hands.write("sensor-b1", "2000")
    hands.press("trace-use")
    expect(hands.page.locator("[data-rise]")).to_be_visible(timeout=20000)
    expect(hands.page.locator(".figures")).to_contain_text(re.compile("Steady30[01]"))
    rows = "".join(f"{i / 1000:.3f},{i % 300}\n" for i in range(60000))
    big = tmp_path / "big.csv"
    big.write_text("Time (s),Rail pressure (bar)\n" + rows * 30)
    hands.page.locator('main > label [name="trace"]').set_input_files(str(big))
    hands.press("trace-cancel")
    expect(hands.page.locator(".progress")).to_have_count(0)
    expect(hands.page.locator(".trace-name")).to_have_text("scope.csv")


def stretch(hands: Hands) -> None:
    """Two fingers, from 80 to 240 px apart."""
    box = hands.page.locator(".chart-place").bounding_box()
    session = hands.page.context.new_cdp_session(hands.page)
    middle, height = box["x"] + box["width"] / 2, box["y"] + 100
    for kind, spread in (("touchStart", 40), ("touchMove", 80), ("touchMove", 120), ("touchEnd", None)):
        points = [{"x": middle + side * spread, "y": height, "id": i} for i, side in enumerate((-1, 1))] if spread else []
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})


def test_the_curve_is_looked_at_its_start_moved_and_nothing_lost(hands: Hands, phone: Phone) -> None:
    before = read_rise(hands, DIALECTS["comma"])[-1]
    first = view_width(hands)
    hands.press("chart-closer")
    assert view_width(hands) == pytest.approx(first / 2, rel=0.05)
    hands.press("chart-wider")
    stretch(hands)
    assert view_width(hands) == pytest.approx(first / 3, rel=0.15)
    hands.press("start-0.05")
    expect(hands.part("start", "hand")).to_contain_text("Both are kept")
    wait_for_time(hands, before - 0.05)
    address = hands.page.url
    hands.page.wait_for_timeout(500)
    phone.kill()
    again = phone.open(address)
    again.on("trace")
    expect(again.part("start", "hand")).to_be_visible(timeout=20000)
    wait_for_time(again, before - 0.05)
    again.press("save-trace")
    again.on("verdict")
    (kept,) = again.page.evaluate(READ_RISES)
    assert kept["start_from"] == "hand"
    assert kept["start_s"] - kept["found_start_s"] == pytest.approx(0.05, abs=1e-3)
    assert len(kept["readings"]) == 2
    assert 50 < len(kept["points"]) <= 400
