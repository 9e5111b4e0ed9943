"""Reads the library's files, checks each against its schema and all against each other, and opens the engine's door.

Rules for this file: the files are the truth and are handed on as they are; nothing is added, mended or guessed. What is
wrong is named by file and field in one LibraryError, so that an editor of the data can mend all of it at once.
"""

import json
from functools import cache
from pathlib import Path
from typing import Any

from webapp.engine.calls import Door

from . import schemas
from .references import find_flaws

FORMAT = "railcase-catalogue/1"
FOLDER = Path(__file__).resolve().parent
SHOWN_AT_ONCE = 20

# key of the catalogue: (file, schema of a row)
LISTS = {
    "quantities": ("quantities.json", schemas.QuantityRow),
    "faults": ("faults.json", schemas.FaultRow),
    "components": ("components.json", schemas.ComponentRow),
    "gate": ("gate.json", schemas.GateRow),
    "codes": ("codes.json", schemas.CodeRow),
    "cautions": ("cautions.json", schemas.CautionRow),
    "instruments": ("instruments.json", schemas.InstrumentRow),
}
# key of the catalogue: (folder with one file a row, schema of a file)
FOLDERS = {"checks": ("checks", schemas.CheckFile), "profiles": ("limits", schemas.ProfileFile)}


class LibraryError(Exception):
    """A file of the library is missing or wrong; `lines` has one 'file: field: what is wrong' a problem."""

    def __init__(self, lines: list[str]) -> None:
        self.lines = lines
        more = len(lines) - SHOWN_AT_ONCE
        super().__init__("\n".join(lines[:SHOWN_AT_ONCE] + ([f"and {more} more"] if more > 0 else [])))


def refuse_twice(pairs: list[tuple[str, Any]]) -> dict:
    """Refuse an object that has one key twice: JSON readers drop the first in silence."""
    keys = [key for key, _ in pairs]
    for key in keys:
        if keys.count(key) > 1:
            raise ValueError(f"the key '{key}' is there twice in one object; keep one")
    return dict(pairs)


def refuse_constant(name: str) -> None:
    raise ValueError(f"{name} is not a number of JSON; write null or a number")


def read_json(folder: Path, name: str) -> Any:
    """Return the content of one file, or a LibraryError that names it."""
    try:
        text = (folder / name).read_text(encoding="utf-8")
        return json.loads(text, object_pairs_hook=refuse_twice, parse_constant=refuse_constant)
    except json.JSONDecodeError as error:
        raise LibraryError([f"{name}: line {error.lineno}, column {error.colno}: not JSON: {error.msg}"]) from error
    except UnicodeDecodeError as error:
        raise LibraryError([f"{name}: not UTF-8 text; save it as UTF-8"]) from error
    except ValueError as error:
        raise LibraryError([f"{name}: {error}"]) from error
    except OSError as error:
        raise LibraryError([f"{name}: cannot be read ({error.strerror}); is the installation complete?"]) from error


def read_checked(folder: Path, name: str, schema: type, many: bool, lines: list[str]) -> Any:
    """Return the content of one file; problems of its shape are added to `lines`."""
    data = read_json(folder, name)
    problems = schemas.find_problems(schema, data, many)
    lines += [f"{name}: {field}: {text}" if field else f"{name}: {text}" for field, text in problems]
    return data


def read_folder(folder: Path, name: str, schema: type, lines: list[str]) -> list[dict]:
    """Return the rows of a folder with one file a row; the file is named after the row's id."""
    rows = []
    for path in sorted((folder / name).glob("*.json")):
        row = read_checked(folder, f"{name}/{path.name}", schema, False, lines)
        if isinstance(row, dict) and row.get("id") != path.stem:
            lines.append(f"{name}/{path.name}: id: '{row.get('id')}' must be the file's name, '{path.stem}'")
        rows.append(row)
    if not rows:
        lines.append(f"{name}: no file in this folder; is the installation complete?")
    return rows


def read_catalogue(folder: Path = FOLDER) -> dict:
    """Read and check a library folder.

    Returns: the catalogue, one plain dict; checks in their order.
    Refuses: LibraryError, naming file and field of every problem found.
    """
    lines: list[str] = []
    catalogue: dict = {"format": FORMAT}
    for key, (name, schema) in LISTS.items():
        catalogue[key] = read_checked(folder, name, schema, True, lines)
    for key, (name, schema) in FOLDERS.items():
        catalogue[key] = read_folder(folder, name, schema, lines)
    catalogue["injury"] = read_checked(folder, "injury.json", schemas.InjuryFile, False, lines)
    catalogue["signatures"] = read_checked(folder, "signatures.json", schemas.SignatureFile, False, lines)
    columns = "trace_columns.json"
    catalogue["trace_columns"] = read_checked(folder, columns, schemas.TraceColumnsFile, False, lines)
    vehicle = read_checked(folder, "vehicle.json", schemas.VehicleFile, False, lines)
    if lines:
        raise LibraryError(lines)
    catalogue |= vehicle
    catalogue["checks"].sort(key=lambda check: (check["order"], check["id"]))
    flaws = find_flaws(catalogue)
    if flaws:
        raise LibraryError([f"{flaw.file}: {flaw.field}: {flaw.text}" for flaw in flaws])
    for words_for_people in ("about", "rules"):
        del catalogue["trace_columns"][words_for_people]
    return catalogue


@cache
def load_catalogue() -> dict:
    """Return the catalogue of this installation, read once; callers read it and never change it."""
    return read_catalogue()


@cache
def catalogue_text() -> str:
    """Return the catalogue as one line of JSON, as the phone fetches it and the door takes it."""
    return json.dumps(load_catalogue(), ensure_ascii=False, separators=(",", ":"))


@cache
def open_door() -> Door:
    """Return the engine's door on this installation's catalogue, opened once."""
    return Door(catalogue_text())
