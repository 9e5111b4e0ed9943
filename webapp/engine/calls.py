"""The one door: text in, text out, the same on server and phone.

Rules for this file: JSON only; never raises on any input, every refusal is an answer; the door holds the opened
catalogue and nothing that changes.
"""

import json

from . import ENGINE_VERSION
from .book import Book, open_book
from .electrics import dummy_load, outside_drive, sensor_pressure
from .entries import check_entry, fold_entries, fold_log
from .film import read_film
from .hearing import hear_cranking
from .judge import judge_case, judge_folded
from .problems import EngineError, Problem, problem_rows, refuse, show
from .quantity import check_reading, read_reading
from .scan import decode_scan
from .timing import combine_attempts, read_rehearsal
from .trace import read_trace
from .units import convert
from .vin import vin_warning


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


def call_timing(given: object, book: Book) -> dict:
    """{"taps", "expected", "own_sd_s", "own_mean_s", "own_goes"} -> combine_attempts."""
    request = object_of(given, "request")
    own = {name: request.get(f"own_{name}") for name in ("sd_s", "mean_s", "goes")}
    return combine_attempts(request.get("taps"), request.get("expected") is not False, own)  # type: ignore[arg-type]


def call_rehearsal(given: object, book: Book) -> dict:
    return read_rehearsal(object_of(given, "request").get("errors_s"))


def call_hear(given: object, book: Book) -> dict:
    """{"levels", "rate_hz", "cylinders"} -> hearing.hear_cranking."""
    request = object_of(given, "request")
    return hear_cranking(request.get("levels"), request.get("rate_hz"), request.get("cylinders"))  # type: ignore[arg-type]


def call_film(given: object, book: Book) -> dict:
    """A rise read from a film; request and answer at `film.read_film`."""
    return read_film(object_of(given, "request"))


def call_trace(given: object, book: Book) -> dict:
    """A rise read from a recorded trace in reduced form; request and answer at `trace.read_trace`."""
    return read_trace(object_of(given, "request"), book.instruments["trace"])


def call_sensor_pressure(given: object, book: Book) -> dict:
    return sensor_pressure(object_of(given, "request"))


def call_dummy_load(given: object, book: Book) -> dict:
    return dummy_load(object_of(given, "request"))


def call_outside_drive(given: object, book: Book) -> dict:
    return outside_drive(object_of(given, "request"))


def call_decode_scan(given: object, book: Book) -> dict:
    """Answers of a control unit as hex text; request and answer at `scan.decode_scan`."""
    return decode_scan(object_of(given, "request"))


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
    "timing": call_timing,
    "rehearsal": call_rehearsal,
    "hear": call_hear,
    "film": call_film,
    "trace": call_trace,
    "decode_scan": call_decode_scan,
    "sensor_pressure": call_sensor_pressure,
    "dummy_load": call_dummy_load,
    "outside_drive": call_outside_drive,
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
            return json.dumps({"ok": CALLS[name](read_json(text), self.book)})
        except EngineError as error:
            return json.dumps({"error": problem_rows(error.problems)})
