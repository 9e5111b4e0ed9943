"""Say what pip-audit and npm audit found: python deploy/read_audits.py KNOWN.json SERVER.json BROWSER.json.

Exit code 1: a weakness. Both tools fail alike when they find something and when nobody answers them; only their reports
tell these apart. KNOWN is the report on a package that is known to be weak: when that finds nothing, the index that was
asked does not speak of weaknesses, and finding none in SERVER means nothing.
"""

import json
import sys
from collections.abc import Iterator
from pathlib import Path


def read(path: str) -> dict:
    try:
        found = json.loads(Path(path).read_text())
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def list_server(report: dict) -> Iterator[str]:
    for package in report.get("dependencies", ()):
        yield from (f"{package['name']} {package['version']}: {row['id']}" for row in package.get("vulns", ()))


def list_browser(report: dict) -> Iterator[str]:
    for name, row in report["vulnerabilities"].items():
        yield f"{name} {row['range']}: {row['severity']}"


def main(known: str, server: str, browser: str) -> int:
    is_sound, speaks = True, any(list_server(read(known)))
    for what, path, key, find in (
        ("server", server, "dependencies", list_server),
        ("browser", browser, "vulnerabilities", list_browser),
    ):
        report = read(path)
        found = list(find(report)) if key in report else []
        if key not in report or (what == "server" and not speaks and not found):
            print(f"{what}: NOT audited, nobody who knows of weaknesses answered")
            continue
        print(f"{what}: {len(found)} known weaknesses", *found, sep="\n  ")
        is_sound = is_sound and not found
    return 0 if is_sound else 1


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
