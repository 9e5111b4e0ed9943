"""`python -m tests.kill [kills] [seed]`: the browser killed while somebody types and the app sends (e2e/kills.py).

Exits with an error and names what was lost; else prints what was done. 100 kills take some minutes.
"""

import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import sync_playwright

from e2e.kills import Killing
from e2e.stage import Server


def main(kills: int = 100, seed: int = 1) -> None:
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        (Path(folder) / "data").mkdir()
        server = Server(Path(folder) / "data")
        server.add_person("Tarek Technician", "technician", "technician")
        server.start()
        try:
            outcome = Killing(playwright, Path(folder), server, seed).run(kills)
        finally:
            server.stop()
    spent = time.monotonic() - began
    print(f"seed {seed}: {outcome.kills} kills in {spent:.0f} s, {outcome.confirmed} entries shown as kept, none lost;")
    print(f"{outcome.entries} entries at the office, each once; questions by fault: {outcome.faults}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
