"""The one door: text in, text out, the same on server and phone.

Rules for this file: JSON only; never raises on any input, every refusal is an answer; the door holds the opened
catalogue and nothing that changes.
"""

import json

from . import ENGINE_VERSION
from .book import Book, open_book
from .entries import check_entry, fold_entries, fold_log
from .judge import judge_case, judge_folded
from .problems import EngineError, Problem, problem_rows, refuse, show
from .quantity import check_reading, read_reading
from .units import convert
from .vin import vin_warning

PACKAGE = __name__.rsplit(".", 1)[0]  # its name differs between server and phone


def object_of(given: object, field: str) -> dict:
    if not isinstance(given, dict):
        raise refuse("not_an_object", field, f"{show(given)} is not an object")
    return given


def checked_entries(given: object, book: Book) -> list:
    """Return the entries of {"entries": [...]}; refuse the first bad one by its place."""
    entries = object_of(given, "request").get("entries")
    if not isinstance(entries, list) or not entries:
        raise refuse("missing", "entries", "give a list of at least one entry")
    problems = []
    for i in range(len(entries)):
        problems += [Problem(p.code, f"entries[{i}].{p.field}", p.text) for p in check_entry(entries[i], book)]
    if not problems and len({entry["case"] for entry in entries}) > 1:
        problems = [Problem("mixed_cases", "entries", "belong to more than one case; fold one case at a time")]
    if problems:
        raise EngineError(problems)
    return entries


def call_judge(given: object, book: Book) -> dict:
    return judge_case(given, book)


def call_fold(given: object, book: Book) -> dict:
    return fold_entries(checked_entries(given, book), book)


def call_fold_judge(given: object, book: Book) -> dict:
    """Fold and judge a log as it lies; `fold` is the strict one."""
    entries = object_of(given, "request").get("entries")
    if not isinstance(entries, list) or not entries:
        raise refuse("missing", "entries", "give a list of at least one entry")
    case = fold_log(entries, book)
    return {"case": case, "assessment": judge_folded(case, book)}


def call_check_entry(given: object, book: Book) -> dict:
    problems = check_entry(given, book)
    if problems:
        raise EngineError(problems)
    return {}


def call_check_reading(given: object, book: Book) -> dict:
    """{"vehicle": {layout, supply, cylinders} or null, "reading"} -> value, unit, standard_uncertainty, doubt."""
    request = object_of(given, "request")
    vehicle = request.get("vehicle")
    if vehicle is not None:
        names = object_of(vehicle, "vehicle")
        vehicle = {"layout": names.get("layout"), "supply": names.get("supply"), "cylinders": names.get("cylinders")}
    problems = check_reading(request.get("reading"), vehicle, book, "reading")
    if problems:
        raise EngineError(problems)
    reading = read_reading(request["reading"], book)
    unit = book.quantities[reading.quantity]["unit"]
    return {"value": reading.value, "unit": unit, "standard_uncertainty": reading.uncertainty, "doubt": reading.doubt}


def call_convert(given: object, book: Book) -> dict:
    request = object_of(given, "request")
    unit, to_unit = request.get("from"), request.get("to")
    return {"value": convert(request.get("value"), unit, to_unit, "from")}  # type: ignore[arg-type]


def call_check_vin(given: object, book: Book) -> dict:
    vin = object_of(given, "request").get("vin")
    if not isinstance(vin, str):
        raise refuse("not_text", "vin", f"{show(vin)} is not text")
    return {"warning": vin_warning(vin)}


def later(module: str, function: str, instrument: str | None = None, whole: bool = False) -> object:
    """Return a call whose module is read when it is first asked for: a phone opens sooner without it.

    Request and answer stand at the function; it takes the request, and the row of an instrument where one is named, or the
    whole book.
    """

    def call(given: object, book: Book) -> dict:
        found = __import__(f"{PACKAGE}.{module}", None, None, (function,))
        more: list = [book] if whole else [] if instrument is None else [book.instruments[instrument]]
        return getattr(found, function)(object_of(given, "request"), *more)  # type: ignore[no-any-return]

    return call


def call_version(given: object, book: Book) -> dict:
    return {"engine": ENGINE_VERSION}


CALLS = {
    "judge": call_judge,
    "fold": call_fold,
    "fold_judge": call_fold_judge,
    "check_entry": call_check_entry,
    "check_reading": call_check_reading,
    "convert": call_convert,
    "check_vin": call_check_vin,
    "timing": later("timing", "time_by_hand"),
    "rehearsal": later("timing", "rehearse"),
    "hear": later("hearing", "hear"),
    "film": later("film", "read_film"),
    "trace": later("trace", "read_trace", "trace"),
    "decode_scan": later("scan", "decode_scan"),
    "sensor_pressure": later("electrics", "sensor_pressure"),
    "dummy_load": later("electrics", "dummy_load"),
    "outside_drive": later("electrics", "outside_drive"),
    "practice_look": later("practice", "look_at", None, True),
    "practice_curve": later("practice", "crank_curve", None, True),
    "practice_debrief": later("practice", "debrief", None, True),
    "version": call_version,
}


def read_json(text: str) -> object:
    """Return the JSON value of a text. Refuses: not_json, also for nesting deeper than the interpreter can follow."""
    try:
        return json.loads(text)
    except (ValueError, RuntimeError) as error:  # RuntimeError: recursion, on both interpreters
        raise refuse("not_json", "text", f"is not readable as JSON ({error}); send one JSON value")


class Door:
    """The engine with its catalogue opened. Inputs: catalogue as JSON text (from `railcase catalogue`)."""

    def __init__(self, catalogue_json: str) -> None:
        self.book = open_book(json.loads(catalogue_json))

    def call(self, name: str, text: str) -> str:
        """Answer one call: '{"ok": ...}' or '{"error": [{"code", "field", "text"}]}'."""
        try:
            if name not in CALLS:
                raise refuse("unknown_call", "name", f"{show(name)} is not one of {', '.join(sorted(CALLS))}")
            return json.dumps({"ok": CALLS[name](read_json(text), self.book)})  # type: ignore[operator]
        except EngineError as error:
            return json.dumps({"error": problem_rows(error.problems)})
