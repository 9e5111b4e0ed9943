"""/about names every package that runs here or is sent to phones, with its licence."""

import json
import re
from importlib.metadata import version
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from webapp import about

CHECKOUT = Path(__file__).parents[2]
BROWSER = json.loads((CHECKOUT / "deploy/browser/package-lock.json").read_text())["packages"]


def test_everything_that_was_asked_for_is_there_with_what_that_needs():
    names = {canonicalize_name(row.name) for row in about.list_server()}
    asked = (CHECKOUT / "pyproject.toml").read_text().partition("dependencies = [")[2].partition("]\n\n")[0]
    assert {canonicalize_name(Requirement(text).name) for text in re.findall(r'"([^"]+)"', asked)} <= names
    assert {"railcase", "werkzeug", "psycopg-binary", "botocore", "numpy"} <= names
    assert not names & {"pytest", "ruff", "playwright"}


def test_every_package_says_its_licence():
    rows = [*about.list_server(), *about.list_browser()]
    assert [row.name for row in rows if row.licence == about.UNSAID or len(row.licence) > 80] == []


def test_what_phones_are_sent_is_what_was_locked(nobody):
    rows = about.list_browser()
    assert {row.name: row.version for row in rows} == {
        path.removeprefix("node_modules/"): row["version"] for path, row in BROWSER.items() if path
    }
    assert [row.name for row in rows if nobody.get(row.text).status_code != 200] == []


def test_the_page_shows_them(nobody):
    page = nobody.get("/about")
    assert page.status_code == 200
    assert all(row.name in page.text for row in [*about.list_server(), *about.list_browser()])


def test_versions_of_the_server_are_for_its_own_people(nobody, office):
    row = f"SQLAlchemy</th><td>{version('sqlalchemy')}</td>"
    assert row in office.get("/about").text
    assert row not in nobody.get("/about").text
    assert version("sqlalchemy") not in nobody.get("/about").text
