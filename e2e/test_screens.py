"""Every screen of the phone app and page of the office, at both sizes: a fitting caution, the injury card one press away,
nothing cut off, targets fit for gloves, readable text, and nothing that axe calls a violation.
"""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from e2e.hands import Hands
from e2e.stage import DESK_SIZE, PHONE_SIZE, Complaints, Server

AXE_RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa", "best-practice"]}
LEAST_TARGET_PX = 64
LEAST_TEXT_PX = 18

# pressable things lower than a gloved finger; an input inside a label is pressed by its label
SMALL_TARGETS = """([least]) => [...document.querySelectorAll('button, a.press, summary, select, input')]
  .map((e) => (e.tagName === 'INPUT' && e.closest('label')) || e)
  .filter((e) => e.checkVisibility() && e.getBoundingClientRect().height < least - 0.5)
  .map((e) => `${e.tagName} ${e.dataset.act || e.name || ''} ${Math.round(e.getBoundingClientRect().height)}`)"""
SMALL_TEXT = """([least]) => { const found = []; const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) { const e = walk.currentNode.parentElement;
    if (walk.currentNode.data.trim() && e.checkVisibility() && parseFloat(getComputedStyle(e).fontSize) < least - 0.01)
      found.push(`${getComputedStyle(e).fontSize} ${walk.currentNode.data.trim().slice(0, 40)}`); } return found; }"""
WIDER_THAN_SCREEN = """() => [...document.querySelectorAll('body *')].filter((e) => e.checkVisibility()
  && e.getBoundingClientRect().right > document.documentElement.clientWidth + 1 && !e.closest('.scrolls'))
  .map((e) => `${e.tagName}.${e.className} ${Math.round(e.getBoundingClientRect().right)}`).slice(0, 5)"""
# contrast of text against the nearest painted ground, WCAG 2.2 formula; 7 to 1 is the project's own floor
LOW_CONTRAST = """([least]) => {
  const parse = (c) => { const m = c.match(/[\\d.]+/g).map(Number); return m.length === 3 ? [...m, 1] : m; };
  const linear = (v) => (v / 255 <= 0.04045 ? v / 255 / 12.92 : ((v / 255 + 0.055) / 1.055) ** 2.4);
  const lum = ([r, g, b]) => 0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b);
  const ground = (e) => {
    for (; e; e = e.parentElement) {
      const colour = parse(getComputedStyle(e).backgroundColor);
      if (colour[3] > 0.99) return colour;
    }
    return [255, 255, 255, 1];
  };
  const found = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const e = walk.currentNode.parentElement;
    if (!walk.currentNode.data.trim() || !e.checkVisibility() || e.closest('[disabled]')) continue;
    const a = lum(parse(getComputedStyle(e).color)), b = lum(ground(e));
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    if (ratio < least) found.push(`${ratio.toFixed(2)} ${walk.currentNode.data.trim().slice(0, 30)}`);
  }
  return found;
}"""
WHOLE_HEIGHT_PX = 6000  # nothing is then behind the bar at the bottom, which scrolling would bring out


def measure(page: Page, where: str) -> list[str]:
    """Return everything that is wrong with what is shown."""
    found = [f"{where}: target {row}" for row in page.evaluate(SMALL_TARGETS, [LEAST_TARGET_PX])]
    found += [f"{where}: text {row}" for row in page.evaluate(SMALL_TEXT, [LEAST_TEXT_PX])]
    found += [f"{where}: too wide {row}" for row in page.evaluate(WIDER_THAN_SCREEN)]
    found += [f"{where}: contrast {row}" for row in page.evaluate(LOW_CONTRAST, [7.0])]
    return found + axe_violations(page, where)


def axe_violations(page: Page, where: str) -> list[str]:
    size = page.viewport_size
    page.set_viewport_size({**size, "height": WHOLE_HEIGHT_PX})
    rows = Axe().run(page, options=AXE_RULES).response["violations"]
    page.set_viewport_size(size)
    return [f"{where}: axe {row['id']} {row['nodes'][0]['target']}" for row in rows]


@pytest.fixture(scope="module")
def stage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Server, str]]:
    """A server with the invented workshop; the second value is the office person's password."""
    folder = tmp_path_factory.mktemp("stage")
    (folder / "data").mkdir()
    server = Server(folder / "data")
    said = server.run("demo")
    server.start()
    yield server, re.search(r"demo-office / (\S+)", said).group(1)
    server.stop()


def walk_screens(hands: Hands) -> Iterator[str]:
    """Lead through every screen of the phone app; yield its name when it is shown."""
    page = hands.page
    yield from walk_new_case(hands)
    case = page.url
    places = {
        "check": "/check/leaks",
        "missing": "/check/leaks/missing/external_leak",
        "timer": "/check/crank/timer/crank_rise_time",
        "listen": "/check/battery/listen/cranking_speed",
        "returns": "/check/injector_return/returns/injector_return",
        "scan": "/check/crank/scan/crank_pressure",
        "volts": "/check/crank/volts/crank_pressure",
        "resistor": "/check/hold/resistor",
        "film": "/check/crank/film",
        "trace": "/check/crank/trace",
        "notes": "/notes",
        "conclude": "/conclude",
        "result": "/result",
    }
    for screen, address in places.items():
        page.goto(case + address)
        hands.on(screen)
        yield screen
    page.goto(case + "/check/injector_return")
    hands.on("check").press("acknowledge")
    hands.page.locator("[data-step]").first.wait_for()
    yield "check with steps"
    page.goto(case + "/check/injector_return/reading/injector_return")
    hands.on("reading")
    yield "reading a list"
    page.goto(case + "/check/battery/reading/battery_voltage_rest")
    hands.on("reading").type_number("12.6")
    yield "reading"
    hands.press("save-reading")
    hands.on("verdict")
    yield "verdict"
    page.goto(case + "/readings")
    hands.on("readings")
    yield "readings"
    for screen, address in {"settings": "#/settings", "pair": "#/pair", "injury": "#/injury"}.items():
        page.goto(case.split("#")[0] + address)
        hands.on(screen)
        yield screen


def walk_new_case(hands: Hands) -> Iterator[str]:
    hands.on("cases")
    yield "cases"
    hands.press("new-case")
    hands.on("new-case").press("more-details")
    yield "new-case"
    hands.write("description", "White lorry with a long name that does not fit on one line (invented)")
    for group, choice in (("layout", "unknown"), ("cylinders", "6"), ("supply", "unknown")):
        hands.pick(group, choice)
    hands.press("save-case")
    hands.on("case")
    yield "case"


@pytest.mark.parametrize("size", [PHONE_SIZE, DESK_SIZE], ids=["phone", "desk"])
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_every_screen_of_the_phone(stage: tuple[Server, str], browser: Browser, size: dict, theme: str) -> None:
    context = browser.new_context(viewport=size, color_scheme=theme, reduced_motion="reduce")
    complaints = Complaints(context)
    hands = Hands(context.new_page())
    hands.page.goto(stage[0].url + "/")
    found = []
    for screen in walk_screens(hands):
        found += measure(hands.page, screen)
        if not hands.page.locator("[data-caution]:visible").count():
            found.append(f"{screen}: no caution")
        if screen != "injury" and not hands.page.locator('[data-act="injury"]:visible').count():
            found.append(f"{screen}: the injury card is not one press away")
    context.close()
    assert found == [], "\n".join(found)
    complaints.assert_none()


def pairing_addresses(page: Page, server: Server) -> list[str]:
    """A code that nobody has used, and a phone that waits for the office's word."""
    found = []
    for is_asked in (False, True):
        page.goto(server.url + "/office/devices")
        page.click('main button[type="submit"]:has-text("pairing")')
        assert axe_violations(page, "invitation") == []
        found.append(page.locator('a[href*="/office/pairings/"]').get_attribute("href"))
        if is_asked:
            code, install = page.locator("[data-code]").inner_text(), "01900000-0000-7000-8000-00000000000f"
            asked = {"code": code, "device_name": "Phone", "install": install}
            assert page.request.post(server.url + "/api/v1/pair", data=asked).status == 201
    return found


def office_addresses(page: Page, server: Server) -> list[str]:
    page.goto(server.url + "/office/")
    case = page.locator('a[href*="/office/cases/"]').first.get_attribute("href")
    page.goto(server.url + "/office/?q=DEMO+101")
    repaired = page.locator('a[href*="/office/cases/"]').first.get_attribute("href")
    person = "/office/people"
    return [
        "/office/",
        "/office/?q=nothing+found",
        case,
        case + "/report",
        repaired,
        repaired + "/report",
        person,
        "/office/devices",
        "/injury",
        "/account/password",
        "/account/sign-ins",
        *pairing_addresses(page, server),
    ]


def sign_in(page: Page, server: Server, password: str) -> None:
    page.goto(server.url + "/office/")
    page.fill('[name="login"]', "demo-office")
    page.fill('[name="password"]', password)
    page.click('main button[type="submit"]')


@pytest.mark.parametrize("size", [PHONE_SIZE, DESK_SIZE], ids=["phone", "desk"])
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_every_page_of_the_office(
    stage: tuple[Server, str], browser: Browser, size: dict, theme: str, tmp_path: Path
) -> None:
    server, password = stage
    context = browser.new_context(viewport=size, color_scheme=theme)
    complaints = Complaints(context)
    page = context.new_page()
    page.goto(server.url + "/office/")
    found = axe_violations(page, "sign-in")
    sign_in(page, server, password)
    for address in office_addresses(page, server):
        page.goto(server.url + address)
        found += axe_violations(page, address)
        found += [f"{address}: too wide {row}" for row in page.evaluate(WIDER_THAN_SCREEN)]
        if not page.locator("[data-caution], .caution").first.is_visible():
            found.append(f"{address}: no caution")
        if address != "/injury" and not page.locator('a[href="/injury"]').first.is_visible():
            found.append(f"{address}: the injury card is not one press away")
    context.close()
    assert found == [], "\n".join(found)
    complaints.assert_none()


def test_the_first_step_is_seen_after_the_cautions_were_read(stage: tuple[Server, str], browser: Browser) -> None:
    """Whoever scrolled down through long cautions finds step 1 before his eyes, not the place where he stopped reading."""
    context = browser.new_context(viewport=PHONE_SIZE)
    hands = Hands(context.new_page())
    hands.page.goto(stage[0].url + "/")
    hands.open_case("Blue van (invented)", "regulator-and-metering", "4", "no_start")
    hands.press("open-check", hands.page.locator('.row[data-check="intake"]'))
    hands.on("check").page.locator('[data-act="acknowledge"]').wait_for()
    hands.page.evaluate("() => scrollTo(0, document.body.scrollHeight)")
    hands.press("acknowledge")
    expect(hands.page.locator("[data-step]").first).to_be_in_viewport(ratio=0.9)
    context.close()
