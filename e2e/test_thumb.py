"""Timing by thumb, offline: countdown, two targets, repeats, own thumb rehearsed, a rise too quick for the method."""

import re

import pytest
from playwright.sync_api import expect

from e2e.ears import slow_down
from e2e.hands import Hands
from e2e.stage import PHONE_SIZE

TARGET_SHARE = 0.6  # of the screen's height that the one target has while something is timed


def open_timer(hands: Hands, start: str = "self", also_200: bool = False) -> None:
    hands.page.goto(hands.page.url.split("/check/")[0] + "/check/crank/timer/crank_rise_time")
    hands.on("timer").press("timing-setup")
    hands.pick("start", start)
    button = hands.page.locator('[data-act="also-200"]')
    if (button.get_attribute("aria-pressed") == "true") != also_200:
        button.click()


# taps inside the page: a test machine under load is a worse thumb than any
TAPS = """async (waits_ms) => {
  const tap = (act) => document.querySelector(`[data-act="${act}"]`)
    .dispatchEvent(new PointerEvent('pointerdown', { bubbles: true, cancelable: true }));
  tap('tap-start');
  for (const wait of waits_ms) {
    await new Promise((done) => setTimeout(done, wait));
    tap('tap-reached');
  }
}"""


def rise(hands: Hands, *waits_ms: int) -> None:
    """Tap the start and, after each wait, the next target."""
    hands.page.locator('[data-act="tap-start"]').wait_for()
    hands.page.evaluate(TAPS, list(waits_ms))


def shown(hands: Hands, target: str) -> tuple[float, float]:
    line = hands.page.locator(f'[data-timing][data-target="{target}"]')
    line.wait_for()
    return float(line.get_attribute("data-timing")), float(line.get_attribute("data-uncertainty"))


def wait_for_usual_thumb(hands: Hands) -> None:
    """The uncertainty of one awaited attempt by the usual thumb, 0.10 s, once the screen has worked it out anew."""
    line = hands.page.locator('[data-timing][data-target="285"]')
    expect(line).to_have_attribute("data-uncertainty", re.compile(r"^0\.(1|100\d*|0999\d*)$"))


def test_countdown_two_targets_and_a_reading_each(hands: Hands) -> None:
    open_timer(hands, "count", True)
    hands.press("count-start")
    expect(hands.page.locator('[data-phase="count"]')).to_contain_text("third beep")
    hands.page.locator('[data-act="tap-start"]').wait_for(timeout=10000)
    rise(hands, 600, 500)
    first, limit = shown(hands, "200"), shown(hands, "285")
    assert 0.5 < first[0] < limit[0]
    assert limit[1] == pytest.approx(0.10, abs=0.001)
    hands.press("save-timing")
    hands.on("verdict")
    hands.page.goto(hands.page.url.split("/check/")[0] + "/readings")
    expect(hands.on("readings").page.locator("[data-reading]")).to_have_count(2)


def test_the_target_fills_the_screen(hands: Hands) -> None:
    open_timer(hands)
    hands.press("tap-start")
    box = hands.page.locator('[data-act="tap-reached"]').bounding_box()
    assert box["height"] > TARGET_SHARE * PHONE_SIZE["height"]
    assert box["width"] > 0.9 * PHONE_SIZE["width"]
    expect(hands.page.locator('[data-act="injury"]')).to_be_visible()
    hands.press("tap-stop")
    expect(hands.page.locator('[data-message="not-reached"]')).to_be_visible()


def test_repeats_count_together_and_survive_a_reload(hands: Hands) -> None:
    open_timer(hands)
    rise(hands, 1200)
    rise(hands, 1200)
    value, u = shown(hands, "285")
    assert u < 0.08
    hands.page.wait_for_timeout(300)
    hands.page.reload()
    assert shown(hands.on("timer"), "285") == (value, u)
    hands.press("attempt-remove")
    wait_for_usual_thumb(hands)


def test_a_surprise_is_wider(hands: Hands) -> None:
    open_timer(hands, "helper")
    rise(hands, 1300)
    assert shown(hands, "285")[1] == pytest.approx(0.24, abs=0.001)


def test_too_quick_for_a_thumb_offers_what_resolves_more(hands: Hands) -> None:
    open_timer(hands)
    rise(hands, 200)
    expect(hands.page.locator('[data-resolved="false"]')).to_contain_text("Too quick for a thumb")
    expect(hands.page.locator('[data-act="film"]')).to_be_visible()
    expect(hands.page.locator('[data-act="trace"]')).to_be_visible()


# presses the pad as it passes the mark, now early and now late: the rehearsal of a thumb of known scatter
REHEARSE = """(late_s) => new Promise((done) => {
  const watch = () => {
    const pad = document.querySelector('[data-act="rehearse-tap"]');
    if (!pad) return requestAnimationFrame(watch);
    if (Number(pad.textContent) < 285) return requestAnimationFrame(watch);
    setTimeout(() => {
      pad.dispatchEvent(new PointerEvent('pointerdown', { bubbles: true, cancelable: true }));
      done();
    }, 1000 * late_s);
  };
  watch();
})"""


def test_an_own_thumb_takes_the_place_of_the_usual_one(hands: Hands) -> None:
    open_timer(hands)
    slow_down(hands.page, 1)
    hands.press("rehearse")
    for late in (0.02, 0.10, 0.18, 0.06, 0.14, 0.10):
        hands.press("rehearse-start")
        hands.page.evaluate(REHEARSE, late)
    hands.page.locator('[data-goes="6"]').wait_for()
    hands.press("rehearse-use")
    rise(hands, 1300)
    u = shown(hands, "285")[1]
    assert 0.05 < u < 0.2
    assert u != pytest.approx(0.10, abs=0.0005)
    hands.press("rehearse")
    hands.press("rehearse-forget")
    wait_for_usual_thumb(hands)
