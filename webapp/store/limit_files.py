"""Limits as files: CSV for spreadsheets, JSON for programs. A file is taken whole or not at all; every problem is named by
row and column."""

import csv
import io
import json
from typing import Any

from webapp.store.limits import BOUNDS, LimitVersion, list_flaws, quantities, read_whole
from webapp.store.refusals import Refusal

FORMAT = "railcase-limits/1"
NUMBERS = ("low", "high", "ratio_high", "rate_high", "spread_high", "accuracy")
SOURCE = ("source", "edition", "clause")
TEXTS = ("basis", *SOURCE, "note", "checked_on", "checked_by")
COLUMNS = ("quantity", "name", "unit", "low", "high", "good", *NUMBERS[2:], *TEXTS)
NEEDED = ("quantity", "unit")
FORMULA = ("=", "+", "-", "@", "\t", "\r")  # what a spreadsheet would run; a quote in front makes it text
LARGEST_BYTES = 500_000
MOST_SHOWN = 20
SAME = (*BOUNDS, "basis", "source", "note", "accuracy")


class BadFile(Refusal):
    """`problems` has one a cell."""

    def __init__(self, problems: list[tuple[str, str]]):
        super().__init__("not_accepted", *problems[0])
        shown = problems[:MOST_SHOWN]
        self.problems = [{"code": "not_accepted", "field": field, "text": f"{field}: {text}"} for field, text in shown]
        if len(problems) > MOST_SHOWN:
            more = f"and {len(problems) - MOST_SHOWN} more problems; mend these first"
            self.problems.append({"code": "not_accepted", "field": "", "text": more})


def guard_text(text: str | None) -> str:
    return "'" + text if text and text.startswith(FORMULA) else text or ""


def bare_text(text: str) -> str:
    return text[1:] if text.startswith("'") and text[1:].startswith(FORMULA) else text


def write_csv(row: LimitVersion) -> str:
    names, out = quantities(), io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    whole = read_whole(row)
    for limit in (whole[name] for name in names if name in whole):
        source = limit["source"] or {"title": None, "edition": None, "clause": None}
        cells = {
            **limit,
            "name": names[limit["quantity"]]["name"],
            "good": " ".join(limit["good"]),
            "source": source["title"],
        }
        cells |= {"edition": source["edition"], "clause": source["clause"]}
        writer.writerow([cells[key] if key in NUMBERS else guard_text(cells[key]) for key in COLUMNS])
    return out.getvalue()


def write_json(row: LimitVersion) -> str:
    whole = read_whole(row)
    limits = [whole[name] for name in quantities() if name in whole]
    named = {"profile": row.profile, "name": row.name, "version": row.version, "published": row.at, "note": row.note}
    return json.dumps({"format": FORMAT, **named, "limits": limits}, indent=1, ensure_ascii=False)


def read_number(text: str, comma: bool) -> float | str | None:
    """A number, None for an empty cell, or the text of a problem."""
    plain = text.strip().replace(",", ".") if comma else text.strip()
    if not plain:
        return None
    try:
        return float(plain)
    except ValueError:
        hint = "" if comma else "; in a file separated by commas a decimal number has a point"
        return f"{text.strip()[:40]!r} is no number{hint}"


def find_separator(head: str) -> str:
    return max(",;\t", key=head.count)


def read_table(text: str) -> tuple[list[tuple[int, dict[str, str]]], bool]:
    """Rows by their number in the file, and whether numbers may have a decimal comma. *Refuses* a head that is not ours."""
    separator = find_separator(text.partition("\n")[0])
    lines = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator))
    head = [cell.strip().lower() for cell in lines[0]] if lines else []
    problems = [(f"row 1, column {name[:40] or '(empty)'}", "this column is not known; take the head of an export")
                for name in head if name not in COLUMNS]  # fmt: skip
    problems += [(f"row 1, column {name}", "this column is missing") for name in NEEDED if name not in head]
    problems += [(f"row 1, column {name}", "this column is there twice") for name in COLUMNS if head.count(name) > 1]
    filled = [(number, cells) for number, cells in enumerate(lines[1:], start=2) if any(cell.strip() for cell in cells)]
    problems += [(f"row {number}, column {len(head) + 1}", "there are more cells than columns; put text with the separator "
                  "in quotes") for number, cells in filled if len(cells) > len(head)]  # fmt: skip
    if problems:
        raise BadFile(problems)
    return [(number, dict(zip(head, cells, strict=False))) for number, cells in filled], separator != ","


def read_cells(cells: dict[str, str], limit: dict, comma: bool) -> tuple[dict, list[tuple[str, str]]]:
    """One limit with what a row of the file says of it; a column that the file lacks leaves its value alone."""
    found, problems = dict(limit), []
    for name in (name for name in NUMBERS if name in cells):
        value = read_number(cells[name], comma)
        if isinstance(value, str):
            problems.append((name, value))
        found[name] = value
    texts = {name: bare_text(cells[name].strip()) or None for name in (*TEXTS, "unit") if name in cells}
    source = dict(zip(("title", "edition", "clause"), (texts.pop(name, None) for name in SOURCE), strict=True))
    if "source" in cells:
        found["source"] = source if any(source.values()) else None
    if "good" in cells:
        found["good"] = cells["good"].split()
    return found | texts, problems


def read_csv(text: str, limits: dict[str, dict]) -> dict[str, dict]:
    """The limits that differ from those in use. *Refuses* with BadFile."""
    rows, comma = read_table(text)
    seen: dict[str, int] = {}
    changes, problems = {}, []
    for number, cells in rows:
        name = cells["quantity"].strip()
        if name not in limits or name in seen:
            why = f"stands in row {seen[name]} already; keep one" if name in seen else "is not a quantity known here"
            problems.append((f"row {number}, column quantity", f"{name[:40]!r} {why}"))
            continue
        seen[name] = number
        row, wrong = read_cells(cells, limits[name], comma)
        wrong = wrong or [(name_in_file(field), text) for field, text in list_flaws(row)]
        problems += [(f"row {number}, column {field}", text) for field, text in wrong]
        if not wrong and not is_same(row, limits[name]):
            changes[name] = row
    if problems or not rows:
        raise BadFile(problems or [("row 2", "the file holds no limit; take an export as a start")])
    return changes


def name_in_file(field: str) -> str:
    """The column of a field of a limit."""
    return {"source.title": "source", "source.edition": "edition", "source.clause": "clause"}.get(field, field.split("[")[0])


def is_same(row: dict, limit: dict) -> bool:
    return all(row[key] == limit[key] for key in SAME)


def read_json(text: str, limits: dict[str, dict]) -> dict[str, dict]:
    """As read_csv."""
    try:
        given: Any = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise BadFile([("file", f"is not readable as JSON ({error}); take an export as a start")]) from None
    rows = given.get("limits") if isinstance(given, dict) and given.get("format") == FORMAT else None
    if not isinstance(rows, list) or not rows:
        raise BadFile([("format", f"a file of limits is an object with format {FORMAT} and a list of limits")])
    changes, problems = {}, []
    for place, row in enumerate(rows):
        wrong = list_flaws(row) if isinstance(row, dict) else [("", "is not an object")]
        if not wrong and row["quantity"] in [other.get("quantity") for other in rows[:place]]:
            wrong = [("quantity", "is there twice; keep one")]
        problems += [(f"limits[{place}].{field}".rstrip("."), text) for field, text in wrong]
        if not wrong and not is_same(row, limits[row["quantity"]]):
            changes[row["quantity"]] = row
    if problems:
        raise BadFile(problems)
    return changes


def read_file(data: bytes, limits: dict[str, dict]) -> dict[str, dict]:
    """Changes from a file of either kind, told apart by how it begins."""
    if len(data) > LARGEST_BYTES:
        raise BadFile([("file", f"is larger than {LARGEST_BYTES // 1000} kB; send a file of limits")])
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadFile([("file", "is not UTF-8 text; save it as CSV UTF-8")]) from None
    if "\0" in text:
        raise BadFile([("file", "holds a NUL character; save it as CSV UTF-8")])
    return read_json(text, limits) if text.lstrip().startswith("{") else read_csv(text, limits)
