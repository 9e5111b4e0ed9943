"""The case document: checked as it comes in, every problem named, and cleaned for judging.

Rules for this file: unknown keys are refused by name (a misspelt key that is ignored is a guess); nothing is filled in
silently.
Method: vehicle first, since readings are checked against it; then limits, readings, the rest. The strict way refuses
the whole case; the way for folded logs sets a bad reading aside with a note, since an entry can never be taken back and
one of them must not make a case unjudgeable.
Source: the case contract, 'Case document'.
"""

from collections import namedtuple

from .book import Book
from .limits import RULES
from .numeric import is_number
from .problems import EngineError, Problem, show
from .quantity import MOST_CYLINDERS, PHASES, check_reading, phase_of, read_reading

# readings: list of Reading in order; not_measured: {phase: [quantity ids]}; chosen: what choose_limits returns;
# concluded, gate_override: what folding stamped, or None; repaired: True once a repair stands in the log;
# earlier_retests: ids of readings taken after a repair that another repair followed
Case = namedtuple(
    "Case", (
        "id", "vehicle", "complaints", "codes", "chosen", "lacking", "fuel_temperature_c", "readings", "not_measured",
        "state", "steps", "notes", "concluded", "gate_override", "repaired", "earlier_retests",
    )
)  # fmt: skip

FORMAT = "railcase-case/1"
OWN_KEYS = (
    "format", "id", "vehicle", "complaints", "codes", "limits", "readings", "not_measured", "lacking", "fuel_temperature_c",
)  # fmt: skip
COLDEST_FUEL_C, HOTTEST_FUEL_C = -40.0, 150.0
# keys that folding adds; judging looks at a few (the end of Case) and passes the others over
FOLD_KEYS = (
    "state", "opened_at", "opened_by", "updated_at", "entries", "steps", "notes", "photos", "rises", "cautions", "voided",
    "signed", "concluded", "repairs", "outcome", "gate_override", "earlier_retests", "conflicts", "set_aside",
    "job", "job_seen", "comments", "open_questions", "review", "merged_into", "joined", "reopenings",
)  # fmt: skip
FOLD_TYPES = (
    ("steps", dict, "an object"), ("state", str, "text"), ("concluded", dict, "an object"),
    ("gate_override", dict, "an object"), ("earlier_retests", list, "a list"),
)  # fmt: skip
VEHICLE_TEXTS = ("description", "registration", "vin")
VEHICLE_KEYS = VEHICLE_TEXTS + ("layout", "supply", "cylinders", "assumed")
OVERRIDE_NUMBERS = ("low", "high", "ratio_high", "rate_high", "spread_high")
MOST_READINGS = 5000
DEFAULT_PROFILE = "generic"


def unknown_keys(found: dict, known: tuple, at: str) -> list:
    prefix = at + "." if at else ""
    return [
        Problem("unknown_field", prefix + (key or "(empty name)"), f"is not known here; known are {', '.join(known)}")
        for key in sorted([str(k) for k in found])
        if key not in known
    ]


def check_one_of(value: object, known: list, field: str) -> list:
    if isinstance(value, str) and value in known:
        return []
    return [Problem("unknown_value", field, f"{show(value)} is not one of {', '.join(known)}")]


def is_whole(value: object) -> bool:
    """True for a number without a fraction (4.0 counts: JSON of other programs may write it so)."""
    return is_number(value) and int(value) == value  # type: ignore[call-overload, no-any-return]


def check_vehicle(vehicle: object, book: Book) -> list:
    """Return problems of the vehicle part; layout, supply and cylinders are compulsory."""
    if not isinstance(vehicle, dict):
        return [Problem("missing", "vehicle", "give the vehicle with layout, supply and cylinders")]
    problems = unknown_keys(vehicle, VEHICLE_KEYS, "vehicle")
    for key in VEHICLE_TEXTS:
        if vehicle.get(key) is not None and not isinstance(vehicle[key], str):
            problems.append(Problem("not_text", f"vehicle.{key}", f"{show(vehicle[key])} is not text"))
    problems += check_one_of(vehicle.get("layout"), book.layouts, "vehicle.layout")
    problems += check_one_of(vehicle.get("supply"), book.supplies, "vehicle.supply")
    cylinders = vehicle.get("cylinders")
    if not is_whole(cylinders) or not 1 <= cylinders <= MOST_CYLINDERS:  # type: ignore[operator]
        text = f"{show(cylinders)} is not a number of cylinders; give 1 to {MOST_CYLINDERS}"
        problems.append(Problem("impossible_value", "vehicle.cylinders", text))
    return problems


def check_names(values: object, known: list, field: str) -> list:
    """Return problems of a list of ids."""
    if values is None:
        return []
    if not isinstance(values, list):
        return [Problem("not_a_list", field, f"{show(values)} is not a list")]
    problems = []
    for i in range(len(values)):
        problems += check_one_of(values[i], known, f"{field}[{i}]")
    return problems


def is_code(value: object) -> bool:
    """True for text shaped like a stored trouble code: one letter and four hexadecimal digits (SAE J2012)."""
    return (
        isinstance(value, str)
        and len(value) == 5
        and value[0] in "PCBU"
        and len([c for c in value[1:] if c in "0123456789ABCDEF"]) == 4
    )


def check_codes(codes: object, field: str = "codes") -> list:
    """Return problems of stored codes; a well-shaped code that the catalogue does not know is no problem."""
    if codes is None:
        return []
    if not isinstance(codes, list):
        return [Problem("not_a_list", field, f'{show(codes)} is not a list of codes such as ["P0087"]')]
    return [
        Problem("bad_code", f"{field}[{i}]", f"{show(codes[i])} is not a code; write it like P0087")
        for i in range(len(codes))
        if not is_code(codes[i])
    ]


def check_override(name: object, override: object, book: Book, field: str) -> list:
    """Return problems of one limit changed for this case; a change needs its reason."""
    at = f"{field}.{name}"
    if name not in book.quantities:
        return [Problem("unknown_quantity", at, "is not a quantity known here; 'railcase catalogue' lists them")]
    if not isinstance(override, dict):
        return [Problem("not_an_object", at, f"{show(override)} is not an override; give low, high and a reason")]
    problems = unknown_keys(override, OVERRIDE_NUMBERS + ("reason",), at)
    for key in OVERRIDE_NUMBERS:
        if override.get(key) is not None and not is_number(override[key]):
            problems.append(Problem("not_a_number", f"{at}.{key}", f"{show(override[key])} is not a number"))
    if not isinstance(override.get("reason"), str) or not override["reason"].strip():
        problems.append(Problem("missing", f"{at}.reason", "an override needs a reason, such as the maker's data sheet"))
    low, high = override.get("low"), override.get("high")
    if not problems and low is not None and high is not None and low > high:
        problems.append(Problem("impossible_value", f"{at}.low", f"{low:g} is above high {high:g}; swap them"))
    return problems


def check_limits(limits: object, book: Book, field: str = "limits") -> list:
    """Return problems of the limits part: profile, overrides with reasons, rule, weights of the faults."""
    if limits is None:
        return []
    if not isinstance(limits, dict):
        return [Problem("not_an_object", field, f"{show(limits)} is not a choice of limits")]
    problems = unknown_keys(limits, ("profile", "overrides", "rule", "weights"), field)
    if limits.get("profile") is not None:
        problems += check_one_of(limits["profile"], sorted(book.profiles), f"{field}.profile")
    if limits.get("rule") is not None:
        problems += check_one_of(limits["rule"], list(RULES), f"{field}.rule")
    if limits.get("weights"):
        problems += check_one_of(limits["weights"], sorted(book.weights), f"{field}.weights")
    overrides = limits.get("overrides")
    if overrides is not None and not isinstance(overrides, dict):
        return problems + [Problem("not_an_object", f"{field}.overrides", f"{show(overrides)} is not an object")]
    for name in sorted(overrides or {}, key=str):
        problems += check_override(name, overrides[name], book, f"{field}.overrides")  # type: ignore[index]
    return problems


def check_missed(rows: object, book: Book, at: str = "not_measured") -> list:
    """Return problems of the list of what could not be measured."""
    if rows is None:
        return []
    if not isinstance(rows, list):
        return [Problem("not_a_list", at, f"{show(rows)} is not a list")]
    problems = []
    for i in range(len(rows)):
        problems += check_missed_row(rows[i], book, f"{at}[{i}]")
    return problems


def check_missed_row(row: object, book: Book, at: str) -> list:
    if not isinstance(row, dict):
        return [Problem("not_an_object", at, f"{show(row)} is not an object with quantity and reason")]
    problems = unknown_keys(row, ("quantity", "reason", "phase", "at", "by"), at)
    if not isinstance(row.get("quantity"), str) or row["quantity"] not in book.quantities:
        text = f"{show(row.get('quantity'))} is not a quantity known here"
        problems.append(Problem("unknown_quantity", f"{at}.quantity", text))
    if not isinstance(row.get("reason"), str):
        problems.append(Problem("missing", f"{at}.reason", "say why it could not be measured"))
    if row.get("phase") is not None:
        problems += check_one_of(row["phase"], list(PHASES), f"{at}.phase")
    return problems


def check_fuel_temperature(value: object, field: str) -> list:
    """Return problems of a fuel temperature in degC."""
    if is_number(value) and COLDEST_FUEL_C <= value <= HOTTEST_FUEL_C:  # type: ignore[operator]
        return []
    text = f"{show(value)} degC cannot be; give {COLDEST_FUEL_C:g} to {HOTTEST_FUEL_C:g} degC"
    return [Problem("impossible_value", field, text)]


def choose_limits(limits: dict | None, book: Book) -> dict:
    """Return what a case is judged under: its own choice, the profile's defaults where it says nothing."""
    limits = limits or {}
    profile = book.profiles[limits.get("profile") or DEFAULT_PROFILE]
    overrides = limits.get("overrides") or {}
    return {
        "profile": profile["id"],
        "version": profile["version"],
        "overrides": {name: {k: v for k, v in overrides[name].items() if v is not None} for name in overrides},
        "rule": limits.get("rule") or profile["rule"],
        "confidence": profile["confidence"],
        "pump_probability": profile["pump_probability"],
        "intrusion_minutes": profile["intrusion_minutes"],
        "weights": limits.get("weights") or None,
    }


def check_frame(case: object, book: Book) -> list:
    """Return problems of everything but the readings."""
    if not isinstance(case, dict):
        return [Problem("not_an_object", "case", f"{show(case)} is not a case document; give a JSON object")]
    problems = unknown_keys(case, OWN_KEYS + FOLD_KEYS, "")
    if case.get("format") != FORMAT:
        text = f"{show(case.get('format'))} is not known here; this engine reads {FORMAT}"
        problems.append(Problem("unknown_format", "format", text))
    if case.get("id") is not None and not isinstance(case["id"], str):
        problems.append(Problem("not_text", "id", f"{show(case['id'])} is not text"))
    problems += check_vehicle(case.get("vehicle"), book)
    problems += check_names(case.get("complaints"), book.complaints, "complaints")
    problems += check_codes(case.get("codes"))
    problems += check_limits(case.get("limits"), book)
    problems += check_missed(case.get("not_measured"), book)
    problems += check_names(case.get("lacking"), book.equipment, "lacking")
    if case.get("fuel_temperature_c") is not None:
        problems += check_fuel_temperature(case["fuel_temperature_c"], "fuel_temperature_c")
    for key, kind, name in FOLD_TYPES:
        if case.get(key) is not None and not isinstance(case[key], kind):
            problems.append(Problem("wrong_type", key, f"{show(case[key])} is not {name}"))
    readings = case.get("readings")
    if readings is not None and not isinstance(readings, list):
        problems.append(Problem("not_a_list", "readings", f"{show(readings)} is not a list of readings"))
    elif readings is not None and len(readings) > MOST_READINGS:
        text = f"{len(readings)} readings are too many for one case; the most is {MOST_READINGS}"
        problems.append(Problem("too_many", "readings", text))
    return problems


def check_ids(readings: list) -> list:
    """Return problems of reading ids that stand twice; verdicts refer to readings by id."""
    problems, seen = [], set()
    for i in range(len(readings)):
        name = readings[i].get("id") if isinstance(readings[i], dict) else None
        if isinstance(name, str) and name in seen:
            text = f"{show(name)} stands twice; every reading needs an id of its own"
            problems.append(Problem("duplicate_id", f"readings[{i}].id", text))
        if isinstance(name, str):
            seen.add(name)
    return problems


def clean_case(case: dict, readings: list, notes: list, book: Book) -> Case:
    """Return the case ready for judging; everything in it has been checked."""
    vehicle = case["vehicle"]
    return Case(
        case.get("id") or "",
        {"layout": vehicle["layout"], "supply": vehicle["supply"], "cylinders": int(vehicle["cylinders"])},
        case.get("complaints") or [],
        case.get("codes") or [],
        choose_limits(case.get("limits"), book),
        case.get("lacking") or [],
        case.get("fuel_temperature_c"),
        [read_reading(reading, book) for reading in readings],
        {phase: [r["quantity"] for r in case.get("not_measured") or [] if phase_of(r) == phase] for phase in PHASES},
        case.get("state") or "open",
        case.get("steps"),
        notes,
        case.get("concluded"),
        case.get("gate_override"),
        bool(case.get("repairs")),
        case.get("earlier_retests") or [],
    )


def name_readings(readings: list) -> list:
    """Give a reading without an id its place as one, so that verdicts can refer to it."""
    taken = {r["id"] for r in readings if isinstance(r, dict) and isinstance(r.get("id"), str)}
    named = []
    for i in range(len(readings)):
        reading = readings[i]
        if isinstance(reading, dict) and reading.get("id") is None:
            name = f"#{i + 1}"
            while name in taken:
                name = name + "'"
            reading = dict(reading)
            reading["id"] = name
        named.append(reading)
    return named


def read_case(case: object, book: Book) -> Case:
    """Check a case document strictly.

    Inputs: case any JSON value. Returns: Case. Refuses: every problem found, in one EngineError.
    """
    problems = check_frame(case, book)
    fits = not [p for p in problems if p.field.startswith("vehicle")]
    readings: list = []
    if isinstance(case, dict) and isinstance(case.get("readings"), list) and len(case["readings"]) <= MOST_READINGS:
        readings = name_readings(case["readings"])
        vehicle = case["vehicle"] if fits else None
        for i in range(len(readings)):
            problems = problems + check_reading(readings[i], vehicle, book, f"readings[{i}]")
        problems = problems + check_ids(readings)
    if problems:
        raise EngineError(problems)
    return clean_case(case, readings, [], book)  # type: ignore[arg-type]


def read_folded(case: dict, book: Book) -> Case:
    """Check a case that was folded from entries; a reading that does not fit is set aside with a note.

    Refuses: problems of anything but readings (folding cannot make them from checked entries).
    """
    problems = check_frame(case, book)
    if problems:
        raise EngineError(problems)
    kept: list = []
    notes = [
        f"Set aside: an entry that this version cannot read ({r['field']}: {r['text']})."
        for r in case.get("set_aside") or []
    ]
    for reading in case.get("readings") or []:
        found = check_reading(reading, case["vehicle"], book, "reading")
        if found:
            notes.append(f"Set aside: {reading.get('quantity')} {show(reading.get('value'))}: {found[0].text}.")
        else:
            kept.append(reading)
    return clean_case(case, kept, notes, book)
