"""Actors of the browser tests: a server with people, a phone that keeps its storage, an office desk."""

import os
import signal
import subprocess
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Playwright, sync_playwright

from e2e.ears import offline_phone, open_new_case
from e2e.hands import Hands
from e2e.stage import CHROMIUM, DESK_SIZE, PASSWORD, PHONE_SIZE, Complaints, Server


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    with sync_playwright() as running:
        yield running


@pytest.fixture(scope="session")
def browser(playwright: Playwright) -> Iterator[Browser]:
    browser = playwright.chromium.launch(executable_path=CHROMIUM)
    yield browser
    browser.close()


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    (tmp_path / "data").mkdir()
    server = Server(tmp_path / "data")
    server.add_person("Olga Office", "office", "office")
    server.add_person("Tarek Technician", "technician", "technician")
    server.start()
    yield server
    server.stop()


class Phone:
    """A phone: a browser profile on disk, which may be killed and opened again."""

    def __init__(self, playwright: Playwright, profile: Path, size: dict):
        self.playwright, self.profile, self.size = playwright, profile, size
        self.context: BrowserContext | None = None
        self.complaints: Complaints | None = None

    def open(self, url: str, prepare: Callable[[BrowserContext], None] = lambda context: None) -> Hands:
        """Start the browser on this phone's profile; `prepare` may add what must be there before the first page."""
        self.context = self.playwright.chromium.launch_persistent_context(
            str(self.profile), executable_path=CHROMIUM, viewport=self.size, device_scale_factor=2, has_touch=True
        )
        self.complaints = Complaints(self.context)
        prepare(self.context)
        page = self.context.pages[0]
        page.goto(url)
        return Hands(page)

    def kill(self) -> None:
        """End every process of the browser at once, as an empty battery would."""
        found = subprocess.run(["pgrep", "-f", f"user-data-dir={self.profile}"], capture_output=True, text=True)
        for number in found.stdout.split():
            with suppress(ProcessLookupError):
                os.kill(int(number), signal.SIGKILL)
        with suppress(Exception):
            self.context.close()
        for lock in self.profile.glob("Singleton*"):
            lock.unlink()

    def close(self) -> None:
        if self.context is not None:
            with suppress(Exception):
                self.context.close()


@pytest.fixture
def phone(playwright: Playwright, tmp_path: Path) -> Iterator[Phone]:
    phone = Phone(playwright, tmp_path / "profile", PHONE_SIZE)
    yield phone
    phone.close()
    phone.complaints.assert_none()


@pytest.fixture
def van(browser: Browser) -> Iterator[BrowserContext]:
    """A phone's browser for tests in which questions and files may fail: only what the app itself says counts."""
    context = browser.new_context(viewport=PHONE_SIZE, accept_downloads=True)
    complaints = Complaints(context)
    yield context
    context.close()
    assert [text for text in complaints.texts if not text.startswith("Failed to load resource")] == []


def sign_in_at_desk(page: Page, server: Server) -> None:
    page.goto(server.url + "/office/")
    page.fill('[name="login"]', "office")
    page.fill('[name="password"]', PASSWORD)
    page.click('main button[type="submit"]')


@pytest.fixture
def desk(browser: Browser, server: Server) -> Iterator[Page]:
    """The office's browser, signed in."""
    context = browser.new_context(viewport=DESK_SIZE)
    complaints = Complaints(context)
    page = context.new_page()
    sign_in_at_desk(page, server)
    yield page
    context.close()
    complaints.assert_none()


@pytest.fixture(scope="module")
def phone_far_away(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Hands]:
    """A phone that the tests of a module share, offline and slow."""
    with offline_phone(browser, tmp_path_factory.mktemp("far"), slow=4) as hands:
        yield hands


@pytest.fixture
def hands(phone_far_away: Hands) -> Hands:
    """The shared phone in a new case; a module may have hands of its own."""
    open_new_case(phone_far_away)
    return phone_far_away
