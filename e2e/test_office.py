"""The office and a phone work on one job: given out at the desk, done without a signal, reviewed, asked about, answered,
countersigned, printed. The desk's forms work without scripts, and no page of the list or a case says what axe minds.

The scenario is invented.
"""

import io
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect
from pypdf import PdfReader

from e2e.conftest import Phone, sign_in_at_desk
from e2e.stage import DESK_SIZE, PHONE_SIZE, Server
from e2e.test_journey import pair_by_link
from e2e.test_screens import axe_violations

ARABIC = "شاحنة زرقاء"
SMALL = """() => [...document.querySelectorAll('a, button, summary, .tick')].filter((e) => {
  const box = e.getBoundingClientRect();
  return box.height > 0 && box.height < 44 && !e.closest('p, li') && !e.classList.contains('skip');
}).map((e) => e.textContent.trim())"""


@pytest.fixture
def plain_desk(browser: Browser, server: Server) -> Iterator[Page]:
    """The office's browser with scripts switched off, signed in."""
    context = browser.new_context(viewport=DESK_SIZE, java_script_enabled=False)
    page = context.new_page()
    sign_in_at_desk(page, server)
    yield page
    context.close()


def give_job(desk: Page, server: Server) -> None:
    desk.goto(server.url + "/office/")
    desk.click('a[href="/office/jobs/new"]')
    desk.select_option('[name="person"]', label="Tarek Technician")
    desk.fill('[name="registration"]', "AB12 CDE")
    desk.fill('[name="description"]', ARABIC)
    desk.check('[name="complaints"][value="no_start"]')
    desk.fill('[name="note"]', "Stands behind the barn, key with the neighbour (invented).")
    desk.click('main button:has-text("Open the job")')
    expect(desk.locator("main")).to_contain_text("Not seen on a phone yet")


def open_case(desk: Page, server: Server) -> None:
    desk.goto(server.url + "/office/")
    desk.click('.cases a[href*="/office/cases/"]')


def reads(desk: Page, text: str) -> None:
    """Reload until the office knows: a phone sends when it likes."""
    for _ in range(40):
        if text in desk.locator("main").inner_text():
            return
        desk.wait_for_timeout(500)
        desk.reload()
    expect(desk.locator("main")).to_contain_text(text)


def test_a_job_goes_out_is_done_offline_and_comes_back(server: Server, desk: Page, plain_desk: Page, phone: Phone) -> None:
    hands = pair_by_link(server, desk, phone)
    give_job(plain_desk, server)
    hands.page.reload()
    row = hands.on("cases").page.locator('[data-job="new"]')
    expect(row).to_contain_text("New job from the office", timeout=20000)
    server.stop()
    hands.press("open-case")
    expect(hands.on("case").page.locator("[data-from-office]")).to_contain_text("key with the neighbour")
    hands.open_check("battery")
    hands.read_number("battery_voltage_rest", "12.6")
    hands.to_case()
    hands.press("conclude", hands.page.locator("main"))
    hands.on("conclude").write("conclusion", "Left standing, tank empty (invented).")
    hands.press("save-conclusion")
    hands.on("result")

    server.start()
    hands.page.goto(server.url + "/")
    expect(hands.on("cases").page.locator("[data-job]")).to_have_count(0)
    open_case(plain_desk, server)
    reads(plain_desk, "Needs review")
    reads(plain_desk, "Seen on the phone by Tarek Technician")
    plain_desk.fill("#comment", "How do you know that the tank was empty?")
    plain_desk.select_option("#comment-to", label="Tarek Technician")
    plain_desk.check("#comment-question")
    plain_desk.click('main button:has-text("Send it to the phones")')

    hands.page.reload()
    expect(hands.on("cases").page.locator('[data-asked="1"]')).to_contain_text("1 open question", timeout=20000)
    hands.press("open-case")
    hands.on("case").press("questions")
    hands.on("notes").write("answer", "Dipped it: dry.")
    hands.press("save-answer")
    expect(hands.page.locator('[data-comment][data-open="true"]')).to_have_count(0)
    reads(plain_desk, "Dipped it: dry.")

    plain_desk.fill("#review-text", "Agreed.")
    plain_desk.click('main button:has-text("Countersign")')
    expect(plain_desk.locator("main")).to_contain_text("Countersigned")
    expect(plain_desk.locator("main")).not_to_contain_text("Needs review")
    check_report(plain_desk)
    look_at_pages(desk, server)


def check_report(desk: Page) -> None:
    answer = desk.context.request.get(desk.url.partition("#")[0] + "/report.pdf")
    text = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(answer.body())).pages)
    assert "Olga Office" in text
    assert "Agreed." in text
    assert "Left standing, tank empty" in text


def look_at_pages(desk: Page, server: Server) -> None:
    """Every page that this journey knows, wide and narrow: nothing that axe minds, nothing cut off, targets for fingers."""
    open_case(desk, server)
    case = desk.url
    found = []
    for size in (DESK_SIZE, PHONE_SIZE):
        desk.set_viewport_size(size)
        narrowed = f"{server.url}/office/?state=confirmed&questions=1"
        for address in (server.url + "/office/", narrowed, server.url + "/office/jobs/new", case, case + "/merge"):
            desk.goto(address)
            name = f"{address.removeprefix(server.url)} at {size['width']}"
            found += axe_violations(desk, name)
            if desk.evaluate("() => document.documentElement.scrollWidth > innerWidth"):
                found.append(f"{name}: wider than the screen")
            found += [f"{name}: {text!r} is small" for text in desk.evaluate(SMALL)]
    assert found == []


def test_the_menu_of_a_narrow_screen_opens_without_a_script(server: Server, plain_desk: Page) -> None:
    plain_desk.set_viewport_size(PHONE_SIZE)
    plain_desk.goto(server.url + "/office/")
    menu = plain_desk.locator("nav#menu")
    expect(menu).to_be_hidden()
    assert plain_desk.locator(".top").bounding_box()["height"] <= 66
    plain_desk.click('a[href="#menu"]')
    expect(menu).to_be_visible()
    menu.locator('a[href="/office/people"]').click()
    expect(plain_desk.locator("h1")).to_have_text("People")
