"""Phones far from any server: one that was here once, and one whose microphone plays a generated sound."""

import wave
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
from playwright.sync_api import Browser, BrowserContext, Page, Playwright
from scipy.signal import resample_poly

from e2e.hands import Hands
from e2e.stage import CHROMIUM, PHONE_SIZE, Complaints, Server, wait_offline_ready
from tests.engine.starter import RATE_HZ, Sound

FILE_HZ = 48000


def write_sound(path: Path, sound: Sound) -> Path:
    samples = np.clip(resample_poly(sound.wave, FILE_HZ // RATE_HZ, 1), -1, 1)
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(FILE_HZ)
        file.writeframes((samples * 32000).astype("<i2").tobytes())
    return path


@contextmanager
def gone_offline(context: BrowserContext, server: Server, slow: int) -> Iterator[Hands]:
    """Visit once, lose the server, slow the processor; at the end the pages must not have complained of anything."""
    complaints = Complaints(context)
    page = context.new_page()
    page.goto(server.url + "/")
    wait_offline_ready(page)
    server.stop()
    slow_down(page, slow)
    yield Hands(page)
    complaints.assert_none()


@contextmanager
def offline_phone(browser: Browser, folder: Path, slow: int) -> Iterator[Hands]:
    """A phone that has been here once, the server gone since, its processor slowed."""
    (folder / "data").mkdir()
    server = Server(folder / "data")
    server.start()
    context = browser.new_context(viewport=PHONE_SIZE, has_touch=True)
    with gone_offline(context, server, slow) as hands:
        yield hands
        context.close()


def open_new_case(hands: Hands) -> None:
    """From wherever the last test left the phone."""
    hands.page.goto(hands.page.url.split("#")[0] + "#/")
    hands.open_case("Blue van (invented)", "regulator-and-metering", "4", "no_start")


@contextmanager
def hearing_phone(
    playwright: Playwright, server: Server, sound: Path, allowed: bool = True, slow: int = 1
) -> Iterator[Hands]:
    """A phone that has been here once, the server gone since; what it hears is the file, from the moment it listens."""
    flags = ["--use-fake-device-for-media-stream", f"--use-file-for-fake-audio-capture={sound}"]
    flags += ["--use-fake-ui-for-media-stream"] if allowed else ["--deny-permission-prompts"]
    browser = playwright.chromium.launch(executable_path=CHROMIUM, args=flags)
    context = browser.new_context(viewport=PHONE_SIZE, has_touch=True, permissions=["microphone"] if allowed else [])
    with gone_offline(context, server, slow) as hands:
        yield hands
        browser.close()


def slow_down(page: Page, times: int) -> None:
    page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": times})
