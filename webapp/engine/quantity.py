"""A reading: from what was typed to a checked value in the canonical unit with its standard uncertainty.

Rules for this file: nothing is guessed silently; what cannot be true is refused by name, what can hardly be true is kept
and doubted, so that it never decides anything on its own.
Method: unit to canonical; the possible range refuses, the plausible range doubts; the uncertainty is the reading's own,
else the instrument's, else the quantity's default (CASE.md).
Sources: ranges and instruments are data with their own provenance (webapp/library).
"""

from collections import namedtuple

from .book import Book
from .numeric import is_number
from .problems import EngineError, Problem, show
from .uncertainty import combine_uncertainty, default_term, instrument_terms
from .units import check_unit, convert, convert_difference

Reading = namedtuple(
    "Reading",
    ("id", "quantity", "kind", "value", "uncertainty", "duration_s", "state", "phase", "target_bar", "doubt"),
)

PHASES = ("before", "after_repair")
SHORTEST_COLLECTION_S = 1e-4
LONGEST_COLLECTION_S = 3600.0
MOST_CYLINDERS = 16
HIGHEST_TARGET_BAR = 3500.0

# field: (plain description, kind of value)
READING_FIELDS = {
    "id": "text",
    "quantity": "text",
    "value": "any",
    "unit": "text",
    "instrument": "text",
    "duration_s": "number",
    "state": "text",
    "standard_uncertainty": "number",
    "phase": "text",
    "target_bar": "number",
    "check": "text",
    "at": "text",
    "by": "text",
}


def phase_of(row: dict) -> str:
    """Return the phase of a reading or of a row of not_measured; before the repair when it says nothing."""
    phase = row.get("phase")
    return PHASES[0] if phase is None else phase


def check_fields(reading: dict, at: str) -> list:
    """Return problems of unknown keys and of values of the wrong type; a None counts as left out."""
    problems = []
    for key in sorted(reading, key=str):
        kind = READING_FIELDS.get(key)
        value = reading[key]
        if kind is None:
            text = f"is not a field of a reading; known are {', '.join(sorted(READING_FIELDS))}"
            problems.append(Problem("unknown_field", f"{at}.{key or '(empty name)'}", text))
        elif kind == "number" and value is not None and not is_number(value):
            text = f"{show(value)} is not a number; give a plain number or leave it out"
            problems.append(Problem("not_a_number", f"{at}.{key}", text))
        elif kind == "text" and value is not None and not isinstance(value, str):
            problems.append(Problem("not_text", f"{at}.{key}", f"{show(value)} is not text"))
    return problems


def check_choice(value: object, quantity: dict, field: str) -> list:
    names = [choice["id"] for choice in quantity["choices"]]
    if isinstance(value, str) and value in names:
        return []
    return [Problem("unknown_choice", field, f"{show(value)} is not one of {', '.join(names)}")]


def check_number(value: object, unit: str, quantity: dict, field: str) -> list:
    """Return problems of one number in its own unit: type, and the possible range in the canonical unit."""
    if not is_number(value):
        return [Problem("not_a_number", field, f"{show(value)} is not a number; give a plain number such as 292.5")]
    canonical = convert(value, unit, quantity["unit"])  # type: ignore[arg-type]
    low, high = quantity["possible"]["low"], quantity["possible"]["high"]
    if low <= canonical <= high:
        return []
    given = f"{show(value)} {unit}"
    text = f"{given} cannot be: {quantity['name']} lies between {low:g} and {high:g} {quantity['unit']}; check it"
    return [Problem("impossible_value", field, text)]


def check_list(values: object, unit: str, quantity: dict, cylinders: int | None, field: str) -> list:
    """Return problems of a reading with one number a cylinder."""
    if not isinstance(values, list) or not values:
        text = f"{show(values)} is not a list; give one number for each cylinder, such as [21, 23, 22, 64]"
        return [Problem("not_a_list", field, text)]
    wanted = f"{cylinders} cylinders" if cylinders is not None else f"at most {MOST_CYLINDERS} cylinders"
    if (cylinders is not None and len(values) != cylinders) or len(values) > MOST_CYLINDERS:
        text = f"{len(values)} values for {wanted}; give one for each cylinder"
        return [Problem("wrong_count", field, text)]
    problems = []
    for i in range(len(values)):
        problems += check_number(values[i], unit, quantity, f"{field}[{i}]")
    return problems


def check_conditions(reading: dict, quantity: dict, book: Book, at: str) -> list:
    """Return problems of what goes with the value: instrument, duration, state, phase, uncertainty, target."""
    problems = []

    def add(code: str, key: str, text: str) -> None:
        problems.append(Problem(code, f"{at}.{key}", text))

    instrument, duration, state = reading.get("instrument"), reading.get("duration_s"), reading.get("state")
    own, phase, target = reading.get("standard_uncertainty"), reading.get("phase"), reading.get("target_bar")
    if instrument is not None and instrument not in book.instruments:
        add("unknown_instrument", "instrument", f"{show(instrument)} is not in the list of instruments; leave it out")
    if quantity["needs_duration"] and duration is None:
        add("missing", "duration_s", "how many seconds were collected? give the duration in s")
    if duration is not None and not SHORTEST_COLLECTION_S <= duration <= LONGEST_COLLECTION_S:
        add(
            "impossible_value",
            "duration_s",
            f"{show(duration)} s cannot be; give some seconds, {LONGEST_COLLECTION_S:g} at most",
        )
    if state is not None and quantity["states"] and state not in quantity["states"]:
        add("unknown_state", "state", f"{show(state)} is not one of {', '.join(quantity['states'])}")
    if phase is not None and phase not in PHASES:
        add("unknown_phase", "phase", f"{show(phase)} is not one of {', '.join(PHASES)}")
    if own is not None and own < 0.0:
        add("impossible_value", "standard_uncertainty", f"{show(own)} is negative; an uncertainty is 0 or more")
    if target is not None and not 0.0 < target <= HIGHEST_TARGET_BAR:
        add("impossible_value", "target_bar", f"{show(target)} bar cannot be; give the pressure that was timed to")
    return problems


def check_value(reading: dict, quantity: dict, cylinders: int | None, at: str) -> list:
    """Return problems of value and unit together."""
    value, field = reading.get("value"), f"{at}.value"
    if value is None:
        return [Problem("missing", field, f"{quantity['name']} has no value; give one or record it as not measured")]
    unit = reading.get("unit")
    if quantity["kind"] == "choice":
        extra = [Problem("wrong_unit", f"{at}.unit", f"{show(unit)}: a choice has no unit; leave it out")]
        return check_choice(value, quantity, field) + (extra if unit is not None else [])
    if unit is None:
        unit = quantity["unit"]
    try:
        check_unit(unit, quantity["unit"], f"{at}.unit")
    except EngineError as error:
        return error.problems
    if quantity["kind"] == "list":
        return check_list(value, unit, quantity, cylinders, field)
    return check_number(value, unit, quantity, field)


def check_reading(reading: object, vehicle: dict | None, book: Book, at: str = "reading") -> list:
    """Return all problems of a reading as it was typed.

    Inputs: reading any JSON; vehicle with layout, supply and cylinders, or None where it is not known yet.
    Returns: a list of Problem, empty when `read_reading` will take it.
    """
    if not isinstance(reading, dict):
        return [Problem("not_an_object", at, f"{show(reading)} is not a reading")]
    problems = check_fields(reading, at)
    name = reading.get("quantity")
    if not isinstance(name, str) or name not in book.quantities:
        text = f"{show(name)} is not a quantity known here; 'railcase catalogue' lists them"
        return problems + [Problem("unknown_quantity", f"{at}.quantity", text)]
    if problems:
        return problems
    quantity = book.quantities[name]
    if vehicle is not None and vehicle["layout"] not in quantity["layouts"]:
        text = f"{name} does not exist on a {vehicle['layout']} system; mend the layout or leave the reading out"
        problems.append(Problem("wrong_layout", f"{at}.quantity", text))
    if vehicle is not None and vehicle["supply"] not in quantity["supplies"]:
        text = f"{name} does not exist with a supply of kind {vehicle['supply']}; mend the supply or leave it out"
        problems.append(Problem("wrong_supply", f"{at}.quantity", text))
    cylinders = vehicle["cylinders"] if vehicle is not None else None
    return problems + check_value(reading, quantity, cylinders, at) + check_conditions(reading, quantity, book, at)


def find_doubt(values: list, quantity: dict) -> str | None:
    """Return why a value can hardly be true (outside the plausible range), None when it can."""
    low, high = quantity["plausible"]["low"], quantity["plausible"]["high"]
    for value in values:
        if not low <= value <= high:
            return (
                f"{value:g} {quantity['unit']} is hardly possible for {quantity['name']} (usual: {low:g} to {high:g} "
                f"{quantity['unit']}). A slip of a digit or of the unit? Measure again; it decides nothing until then."
            )
    return None


def value_uncertainty(value: float, reading: dict, unit: str, quantity: dict, book: Book) -> float:
    """Return the standard uncertainty of one number in the canonical unit, without repeats."""
    own, canonical = reading.get("standard_uncertainty"), quantity["unit"]
    if own is not None:
        return convert_difference(own, unit, canonical)
    name = reading.get("instrument")
    if name is not None and quantity["id"] in book.instruments[name]["quantities"]:
        instrument = book.instruments[name]
        own_unit = instrument["unit"] or canonical  # an instrument without a unit shows each quantity in its own
        inner = convert(value, canonical, own_unit)
        return convert_difference(combine_uncertainty(instrument_terms(inner, instrument)), own_unit, canonical)
    return default_term(value, quantity["default_uncertainty"])


def read_reading(reading: dict, book: Book) -> Reading:
    """Return a checked reading in canonical units.

    Inputs: reading that `check_reading` found no problem in.
    Returns: Reading with value number | choice id | list of numbers [canonical unit], uncertainty [canonical unit] a
    number, a list beside a list value, or None for a choice; duration_s [s] or None; target_bar [bar] or None.
    """
    quantity = book.quantities[reading["quantity"]]
    kind, canonical = quantity["kind"], quantity["unit"]
    value, doubt = reading["value"], None
    uncertainty: object = None
    if kind != "choice":
        unit = reading.get("unit")
        unit = canonical if unit is None else unit
        values = [convert(v, unit, canonical) for v in (value if kind == "list" else [value])]
        sizes = [value_uncertainty(v, reading, unit, quantity, book) for v in values]
        doubt = find_doubt(values, quantity)
        value, uncertainty = (values, sizes) if kind == "list" else (values[0], sizes[0])
    return Reading(
        reading.get("id"),
        quantity["id"],
        kind,
        value,
        uncertainty,
        reading.get("duration_s"),
        reading.get("state"),
        phase_of(reading),
        reading.get("target_bar"),
        doubt,
    )
