"""What the PDF says, as plain JSON for its template: every value a text, every drawing an SVG with its words beside it.

Rules for this file: no markup and no layout; what is said in plain words comes from `plain`, what was read from the sheet.
"""

import re

from webapp.circuit import draw_circuit
from webapp.library.loader import load_catalogue
from webapp.report.plain import explain, tell_in_one_line
from webapp.report.returns import lay_out_returns
from webapp.report.rise import lay_out_rises
from webapp.wording import LEDGER, PUMP, SHAPES, VERDICTS, write_day_and_time

PAPERS = {"a4": "a4", "letter": "us-letter"}
# what is ours already and must not be broken into lines or looked through letter by letter
OURS = ("svg", "shape", "seal", "case", "paper")
LABEL = re.compile(r' aria-label="[^"]*"')
SVG_STYLE = """<style>
text { fill: #16211f; stroke: none; font-family: "Libertinus Serif"; font-size: 17px; }
.circuit { stroke-width: 2.5; } .circuit .ground { fill: #fff; } .circuit .solid { fill: #16211f; }
.part-name { font-weight: 600; } .part-shape { fill: #16211f; stroke: none; }
.part-shape.hollow { fill: none; stroke: #16211f; stroke-width: 2.5; }
.part-ruled_out { stroke-width: 1.5; } .part-ruled_out .part-name { font-weight: 400; }
.part-points_here { stroke-width: 3.5; } .part-points_here text { font-weight: 700; }
.rise { fill: none; stroke: #16211f; stroke-width: 1; } .label { font-weight: 600; } .grid { stroke: #b9b3a2; }
.curve { stroke-width: 2.5; } .start { stroke-width: 2; } .target { stroke-width: 1.5; }
</style>"""


def stand_alone(svg) -> str:
    """A drawing of the pages as a file of its own: it carries its name space, its style and its ink.

    Its labels go: they stand beside it as words, and what people wrote need not be good XML.
    """
    head, _, rest = LABEL.sub("", str(svg)).partition(">")
    return f'{head} xmlns="http://www.w3.org/2000/svg" color="#16211f">{SVG_STYLE}{rest}' if rest else ""


def draw_sign(name: str) -> str:
    """The shape that goes before a word."""
    hollow = name in ("unclear", "open", "locked")
    ink = 'fill="none" stroke="#16211f" stroke-width="2.5"' if hollow else 'fill="#16211f"'
    path = SHAPES.get(name, SHAPES["unclear"])
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 24 24"><path {ink} d="{path}"/></svg>'


def write_verdict(row: dict | None) -> dict:
    if row is None:
        return {"value": "", "word": "Not measured", "shape": ""}
    name = row["verdict"]
    word = VERDICTS.get(name, name) + (", close" if row["close"] else "") if name else "Not judged"
    return {"value": row["value"], "word": word, "shape": draw_sign(name) if name else ""}


def write_stamp(row: dict) -> str:
    return ", ".join(part for part in (row.get("by"), write_day_and_time(row.get("at")), row.get("device")) if part)


def lay_out_reading(row: dict) -> dict:
    phase = "after the repair" if row["phase"] == "after_repair" else ""
    doubt = f"In doubt: {row['doubt']}" if row["doubt"] else ""
    return {
        **write_verdict(row), "name": row["name"], "phase": phase, "uncertainty": row["uncertainty"],
        "limit": row["limit"] or "no limit set", "basis": row["basis"],
        "instrument": row["read_with"] or row["instrument"].lower(),
        "stamp": write_stamp(row), "doubt": doubt,
    }  # fmt: skip


def lay_out_facts(found: dict) -> list[list[str]]:
    vehicle, assessment = found["vehicle"], found["assessment"]
    facts = [
        ["Layout", vehicle["layout"]],
        ["Supply", vehicle["supply"]],
        ["Cylinders", str(vehicle.get("cylinders") or "not given")],
        ["Stored codes", ", ".join(found["case"].get("codes") or []) or "none recorded"],
        ["Limits", found["judged_under"] or "not judged"],
        *([["Weights of the faults", found["learnt"]]] if found["learnt"] else []),
        ["Judged by", f"engine {assessment['engine']}" if assessment.get("engine") else "not judged"],
        ["The pump", PUMP.get(found["row"].pump or "", "Pump not judged")],
    ]
    assumed = [["Safe default for", ", ".join(vehicle["assumed"])]] if vehicle["assumed"] else []
    return facts + assumed


def write_difference(row: dict, faults: dict) -> str:
    subject = {"fault": "Conclusion", "pump": "Pump", "engine": "Program", "limits": "Limits"}.get(row["what"])
    words = {"verdict": VERDICTS, "fault": faults, "pump": PUMP}.get(row["what"], {})
    phone, server = (words.get(row[side], row[side]) or "nothing" for side in ("phone", "server"))
    return f"{subject or row['subject']}: on the phone {phone}; here {server}"


def write_instruments(rows: list[dict]) -> list[str]:
    texts = [f"{row['name']} ({row['count']} reading{'' if row['count'] == 1 else 's'})" for row in rows]
    return [f"{'; '.join(texts)}."] if texts else []


def write_overdue(row: dict) -> str:
    due = f"due {row['due_on']}" if row["due_on"] else "not calibrated yet on that day"
    return f"{row['reading']}: {row['name']}, no. {row['serial']}, {due}"


def write_review(row: dict) -> str:
    return ": ".join(part for part in (f"By {write_stamp(row)}", row.get("text")) if part)


def list_remarks(found: dict) -> list[list]:
    """Headings with their lines, for what is a plain list; empty ones are left out."""
    parts = [
        ["Pump named all the same", [f"{write_stamp(row)}: {row['reason']}" for row in [found["override"]] if row]],
        ["Could not be measured", [f"{row['name']}: {row['reason']}" for row in found["not_measured"]]],
        ["Struck out, kept in the log", [f"{row['name']}, {row['value']}: {row['reason']}" for row in found["voided"]]],
        ["Remarks on the readings", found["assessment"].get("notes") or []],
        ["Where the phone's answer differs", [write_difference(row, found["faults"]) for row in found["differences"]]],
        ["What leaks, in figures", (found["assessment"].get("leak_budget") or {}).get("text") or []],
        ["Repairs", [f"{write_stamp(row)}: {row['text']}" for row in found["repairs"]]],
        ["Notes", [f"{write_stamp(row)}: {row['text']}" for row in found["notes"]]],
        ["Measured with", write_instruments(found["instruments"])],
        ["Read with an instrument whose calibration was overdue", [write_overdue(row) for row in found["overdue"]]],
        ["Personal data erased", [f"{write_stamp(row)}: {row['reason']}" for row in found["erasures"]]],
        ["Cautions read", [f"{row['caution']}: {write_stamp(row)}" for row in found["cautions"]]],
        ["Countersigned", [write_review(row) for row in [found["review"]] if row]],
        ["Signed off", [f"{row['check'] or 'Case'}: {write_stamp(row)}" for row in found["signed"]]],
    ]
    return [part for part in parts if part[1]]


def write_source(row: dict) -> str:
    source = row["source"]
    if not source:
        return row["basis"]
    return ", ".join(str(part) for part in [row["basis"], *source.values()] if part)


def lay_out_charts(found: dict) -> list[dict]:
    rises = lay_out_rises(found["rises"], found["voided"])
    rows = [
        {"title": "Recorded rise", "svg": stand_alone(row["svg"]), "caption": row["caption"],
         "lines": [write_stamp(row), *(["A reading taken from this curve was struck out."] if row["struck"] else []),
                   *(row.get("warnings") or [])]}
        for row in rises
    ]  # fmt: skip
    returns = lay_out_returns(found["assessment"].get("verdicts") or [])
    return rows + [
        {"title": "Injector return", "svg": stand_alone(row["svg"]), "caption": row["caption"], "lines": []}
        for row in returns
    ]


def lay_out_seal(found: dict) -> dict:
    last = found["log"][-1]
    people = sorted({row["device"] for row in found["log"]})
    return {
        "case": found["row"].id, "entries": len(found["log"]), "seal": last["chain"],
        "last": write_day_and_time(last["received_at"]), "devices": ", ".join(people),
        "broken": f"The log was altered from entry {found['broken_at']} on. Do not rely on this report."
        if found["broken_at"] else "",
    }  # fmt: skip


def lay_out_circuit(ledger: list[dict]) -> dict:
    words = " ".join(f"{row['name']}: {LEDGER[row['status']].lower()}." for row in ledger)
    return {"svg": stand_alone(draw_circuit(ledger)), "alt": f"The fuel circuit. {words}"}


def lay_out_head(found: dict) -> dict:
    """What the customer reads first."""
    vehicle = found["vehicle"]
    label, headline = tell_in_one_line(found)
    return {
        "title": vehicle.get("registration") or vehicle.get("description") or "Case without a registration",
        "description": vehicle.get("description") or "",
        "vin": vehicle.get("vin") or "",
        "opened": write_day_and_time(found["case"].get("opened_at")),
        "updated": write_day_and_time(found["row"].updated_at),
        "label": label,
        "headline": headline,
        "warning": found["pump_warning"] or "",
        "plain": [[heading, [text for text in sentences if text]] for heading, sentences in explain(found)],
    }


def lay_out_tables(found: dict, ledger: list[dict]) -> dict:
    return {
        "facts": lay_out_facts(found),
        "comparison": [
            {"name": row["name"], "before": write_verdict(row["before"]), "after": write_verdict(row["after"])}
            for row in found["comparison"]
        ],
        "ledger": [
            {"name": row["name"], "word": LEDGER[row["status"]], "shape": draw_sign(row["status"]), "text": row["text"]}
            for row in ledger
        ],
        "readings": [lay_out_reading(row) for row in found["readings"]],
        "limits": [{**row, "basis": write_source(row)} for row in found["limits"]],
    }


def lay_out_page(found: dict, workshop_name: str, paper: str, pictures: list[dict]) -> dict:
    """Everything the template prints."""
    ledger = found["assessment"].get("ledger") or []
    caution = next(row for row in load_catalogue()["cautions"] if row["id"] == "office_report")
    return {
        "paper": PAPERS[paper],
        "workshop": workshop_name,
        **lay_out_head(found),
        "circuit": lay_out_circuit(ledger),
        "caution": {"signal": caution["signal"], "title": caution["title"], "text": caution["text"]},
        **lay_out_tables(found, ledger),
        "charts": lay_out_charts(found),
        "remarks": list_remarks(found),
        "pictures": pictures,
        "seal": lay_out_seal(found),
    }
