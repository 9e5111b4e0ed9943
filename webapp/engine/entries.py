"""Entries: the immutable log of a case, checked one by one and folded into the case document.

Rules for this file: folding is a pure function of the *set* of entries, so order of arrival and repeats cannot matter;
wall clocks decide nothing.
Method: sort by (clock, id), drop repeats, walk once. A single-valued field takes the greatest (clock, id), which the
walk gives by letting the later one win; what another device had set differently is listed as a conflict. Kinds that this
engine does not know are counted and passed over, never dropped from the log.
Source: the case contract, 'Entries'; L. Lamport, Time, clocks, and the ordering of events (Comm. ACM 21, 1978) for the
counter - from memory.
"""

from .book import Book
from .document import (
    FORMAT,
    check_codes,
    check_fuel_temperature,
    check_limits,
    check_names,
    check_one_of,
    is_whole,
    unknown_keys,
)
from .numeric import is_number
from .problems import Problem, refuse, show
from .quantity import MOST_CYLINDERS, PHASES, check_reading, phase_of

_, AFTER = PHASES
ENTRY_KEYS = ("id", "case", "device", "seq", "clock", "at", "by", "kind", "body")
LONGEST_TEXT = 20000
LONGEST_NAME = 200
PHOTO_TYPES = ("image/jpeg", "image/png", "image/webp")
RISE_SOURCES = ("trace", "film")
MOST_PAIRS = 1200
HEX = "0123456789abcdef"

# kind: {body field: kind of value}; a field with ! is compulsory
BODIES = {
    "case_opened": {},
    "vehicle_set": {
        "description": "text", "registration": "text", "vin": "text", "layout": "layout", "supply": "supply",
        "cylinders": "cylinders", "assumed": "names",
    },
    "complaint_set": {"complaints": "complaints!"},
    "codes_set": {"codes": "codes!"},
    "circumstances_set": {"lacking": "equipment", "fuel_temperature_c": "fuel_temperature"},
    "limits_set": {"profile": "any", "overrides": "any", "rule": "any", "weights": "any"},
    "step_ticked": {"check": "name!", "step": "name!", "ticked": "flag!"},
    "reading_taken": {},
    "not_measured": {"quantity": "quantity!", "reason": "text!", "phase": "phase"},
    "reading_voided": {"reading": "name!", "reason": "text!"},
    "note_added": {"text": "text!", "check": "name"},
    "photo_added": {"sha256": "sha256!", "type": "photo!", "size": "count!", "caption": "text", "check": "name"},
    "rise_recorded": {
        "source": "rise_source!", "name": "name", "check": "name", "phase": "phase", "readings": "names",
        "start_s": "number!", "start_from": "name!", "found_start_s": "number", "points": "pairs!", "times": "pairs!",
        "steady_bar": "number", "warnings": "names",
    },
    "caution_acknowledged": {"caution": "name!", "check": "name"},
    "signed_off": {"check": "name", "role": "name"},
    "gate_overridden": {"reason": "reason!"},
    "concluded": {
        "fault": "name", "text": "text", "engine": "name", "limits": "any", "verdicts": "any", "pump": "name",
    },
    "repair_recorded": {"text": "text!"},
    "outcome_confirmed": {"fault": "name", "text": "text"},
    "reopened": {"reason": "text"},
    "job_assigned": {"to": "name!", "note": "text"},
    "job_seen": {},
    "comment_added": {"text": "reason!", "to": "name", "question": "flag", "answers": "name"},
    "reviewed": {"text": "text", "seen": "count!"},
    "merged_into": {"target": "name"},
    "case_joined": {"duplicate": "name!", "readings": "names"},
    "personal_data_erased": {"reason": "reason!", "entries": "count!", "sum": "sha256!"},
}  # fmt: skip


def is_uuid(value: object) -> bool:
    """True for a lower-case UUID in its usual text form."""
    if not isinstance(value, str) or len(value) != 36:
        return False
    parts = value.split("-")
    return [len(p) for p in parts] == [8, 4, 4, 4, 12] and not [c for p in parts for c in p if c not in HEX]


def is_digest(value: object) -> bool:
    return isinstance(value, str) and len(value) == 64 and not [c for c in value if c not in HEX]


def check_text(value: object, longest: int, field: str) -> list:
    if not isinstance(value, str):
        return [Problem("not_text", field, f"{show(value)} is not text")]
    if len(value) > longest:
        return [Problem("too_long", field, f"has {len(value)} characters; the most is {longest}")]
    return []


def check_reason(value: object, field: str) -> list:
    """Return problems of a reason that somebody answers for: text that is not blank."""
    problems = check_text(value, LONGEST_TEXT, field)
    if problems or value.strip():  # type: ignore[attr-defined]
        return problems
    return [Problem("missing", field, "is blank; write the reason in words")]


def check_whole(value: object, low: int, high: int, field: str) -> list:
    if is_whole(value) and low <= value <= high:  # type: ignore[operator]
        return []
    return [Problem("impossible_value", field, f"{show(value)} is not a whole number from {low} to {high}")]


def check_pairs(value: object, field: str) -> list:
    """Return problems of [[number, number or null], ...], which draws a curve or lists times."""
    if not isinstance(value, list) or len(value) > MOST_PAIRS:
        return [Problem("not_a_list", field, f"{show(value)} is not a list of at most {MOST_PAIRS} pairs")]
    for i in range(len(value)):
        row = value[i]
        if not isinstance(row, list) or len(row) != 2 or not is_number(row[0]):
            return [Problem("not_a_pair", f"{field}[{i}]", f"{show(row)} is not a pair of numbers")]
        if row[1] is not None and not is_number(row[1]):
            return [Problem("not_a_number", f"{field}[{i}][1]", f"{show(row[1])} is not a number")]
    return []


def check_flag(value: object, field: str) -> list:
    return [] if value is True or value is False else [Problem("not_a_flag", field, f"{show(value)}: give true or false")]


def check_field(value: object, kind: str, field: str, book: Book) -> list:
    """Return problems of one body field."""
    if kind == "text":
        return check_text(value, LONGEST_TEXT, field)
    if kind == "name":
        return check_text(value, LONGEST_NAME, field)
    if kind == "reason":
        return check_reason(value, field)
    if kind == "flag":
        return check_flag(value, field)
    if kind == "pairs":
        return check_pairs(value, field)
    if kind == "number":
        return [] if is_number(value) else [Problem("not_a_number", field, f"{show(value)} is not a number")]
    if kind == "names":
        rows = value if isinstance(value, list) else [value]
        return [p for row in rows for p in check_text(row, LONGEST_NAME, field)]
    if kind in ("cylinders", "count"):
        return check_whole(value, 1, MOST_CYLINDERS if kind == "cylinders" else 100_000_000, field)
    if kind == "sha256":
        bad = Problem("bad_digest", field, f"{show(value)} is not a SHA-256 in lower-case hexadecimal")
        return [] if is_digest(value) else [bad]
    if kind == "complaints":
        return check_names(value, book.complaints, field)
    if kind == "codes":
        return check_codes(value, field)
    if kind == "equipment":
        return check_names(value, book.equipment, field)
    if kind == "fuel_temperature":
        return check_fuel_temperature(value, field)
    known = {"layout": book.layouts, "supply": book.supplies, "photo": list(PHOTO_TYPES),
             "rise_source": list(RISE_SOURCES),
             "quantity": book.quantity_order, "phase": list(PHASES)}  # fmt: skip
    return check_one_of(value, known[kind], field) if kind in known else []


def check_body(kind: str, body: dict, book: Book) -> list:
    """Return problems of the body of a known kind."""
    if kind == "reading_taken":
        return check_reading(body, None, book, "body")
    fields = BODIES[kind]
    problems = unknown_keys(body, tuple(sorted(fields)), "body")
    for name in sorted(fields):
        wanted = fields[name]
        value = body.get(name)
        if value is not None:
            problems += check_field(value, wanted.rstrip("!"), f"body.{name}", book)
        elif wanted.endswith("!"):
            problems.append(Problem("missing", f"body.{name}", "is missing; give it"))
    if kind == "limits_set":
        problems += [p for p in check_limits(body, book, "body") if p.code != "unknown_field"]
    return problems


def check_entry(entry: object, book: Book) -> list:
    """Return all problems of one entry; an unknown kind is no problem (a newer app may have made it)."""
    if not isinstance(entry, dict):
        return [Problem("not_an_object", "entry", f"{show(entry)} is not an entry")]
    problems = unknown_keys(entry, ENTRY_KEYS, "")
    for key in ("id", "case"):
        if not is_uuid(entry.get(key)):
            problems.append(Problem("bad_id", key, f"{show(entry.get(key))} is not a lower-case UUID"))
    for key in ("device", "by", "kind", "at"):
        problems += check_text(entry.get(key), LONGEST_NAME, key)
    for key in ("seq", "clock"):
        problems += check_whole(entry.get(key), 1, 1_000_000_000, key)
    body = entry.get("body")
    if not isinstance(body, dict):
        return problems + [Problem("not_an_object", "body", f"{show(body)} is not an object")]
    if isinstance(entry.get("kind"), str) and entry["kind"] in BODIES:
        problems += check_body(entry["kind"], body, book)
    return problems


def order_entries(entries: list) -> list:
    """Return the set of entries in the order that decides: (clock, id), repeats of an id dropped.

    Two different entries under one id are a broken client; the one that sorts first by its text is kept, so that every
    place keeps the same one.
    """
    kept: dict = {}
    for entry in entries:
        other = kept.get(entry["id"])
        if other is None or sort_text(entry) < sort_text(other):
            kept[entry["id"]] = entry
    return sorted([kept[name] for name in kept], key=lambda e: (e["clock"], e["id"]))


def sort_text(value: object) -> str:
    """Return a text of any JSON value that is the same wherever it is made."""
    if isinstance(value, dict):
        return "{" + ",".join([f"{k}:{sort_text(value[k])}" for k in sorted(value)]) + "}"
    if isinstance(value, list):
        return "[" + ",".join([sort_text(v) for v in value]) + "]"
    return repr(value)


def empty_case(entries: list, book: Book) -> dict:
    """Return the case document before anything is known: safe defaults, named as assumed."""
    first = entries[0]
    vehicle = {"description": "", "registration": "", "vin": "", "layout": book.safe_layout,
               "supply": book.supplies[0], "cylinders": 4, "assumed": ["layout", "supply", "cylinders"]}  # fmt: skip
    return {
        "format": FORMAT, "id": first["case"], "vehicle": vehicle, "complaints": [], "codes": [],
        "limits": {"profile": "generic", "overrides": {}}, "lacking": [],
        "fuel_temperature_c": None, "readings": [], "not_measured": [], "state": "open",
        "opened_at": first["at"], "opened_by": first["by"], "updated_at": entries[-1]["at"], "entries": len(entries),
        "steps": {}, "notes": [], "photos": [], "rises": [], "cautions": [], "voided": [], "signed": [], "concluded": None,
        "repairs": [], "outcome": None, "gate_override": None, "earlier_retests": [], "conflicts": [],
        "job": None, "job_seen": None, "comments": [], "open_questions": [], "review": None, "merged_into": None,
        "joined": [], "reopenings": [],
    }  # fmt: skip


def stamp(entry: dict, body: dict) -> dict:
    """Return a body with who and when, and the id of the entry that says so."""
    row = dict(body)
    row["entry"], row["at"], row["by"] = entry["id"], entry["at"], entry["by"]
    return row


def set_vehicle(case: dict, entry: dict, body: dict) -> None:
    """Take each field that is given; a field that is set without being named as assumed is assumed no longer."""
    vehicle = case["vehicle"]
    assumed = body.get("assumed") or []
    for key in body:
        if key != "assumed" and body[key] is not None:
            vehicle[key] = int(body[key]) if key == "cylinders" else body[key]
    still = [name for name in vehicle["assumed"] if name not in body]
    vehicle["assumed"] = still + [name for name in assumed if name not in still]


def take_reading(case: dict, entry: dict, body: dict) -> None:
    row = dict(body)
    row["id"], row["at"], row["by"] = entry["id"], entry["at"], entry["by"]
    case["readings"].append(row)
    # a reading after 'could not measure' means that it could be measured after all
    case["not_measured"] = other_missed(case, body)


def other_missed(case: dict, body: dict) -> list:
    """Return the rows of not_measured for anything but this quantity in this phase."""
    mine = (body["quantity"], phase_of(body))
    return [row for row in case["not_measured"] if (row["quantity"], phase_of(row)) != mine]


def miss_reading(case: dict, entry: dict, body: dict) -> None:
    row = {"quantity": body["quantity"], "reason": body["reason"], "phase": phase_of(body)}
    row["at"], row["by"] = entry["at"], entry["by"]
    case["not_measured"] = other_missed(case, body) + [row]


def tick_step(case: dict, entry: dict, body: dict) -> None:
    case["steps"][body["check"] + "/" + body["step"]] = body["ticked"]


def conclude(case: dict, entry: dict, body: dict) -> None:
    case["concluded"] = stamp(entry, body)
    case["state"] = "concluded"


def override_gate(case: dict, entry: dict, body: dict) -> None:
    case["gate_override"] = stamp(entry, body)


def repair(case: dict, entry: dict, body: dict) -> None:
    """Note the repair; what was read, or could not be read, after an earlier one says nothing about this one."""
    case["repairs"].append(stamp(entry, body))
    case["earlier_retests"] = [row["id"] for row in case["readings"] if phase_of(row) == AFTER]
    case["not_measured"] = [row for row in case["not_measured"] if phase_of(row) != AFTER]
    case["state"] = "repaired"


def confirm(case: dict, entry: dict, body: dict) -> None:
    case["outcome"] = stamp(entry, body)
    case["state"] = "confirmed"


def reopen(case: dict, entry: dict, body: dict) -> None:
    case["reopenings"].append(stamp(entry, body))
    case["concluded"] = None
    case["outcome"] = None
    case["gate_override"] = None
    case["state"] = "open"


def set_limits(case: dict, entry: dict, body: dict) -> None:
    for key in ("profile", "overrides", "rule", "weights"):
        if body.get(key) is not None:
            case["limits"][key] = body[key]


def set_complaints(case: dict, entry: dict, body: dict) -> None:
    case["complaints"] = body["complaints"]


def set_codes(case: dict, entry: dict, body: dict) -> None:
    case["codes"] = body["codes"]


def set_circumstances(case: dict, entry: dict, body: dict) -> None:
    for key in ("lacking", "fuel_temperature_c"):
        if body.get(key) is not None:
            case[key] = body[key]


def assign(case: dict, entry: dict, body: dict) -> None:
    case["job"], case["job_seen"] = stamp(entry, body), None


def merge(case: dict, entry: dict, body: dict) -> None:
    """Say which case goes on in place of this one; without a target the two are cases of their own again."""
    case["merged_into"] = stamp(entry, body) if body.get("target") else None


def keep_as(name: str) -> object:
    """Return a fold step that keeps the last stamped body under a name."""

    def keep(case: dict, entry: dict, body: dict) -> None:
        case[name] = stamp(entry, body)

    return keep


def append_to(name: str) -> object:
    """Return a fold step that lists the stamped body under a name."""

    def add(case: dict, entry: dict, body: dict) -> None:
        case[name].append(stamp(entry, body))

    return add


# reading_voided is not here: a voiding counts wherever it stands in the order, see void_readings
FOLDS = {
    "vehicle_set": set_vehicle,
    "complaint_set": set_complaints,
    "codes_set": set_codes,
    "circumstances_set": set_circumstances,
    "limits_set": set_limits,
    "step_ticked": tick_step,
    "reading_taken": take_reading,
    "not_measured": miss_reading,
    "note_added": append_to("notes"),
    "photo_added": append_to("photos"),
    "rise_recorded": append_to("rises"),
    "caution_acknowledged": append_to("cautions"),
    "signed_off": append_to("signed"),
    "gate_overridden": override_gate,
    "concluded": conclude,
    "repair_recorded": repair,
    "outcome_confirmed": confirm,
    "reopened": reopen,
    "job_assigned": assign,
    "job_seen": keep_as("job_seen"),
    "comment_added": append_to("comments"),
    "reviewed": keep_as("review"),
    "merged_into": merge,
    "case_joined": append_to("joined"),
}
# what a countersignature answers for: one more of these in the log, and somebody has to look again
DECISIVE = ("vehicle_set", "limits_set", "reading_taken", "reading_voided", "gate_overridden", "concluded",
            "repair_recorded", "outcome_confirmed", "reopened")  # fmt: skip

OFFICE = "office"  # the device of entries written at a desk; phones have a uuid there
# kinds that set a whole value: which body fields two devices may have set differently
SINGLE_VALUED = {
    "vehicle_set": ("description", "registration", "vin", "layout", "supply", "cylinders"),
    "complaint_set": ("complaints",),
    "codes_set": ("codes",),
    "circumstances_set": ("lacking", "fuel_temperature_c"),
    "limits_set": ("profile", "overrides", "rule"),
}


def void_readings(case: dict, entries: list) -> None:
    """Move voided readings aside, with the reason of the first voiding in order."""
    voids: dict = {}
    for entry in entries:
        if entry["kind"] == "reading_voided" and entry["body"]["reading"] not in voids:
            voids[entry["body"]["reading"]] = entry
    kept = []
    for reading in case["readings"]:
        void = voids.get(reading["id"])
        if void is None:
            kept.append(reading)
        else:
            row = dict(reading)
            row["reason"], row["voided_by"] = void["body"]["reason"], void["by"]
            case["voided"].append(row)
    case["readings"] = kept


def count_decisive(entries: list) -> int:
    return len([entry for entry in entries if entry["kind"] in DECISIVE])


def settle(case: dict, entries: list) -> None:
    """Say which questions nobody has answered yet, and whether the countersignature still covers what is in the log.

    Both hold for the set of entries: what a phone that was away brings late is no older than the review for its clock.
    """
    answered = [row.get("answers") for row in case["comments"]]
    asked = [row["entry"] for row in case["comments"] if row.get("question")]
    case["open_questions"] = [name for name in asked if name not in answered]
    if case["review"]:
        case["review"]["holds"] = case["review"]["seen"] == count_decisive(entries)


def find_conflicts(entries: list) -> list:
    """Return the fields that the last writer and another device set to different values, both values shown.

    What the office sets at its desk is set with all entries in sight: a decision, no conflict.
    """
    last: dict = {}
    for entry in entries:
        for field in SINGLE_VALUED.get(entry["kind"], ()):
            value = entry["body"].get(field)
            if value is not None:
                last.setdefault(field, {})[entry["device"]] = entry
    conflicts = []
    for field in sorted(last):
        rows = sorted([last[field][device] for device in last[field]], key=lambda e: (e["clock"], e["id"]))
        if rows[-1]["device"] != OFFICE and len({sort_text(row["body"][field]) for row in rows}) > 1:
            values = [{"value": r["body"][field], "by": r["by"], "device": r["device"], "entry": r["id"]} for r in rows]
            conflicts.append({"field": field, "values": values})
    return conflicts


def fold_entries(entries: list, book: Book) -> dict:
    """Fold checked entries of one case into its document.

    Inputs: entries, a non-empty list of entries that `check_entry` found no problem in, any order, repeats allowed.
    Returns: the case document with what folding adds (DEVELOPERS.md, 'Folded case').
    """
    ordered = order_entries(entries)
    case = empty_case(ordered, book)
    for entry in ordered:
        step = FOLDS.get(entry["kind"])
        if step is not None:
            step(case, entry, entry["body"])  # type: ignore[operator]
    void_readings(case, ordered)
    case["conflicts"] = find_conflicts(ordered)
    settle(case, ordered)
    return case


def fold_log(entries: list, book: Book) -> dict:
    """Fold whatever a log holds: an entry that this engine refuses is set aside and named, the rest makes the case.

    An older or newer app may have written it, and one entry must not make a case unreadable. Nothing is dropped from the
    log. Inputs: a non-empty list of JSON values. Returns: as fold_entries, with `set_aside` rows {entry, field, text}.
    Refuses: not_a_log, when no entry at all can be read; mixed_cases.
    """
    good, aside = [], {}
    for entry in entries:
        problems = check_entry(entry, book)
        if problems:
            name = str(entry.get("id")) if isinstance(entry, dict) else show(entry)
            aside[name] = {"entry": name, "field": problems[0].field, "text": problems[0].text}
        else:
            good.append(entry)
    if not good:
        raise refuse("not_a_log", "entries", "no entry of this case can be read by this version")
    if len({entry["case"] for entry in good}) > 1:
        raise refuse("mixed_cases", "entries", "belong to more than one case; fold one case at a time")
    case = fold_entries(good, book)
    case["set_aside"] = [aside[name] for name in sorted(aside)]
    return case
