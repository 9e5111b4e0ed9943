"""The head of a recorded trace: separator, decimal mark, header, units, and which column plays which part.

The rules are written out under `rules` in library/trace_columns.json; the phone's reader follows the same.
"""

import csv
import re
from typing import NamedTuple

from webapp.engine.problems import EngineError, refuse, show
from webapp.library.loader import load_catalogue

NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
CLOCK = re.compile(r"(?:\d{1,4}[-./]\d{1,2}[-./]\d{1,4}[ T]+)?(\d{1,2}):(\d{2}):(\d{2}(?:\.\d*)?)\s*(?:Z|[+-]\d{2}:?\d{2})?")
BRACKETS = re.compile(r"[(\[]([^()\[\]]*)[)\]]")
SHOWN_COLUMNS = 12


class Column(NamedTuple):
    place: int
    header: str  # as written
    name: str  # without its unit
    unit: str | None  # as written, None where unknown
    dimension: str | None
    factor: float


class Dialect(NamedTuple):
    separator: str
    decimal: str
    first_line: int  # of the data, counted from 0
    columns: list[Column]


def rules() -> dict:
    return load_catalogue()["trace_columns"]


def split_line(line: str, separator: str) -> list[str]:
    """Return the fields of a line, quotes and white space taken off."""
    if '"' in line:
        return [field.strip() for field in next(csv.reader([line], delimiter=separator), [])]
    return [field.strip() for field in line.split(separator)]


def read_number(field: str, decimal: str) -> float | None:
    """Return a plain number, None for anything else."""
    text = field.replace(",", ".") if decimal == "," else field
    return float(text) if NUMBER.fullmatch(text) else None


def read_clock(field: str) -> float | None:
    """Return the seconds of the day of a clock time, its date and zone left aside; None for anything else."""
    found = CLOCK.fullmatch(field.replace(",", "."))
    return int(found[1]) * 3600.0 + int(found[2]) * 60.0 + float(found[3]) if found else None


def is_data(line: str, separator: str, decimal: str) -> bool:
    """True for a line of numbers: see the rule 'Head'."""
    fields = split_line(line, separator)
    if len(fields) < 2 or sum(1 for field in fields if field) < 2:
        return False
    numbers = [read_number(field, decimal) is not None for field in fields]
    missing = rules()["missing"]
    others = (
        not f or f.lower() in missing or read_clock(f) is not None for f, n in zip(fields, numbers, strict=True) if not n
    )
    return any(numbers) and all(others)


def find_marks(lines: list[str]) -> tuple[str, str, list[bool]]:
    """Return separator, decimal mark and which lines are data."""
    best: tuple[str, str, list[bool]] = ("", "", [])
    for separator, decimal in rules()["marks"]:
        found = [is_data(line, separator, decimal) for line in lines]
        if sum(found) > sum(best[2]):
            best = separator, decimal, found
    if not sum(best[2]):
        raise refuse("no_data", "file", "no row of numbers in it; give a table of time and pressure, saved as CSV")
    return best


def first_data(found: list[bool]) -> int:
    """Return the first of the data lines that begins two in a row, or the only one."""
    for i in range(len(found) - 1):
        if found[i] and found[i + 1]:
            return i
    return found.index(True)


def find_unit(text: str) -> str | None:
    """Return the key of the table of units for a unit as written, None when it is not known."""
    known = rules()["units"]
    plain = text.strip().replace("\u00b5", "u").replace("\u03bc", "u")
    return next((unit for unit in (text.strip(), plain, plain.lower()) if unit in known), None)


def is_units_row(fields: list[str]) -> bool:
    bare = [field.strip("()[] ") for field in fields]
    return any(bare) and all(not field or field == "-" or find_unit(field) for field in bare)


def find_header(lines: list[str], first: int, separator: str) -> tuple[list[str], list[str]]:
    """Return the fields of the header and of the units row, each [] where there is none."""
    above: list[list[str]] = []
    for line in reversed(lines[:first]):
        if not line.strip():
            continue
        fields = split_line(line.lstrip().lstrip("#%"), separator)
        if len(fields) < 2 or len(above) == 2:
            break
        above.append(fields)
    if len(above) == 2 and is_units_row(above[0]):
        return above[1], above[0]
    return (above[0], []) if above else ([], [])


def split_header(header: str) -> tuple[str, str | None]:
    """Return (name, key of the unit or None) of one header field: see the rule 'Header field'."""
    brackets = list(BRACKETS.finditer(header))
    if brackets and find_unit(brackets[-1][1]):
        return header[: brackets[-1].start()] + header[brackets[-1].end() :], find_unit(brackets[-1][1])
    words = re.split(r"[ _]", header)
    if len(words) > 1 and words[-1] not in rules()["not_bare"] and find_unit(words[-1]):
        return header[: -len(words[-1]) - 1], find_unit(words[-1])
    name, mark, unit = header.rpartition("/")
    return (name, find_unit(unit)) if mark and find_unit(unit) else (header, None)


def make_column(place: int, header: str, unit_below: str) -> Column:
    name, unit = split_header(header)
    unit = find_unit(unit_below.strip("()[] ")) or unit
    dimension, factor = rules()["units"][unit] if unit else (None, 1.0)
    return Column(place, header or f"column {place + 1}", name, unit, dimension, factor)


def read_dialect(lines: list[str]) -> Dialect:
    """Return the dialect of a file from its first lines. Refuses: no_data."""
    separator, decimal, found = find_marks(lines)
    first = first_data(found)
    header, units = find_header(lines, first, separator)
    count = max(len(split_line(lines[first], separator)), len(header))
    padded, below = header + [""] * (count - len(header)), units + [""] * (count - len(units))
    return Dialect(separator, decimal, first, [make_column(i, padded[i], below[i]) for i in range(count)])


def plain_words(text: str) -> str:
    """Return a text in lower case, everything but letters and digits one blank, blanks at both ends."""
    return " " + re.sub(r"[\W_]+", " ", text.lower()).strip() + " "


def rank_column(column: Column, role: dict) -> int | None:
    """Return how well a column fits a role, less is better; None when it does not."""
    words = plain_words(column.name)
    if column.dimension not in (None, role["dimension"]) or any(f" {word} " in words for word in role["never"]):
        return None
    for rank, word in enumerate(role["words"]):
        if f" {word} " in words:
            return rank
    return len(role["words"]) if column.dimension and role["by_unit_alone"] else None


def list_columns(columns: list[Column]) -> str:
    shown = ", ".join(f"{c.place + 1} {show(c.header)}" for c in columns[:SHOWN_COLUMNS])
    return shown + (f" and {len(columns) - SHOWN_COLUMNS} more" if len(columns) > SHOWN_COLUMNS else "")


def find_column(columns: list[Column], role_id: str) -> Column | None:
    """Return the column of a role, None when none fits. Refuses: ambiguous, naming both."""
    ranked = [(rank, c) for c in columns if (rank := rank_column(c, rules()["roles"][role_id])) is not None]
    if not ranked:
        return None
    best = min(rank for rank, _ in ranked)
    equal = [c for rank, c in ranked if rank == best]
    if len(equal) > 1 and role_id in ("pressure", "sensor"):
        text = (
            f"{show(equal[0].header)} and {show(equal[1].header)} could both be the pressure; choose one by name or number"
        )
        raise refuse("ambiguous", "--pressure", text)
    return equal[0]


def choose_column(columns: list[Column], wanted: str, field: str) -> Column:
    """Return the column named by hand, by its header, its name or its number. Refuses: unknown_column, ambiguous."""
    same = [c for c in columns if wanted.strip() == c.header] or [
        c for c in columns if plain_words(wanted) in (plain_words(c.header), plain_words(c.name))
    ]
    if not same and wanted.isdigit() and 1 <= int(wanted) <= len(columns):
        same = [columns[int(wanted) - 1]]
    if not same:
        raise refuse("unknown_column", field, f"there is no column {show(wanted)}; the file has {list_columns(columns)}")
    if len(same) > 1:
        places = " and ".join(str(c.place + 1) for c in same)
        raise refuse("ambiguous", field, f"columns {places} are both called {show(wanted)}; give the number")
    return same[0]


def set_unit(column: Column, unit: str | None, field: str, dimension: str) -> Column:
    """Return the column with a unit given by hand. Refuses: unknown_unit, wrong_unit."""
    if unit is None:
        return column
    key = find_unit(unit)
    if key is None or rules()["units"][key][0] != dimension:
        same = ", ".join(sorted(u for u, (d, _) in rules()["units"].items() if d == dimension))
        raise refuse("unknown_unit", field, f"{show(unit)} is not a unit of {dimension}; use one of {same}")
    return column._replace(unit=key, dimension=dimension, factor=rules()["units"][key][1])


def require(column: Column | None, columns: list[Column], field: str, what: str) -> Column:
    if column is None:
        raise refuse("missing", field, f"no column is known as {what}; choose one of {list_columns(columns)}")
    return column


def check_pressure_unit(column: Column, dimension: str) -> None:
    """Refuse a pressure whose unit is not said, or is of another kind."""
    if column.dimension is None:
        unit_of = "volts" if dimension == "voltage" else "pressure"
        text = f"the column {show(column.header)} does not say its unit; give it (--pressure-unit), one of {unit_of}"
        raise refuse("missing", "--pressure-unit", text)
    if column.dimension != dimension:
        hint = "; for a sensor's volts give its two points (--sensor)" if column.dimension == "voltage" else ""
        raise refuse("wrong_unit", "--pressure", f"the column {show(column.header)} is a {column.dimension}{hint}")


class Choice(NamedTuple):
    """The columns that are used."""

    time: Column
    pressure: Column
    battery: Column | None
    current: Column | None


def optional_column(columns: list[Column], role_id: str, taken: tuple[Column, Column]) -> Column | None:
    """Return a column that helps but need not be there; one that is unclear is left."""
    try:
        found = find_column(columns, role_id)
    except EngineError:
        return None
    return None if found is None or found in taken else found


def choose_columns(columns: list[Column], options: dict) -> Choice:
    """Return the columns to read. Options: time, pressure, time_unit, pressure_unit, sensor."""
    dimension = "voltage" if options.get("sensor") else "pressure"
    role = "sensor" if options.get("sensor") else "pressure"
    if options.get("time"):
        time = choose_column(columns, options["time"], "--time")
    else:
        time = require(find_column(columns, "time"), columns, "--time", "time")
    time = set_unit(time, options.get("time_unit"), "--time-unit", "time")
    if time.dimension not in (None, "time"):
        raise refuse("wrong_unit", "--time", f"the column {show(time.header)} is a {time.dimension}, not a time")
    if options.get("pressure"):
        pressure = choose_column(columns, options["pressure"], "--pressure")
    else:
        others = [c for c in columns if c.place != time.place]
        pressure = require(find_column(others, role), columns, "--pressure", "the rail pressure")
    pressure = set_unit(pressure, options.get("pressure_unit"), "--pressure-unit", dimension)
    check_pressure_unit(pressure, dimension)
    if time.place == pressure.place:
        raise refuse("wrong_unit", "--pressure", f"the column {show(time.header)} cannot be both time and pressure")
    taken = (time, pressure)
    rest = [c for c in columns if c.place not in (time.place, pressure.place)]
    return Choice(time, pressure, optional_column(rest, "battery", taken), optional_column(rest, "current", taken))
