"""What the screen showed as kept survives the death of the browser at any moment. Longer: `python -m tests.kill`."""

from pathlib import Path

from playwright.sync_api import Playwright

from e2e.kills import Killing
from e2e.stage import Server

KILLS, SEED = 12, 20261125


def test_nothing_that_was_shown_as_kept_is_lost(playwright: Playwright, server: Server, tmp_path: Path) -> None:
    outcome = Killing(playwright, tmp_path, server, SEED).run(KILLS)
    assert outcome.kills == KILLS
    assert outcome.confirmed >= KILLS, "hardly anything was shown as kept: this run proves nothing"
    assert outcome.faults.keys() >= {"ask", "answer"}
