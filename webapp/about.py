"""What is inside: every package that this server runs on or sends to phones, with version and licence.

Read from what is installed, so the page cannot say something else than what runs.
"""

import json
from functools import cache
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from pathlib import Path
from typing import Any, NamedTuple

from flask import Blueprint, render_template
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from webapp.access import public

HERE = Path(__file__).parent
OWN = "railcase"
OPTIONS = ("postgres", "s3")
LONGEST_NAME = 60  # older packages put the whole text into the field for the name
UNSAID = "see its own files"
blueprint = Blueprint("about", __name__)


class Package(NamedTuple):
    name: str
    version: str
    licence: str
    text: str = ""  # address of the licence's text, where this server has it


@blueprint.get("/about")
@public
def about() -> str:
    return render_template("about.html", server=list_server(), browser=list_browser())


@cache
def list_server() -> list[Package]:
    """The packages that railcase asks for, and theirs, as far as they are installed."""
    found: dict[str, Package] = {}
    waiting = [Requirement(f"{OWN}[{','.join(OPTIONS)}]")]
    seen: set[tuple[str, frozenset]] = set()
    while waiting:
        wanted = waiting.pop()
        name, extras = canonicalize_name(wanted.name), frozenset(wanted.extras)
        try:
            package = distribution(wanted.name)
        except PackageNotFoundError:
            continue
        if (name, extras) not in seen:
            seen.add((name, extras))
            found[name] = Package(package.metadata["Name"], package.version, read_licence(package))
            waiting += list_wanted(package, extras)
    return sorted(found.values(), key=lambda row: (canonicalize_name(row.name) != OWN, row.name.lower()))


def list_wanted(package: Distribution, extras: frozenset) -> list[Requirement]:
    """What a package needs on this machine, with these of its extras."""
    wanted = [Requirement(text) for text in package.requires or ()]
    return [row for row in wanted if not row.marker or any(row.marker.evaluate({"extra": e}) for e in ("", *extras))]


def read_licence(package: Distribution) -> str:
    """The licence's short name: as SPDX expression, as written by its author, or as classified."""
    said = package.metadata
    names = said.get_all("License-Expression", []) + said.get_all("License", [])
    name = names[0] if names else ""
    if name and len(name) <= LONGEST_NAME and "\n" not in name:
        return name
    classes = [row.rpartition(" :: ")[2] for row in said.get_all("Classifier", []) if row.startswith("License :: ")]
    return ", ".join(classes) or UNSAID


@cache
def list_browser() -> list[Package]:
    """The packages whose files phones are sent, from the lock file by which they were fetched."""
    inside, beside = HERE / "browser-packages.json", HERE.parent / "deploy/browser/package-lock.json"
    lock: dict[str, Any] = json.loads((inside if inside.is_file() else beside).read_text("utf-8"))
    static = HERE / "static" if inside.is_file() else HERE.parent / "static"
    texts = sorted((static / "vendor/licenses").glob("*"))
    found = []
    for path, row in lock["packages"].items():
        name = path.removeprefix("node_modules/")
        mine = [text.name for text in texts if name.rpartition("/")[2].startswith(text.stem.partition("-")[0])]
        if name:
            text = f"/static/vendor/licenses/{mine[0]}" if mine else ""
            found.append(Package(name, row["version"], row.get("license", UNSAID), text))
    return found
