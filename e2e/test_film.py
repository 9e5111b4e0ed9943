"""A rise by film: a film whose rate varies and whose rise is known is chosen, stepped through, marked, saved and synced."""

import math
from itertools import pairwise

from playwright.sync_api import Page, expect

from e2e import films
from e2e.conftest import Phone
from e2e.hands import Hands
from e2e.stage import Server

LIMIT_BAR = 285
WIDEST_GAP_S = 0.15


def film_time(page: Page) -> float:
    return float(page.get_attribute(".player", "data-at"))


def step(hands: Hands, count: int) -> float:
    """Press a frame button and wait for the frame."""
    before = page_at = film_time(hands.page)
    hands.press(f"frame-{count}")
    moved = "(was) => Math.abs(Number(document.querySelector('.player').dataset.at) - was) > 1e-4"
    hands.page.wait_for_function(moved, arg=page_at)
    after = film_time(hands.page)
    assert (after - before) * count > 0
    return after


def go_near(hands: Hands, moment: float) -> None:
    """Pull the slider to the beginning, then to the moment: that way it is plain when it has got there."""
    for wanted in (0.0, moment):
        hands.page.locator('[name="scrub"]').fill(f"{wanted:.3f}")
        near = "(wanted) => Math.abs(Number(document.querySelector('.player').dataset.at) - wanted) < 0.2"
        hands.page.wait_for_function(near, arg=wanted)


def rise_time(bar: float) -> float:
    span = films.STEADY_BAR - films.REST_BAR
    return -films.TAU_S * math.log(1.0 - (bar - films.REST_BAR) / span)


def go_to_first(hands: Hands, is_there: str, most: int = 40) -> dict:
    """Go a little before it, then step on until what is seen is so."""
    ahead = 0.0 if is_there == "cranking" else rise_time(float(is_there))
    go_near(hands, films.START_S + ahead - 0.12)
    for _ in range(most):
        seen = films.read_frame(hands.page)
        if (is_there == "cranking" and seen["cranking"]) or (is_there != "cranking" and seen["bar"] >= int(is_there)):
            return seen
        step(hands, 1)
    raise AssertionError(f"no frame shows {is_there}")


def type_pressure(hands: Hands) -> None:
    seen = films.read_frame(hands.page)
    hands.press("mark-type")
    hands.type_number(str(seen["bar"]))
    hands.press("mark-keep")
    expect(hands.page.locator('[data-act="frame-1"]')).to_be_visible()


def choose_film(hands: Hands, film: bytes) -> None:
    hands.press("film")
    hands.on("film")
    hands.page.set_input_files("[name=film]", {"name": "gauge.webm", "mimeType": "video/webm", "buffer": film})
    expect(hands.page.locator('.player[data-ready="true"]')).to_be_visible(timeout=20000)


def mark_whole_film(hands: Hands) -> None:
    go_to_first(hands, "cranking")
    hands.press("mark-start")
    expect(hands.page.locator('[data-start="picture"]')).to_be_visible()
    step(hands, -1)
    type_pressure(hands)
    for bar in ("120", "200", "270", str(LIMIT_BAR)):
        go_to_first(hands, bar)
        type_pressure(hands)
    step(hands, 1)
    type_pressure(hands)


def open_crank(phone: Phone, server: Server) -> Hands:
    hands = phone.open(server.url)
    hands.open_case("van with a film", "regulator-and-metering", "4", "no_start")
    hands.open_check("crank")
    return hands


def test_a_known_rise_is_recovered_within_one_frame(phone: Phone, server: Server) -> None:
    hands = open_crank(phone, server)
    film, drawn = films.make_film(hands.page)
    choose_film(hands, film)
    times = [moment for moment, _ in drawn]
    gaps = [b - a for a, b in pairwise(times)]
    assert max(gaps) > 2 * min(gaps), "the film must have a rate that varies"
    mark_whole_film(hands)
    expect(hands.page.locator("[data-rise]")).to_be_visible()
    found = float(hands.page.get_attribute("[data-rise]", "data-rise").split()[-1])
    truth = rise_time(LIMIT_BAR)
    print(f"found {found:.3f} s, true {truth:.3f} s, widest frame {max(gaps):.3f} s")
    assert abs(found - truth) < max(gaps)
    hands.press("save-film")
    hands.on("verdict")
    expect(hands.part("quantity", "crank_rise_time").first).to_contain_text("s")


def test_the_ear_finds_the_start_and_a_killed_app_loses_nothing(phone: Phone, server: Server) -> None:
    hands = open_crank(phone, server)
    film, _ = films.make_film(hands.page)
    choose_film(hands, film)
    hands.press("mark-heard")
    expect(hands.page.locator('[data-start="sound"]')).to_be_visible(timeout=15000)
    heard = hands.page.locator('[data-start="sound"]').inner_text()
    assert abs(float(heard.split()[1]) - films.START_S) < WIDEST_GAP_S, heard
    go_to_first(hands, "200")
    type_pressure(hands)
    expect(hands.page.locator("[data-mark]")).to_have_count(1)
    address = hands.page.url
    server.stop()
    hands.page.wait_for_timeout(500)
    phone.kill()
    hands = phone.open(address)
    hands.on("film")
    expect(hands.page.locator('.player[data-ready="true"]')).to_be_visible(timeout=20000)
    expect(hands.page.locator("[data-mark]")).to_have_count(1)
    expect(hands.page.locator('[data-start="sound"]')).to_be_visible()
