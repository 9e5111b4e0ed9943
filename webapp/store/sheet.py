"""A case laid out for reading, for the office page and the report alike: readings beside their verdicts, names beside
ids, and who did what on which phone."""

from collections import Counter
from functools import cache

from webapp.engine.book import limit_tables
from webapp.library.loader import load_catalogue
from webapp.store import cases, erasure, instruments, log, photos, weights
from webapp.store.cases import OFFICE_DEVICE
from webapp.store.devices import list_devices
from webapp.store.limits import open_workshop_book
from webapp.store.people import list_people
from webapp.store.scope import Workshop
from webapp.store.talk import lay_out_talk

PUMP_FAULT = "pump_worn"
NAMED = ("quantities", "faults", "checks", "components", "instruments", "complaints", "layouts", "supplies", "profiles")


@cache
def names() -> dict[str, dict[str, str]]:
    """Names by id, for each part of the catalogue."""
    catalogue = load_catalogue()
    table = {part: {row["id"]: row["name"] for row in catalogue[part]} for part in NAMED}
    table["cautions"] = {row["id"]: row["title"] for row in catalogue["cautions"]}
    table["steps"] = {
        f"{check['id']}/{step['id']}": step["text"] for check in catalogue["checks"] for step in check["steps"]
    }
    table["choices"] = {
        f"{row['id']}/{choice['id']}": choice["name"] for row in catalogue["quantities"] for choice in row["choices"]
    }
    return table


def name_of(part: str, id_: str | None) -> str:
    return names()[part].get(id_ or "", id_ or "")


class Authors:
    """Who wrote an entry: the person it names, else the owner of the phone it came from."""

    def __init__(self, workshop: Workshop, rows: list):
        self.people = {person.id: person.name for person in list_people(workshop)}
        self.phones = {device.install: (device.name, owner.name) for device, owner in list_devices(workshop)}
        self.devices = {row.id: row.device for row in rows}

    def person(self, by: str, entry_id: str | None = None) -> str:
        if by in self.people:
            return self.people[by]
        if by == erasure.BY_TIMER:
            return "the workshop's timer"
        phone = self.phones.get(self.devices.get(entry_id or "", ""))
        return phone[1] if phone else "a person not known here"

    def device(self, entry_id: str) -> str:
        device = self.devices.get(entry_id, "")
        if device == OFFICE_DEVICE:
            return "the office"
        return self.phones[device][0] if device in self.phones else "a phone not known here"


def write_number(value) -> str:
    return f"{value:g}" if isinstance(value, int | float) and not isinstance(value, bool) else str(value)


def write_value(reading: dict, unit: str | None) -> str:
    """The value as it was recorded, with its unit; a choice by its name."""
    value = reading["value"]
    if isinstance(value, list):
        text = ", ".join(write_number(part) for part in value)
    elif isinstance(value, str):
        return names()["choices"].get(f"{reading['quantity']}/{value}", value)
    else:
        text = write_number(value)
    return f"{text} {reading.get('unit') or unit or ''}".strip()


def write_uncertainty(verdict: dict | None) -> str:
    """Expanded uncertainty at about 95 % (twice the standard uncertainty), in the canonical unit."""
    standard = (verdict or {}).get("standard_uncertainty")
    return f"± {2 * standard:.2g} {verdict['unit'] or ''}".strip() if verdict and standard else ""


def lay_out_reading(reading: dict, verdict: dict | None, authors: Authors, tools: dict | None = None) -> dict:
    """`tools`: the instruments that the workshop knows, its own among them."""
    tool = (tools or {}).get(reading.get("instrument") or "")
    return {
        "id": reading["id"],
        "quantity": reading["quantity"],
        "name": name_of("quantities", reading["quantity"]),
        "value": write_value(reading, (verdict or {}).get("unit")),
        "uncertainty": write_uncertainty(verdict),
        "limit": (verdict or {}).get("limit_text", ""),
        "basis": (verdict or {}).get("basis", ""),
        "verdict": (verdict or {}).get("verdict"),
        "close": bool((verdict or {}).get("close")),
        "text": (verdict or {}).get("text", ""),
        "doubt": (verdict or {}).get("doubt"),
        "phase": reading.get("phase") or "before",
        "instrument": tool["name"] if tool else name_of("instruments", reading.get("instrument")),
        "read_with": tool["name"] if tool and tool["id"] not in names()["instruments"] else "",
        "at": reading.get("at"),
        "by": authors.person(reading.get("by", ""), reading["id"]),
        "reason": reading.get("reason"),
    }


def lay_out_readings(whole: cases.WholeCase, authors: Authors, tools: dict) -> list[dict]:
    verdicts = {row["reading"]: row for row in whole.assessment.get("verdicts") or []}
    readings = whole.document.get("readings") or []
    return [lay_out_reading(reading, verdicts.get(reading["id"]), authors, tools) for reading in readings]


def lay_out_comparison(document: dict, readings: list[dict]) -> list[dict]:
    """What was measured after the last repair, each beside the same before it: rows of name, before, after."""
    stale = document.get("earlier_retests") or []
    latest = {(row["quantity"], row["phase"]): row for row in readings}
    after = [row for key, row in latest.items() if key[1] == "after_repair" and row["id"] not in stale]
    return [{"name": row["name"], "before": latest.get((row["quantity"], "before")), "after": row} for row in after]


@cache
def limit_tables_of_catalogue() -> dict:
    return limit_tables(load_catalogue()["profiles"])


def lay_out_limits(document: dict, readings: list[dict]) -> list[dict]:
    """Where each limit used comes from, once a quantity, in the order of the readings.

    A limit that was changed for this case has its reason as basis; the catalogue's source and note then say nothing of it.
    """
    table = limit_tables_of_catalogue().get((document.get("limits") or {}).get("profile"), {})
    rows: dict[str, dict] = {}
    for reading in readings:
        known = table.get(reading["quantity"]) or {}
        own = known if known.get("basis") == reading["basis"] else {}
        row = {"name": reading["name"], "limit": reading["limit"], "basis": reading["basis"]}
        row |= {"source": own.get("source"), "note": own.get("note") or ""}
        if reading["limit"]:
            rows.setdefault(reading["quantity"], row)
    return list(rows.values())


def lay_out_instruments(readings: list[dict]) -> list[dict]:
    """What was measured with, and how often, in the order of first use."""
    counts = Counter(row["instrument"] for row in readings if row["instrument"])
    return [{"name": name, "count": count} for name, count in counts.items()]


def lay_out_overdue(workshop: Workshop, document: dict) -> list[dict]:
    """Readings taken with an instrument whose calibration was overdue."""
    rows = instruments.find_overdue(workshop, document.get("readings") or [])
    return [{**row, "reading": name_of("quantities", row["quantity"])} for row in rows]


def name_weights(workshop: Workshop, assessment: dict) -> str:
    """The weights of the faults that the case was judged by, in words; empty for those that come with the program."""
    key = (assessment.get("limits") or {}).get("weights")
    return weights.name_all(workshop).get(key, key) if key else ""


def name_limits(workshop: Workshop, assessment: dict) -> str:
    """The limits that the case was judged by, in words; empty when it was not."""
    chosen = assessment.get("limits")
    if not chosen:
        return ""
    profile = open_workshop_book(workshop).profiles.get(chosen["profile"]) or {"name": chosen["profile"]}
    return f"{profile['name']}, version {chosen['version']}"


def lay_out_steps(document: dict) -> list[dict]:
    """Ticked steps by check, in the catalogue's order."""
    ticked = document.get("steps") or {}
    rows = []
    for check, name in names()["checks"].items():
        done = [text for key, text in names()["steps"].items() if key.startswith(f"{check}/") and ticked.get(key)]
        if done:
            rows.append({"check": name, "steps": done})
    return rows


def sign(rows: list | None, authors: Authors) -> list[dict]:
    """Stamped rows (notes, cautions, sign-offs, repairs) with their author and check by name."""
    return [
        {
            **row,
            "by": authors.person(row.get("by", ""), row.get("entry")),
            "device": authors.device(row.get("entry", "")),
            "check": name_of("checks", row.get("check")),
            "caution": name_of("cautions", row.get("caution")),
        }
        for row in rows or []
    ]


def sign_one(row: dict | None, authors: Authors) -> dict | None:
    return sign([row], authors)[0] if row else None


def lay_out_log(rows: list, authors: Authors) -> list[dict]:
    return [
        {
            "position": row.position,
            "kind": row.kind,
            "id": row.id,
            "chain": row.chain,
            "received_at": row.received_at,
            "device": authors.device(row.id),
        }
        for row in rows
    ]


def lay_out_photos(workshop: Workshop, document: dict, authors: Authors) -> list[dict]:
    rows = sign(document.get("photos"), authors)
    arrived = photos.list_arrived(workshop, [row["sha256"] for row in rows])
    return [{**row, "arrived": row["sha256"] in arrived} for row in rows if row["sha256"] != photos.NO_PHOTO]


def lay_out_vehicle(vehicle: dict) -> dict:
    assumed = vehicle.get("assumed") or []
    return {
        **vehicle,
        "layout": name_of("layouts", vehicle.get("layout")),
        "supply": name_of("supplies", vehicle.get("supply")),
        "assumed": [field for field in ("layout", "supply", "cylinders") if field in assumed],
    }


def is_elsewhere(document: dict, assessment: dict) -> bool:
    """True when the confirmed outcome, or the evidence, names a fault that is not the pump's: what is missing against the
    pump is then beside the point."""
    fault = (document.get("outcome") or assessment.get("conclusion") or {}).get("fault")
    status = (assessment.get("pump") or {}).get("status")
    return status == "open" and fault is not None and fault != PUMP_FAULT


def read_sheet(workshop: Workshop, case_id: str) -> dict:
    """All that a page about one case needs."""
    whole = cases.get_case(workshop, case_id)
    document, assessment = whole.document, whole.assessment
    authors = Authors(workshop, whole.log)
    pump = assessment.get("pump") or {}
    readings = lay_out_readings(whole, authors, open_workshop_book(workshop).instruments)
    return {
        "row": whole.row,
        "case": document,
        "assessment": assessment,
        "vehicle": lay_out_vehicle(document.get("vehicle") or {}),
        "complaints": [name_of("complaints", row) for row in document.get("complaints") or []],
        "differences": whole.differences,
        "readings": readings,
        "comparison": lay_out_comparison(document, readings),
        "retest": assessment.get("retest") or {"status": "not_due", "text": ""},
        "override": sign_one(document.get("gate_override"), authors),
        "pump_warning": pump.get("warning"),
        "voided": [lay_out_reading(row, None, authors) for row in document.get("voided") or []],
        "not_measured": [
            {**row, "name": name_of("quantities", row["quantity"])} for row in document.get("not_measured") or []
        ],
        "limits": lay_out_limits(document, readings),
        "instruments": lay_out_instruments(readings),
        "overdue": lay_out_overdue(workshop, document),
        "learnt": name_weights(workshop, assessment),
        "judged_under": name_limits(workshop, assessment),
        "is_elsewhere": is_elsewhere(document, assessment),
        "pump_missing": [name_of("quantities", row) for row in dict.fromkeys(pump.get("missing") or [])],
        "steps": lay_out_steps(document),
        "notes": sign(document.get("notes"), authors),
        "cautions": sign(document.get("cautions"), authors),
        "signed": sign(document.get("signed"), authors),
        "repairs": sign(document.get("repairs"), authors),
        "concluded": sign_one(document.get("concluded"), authors),
        "outcome": sign_one(document.get("outcome"), authors),
        "photos": lay_out_photos(workshop, document, authors),
        "rises": sign(document.get("rises"), authors),
        "log": lay_out_log(whole.log, authors),
        "erasures": [{**row, "by": authors.person(row["by"])} for row in erasure.list_erasures(whole.log)],
        "broken_at": log.verify_case(workshop, case_id),
        "faults": names()["faults"],
        **lay_out_talk(workshop, whole, authors),
    }
