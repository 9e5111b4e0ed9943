"""Judging a case: verdicts, suspects, the pump's standing, the ledger, what to do next, and the conclusion.

Rules for this file: no rule of its own beyond putting the parts together and deciding when enough is known.
Method: readings before the repair are the evidence for the fault, readings after it are the evidence for the repair. A
conclusion needs the asked probability, a failed reading that proves it, and the checks that make that reading valid
(battery, fuel, sensor); the pump needs its whole gate besides.
Source: the case contract, 'Assessment'.
"""

from . import ENGINE_VERSION
from .book import Book
from .budget import leak_budget
from .document import Case, read_case, read_folded
from .isolation import (
    OTHER,
    Suspect,
    by_fault,
    doubt_misfits,
    has_proof,
    list_suspects,
    open_model,
    suspect_rows,
)
from .ledger import check_gate, fitting_quantities, judge_pump, quantity_words, write_ledger
from .limits import resolve_limits
from .planning import chain_of, check_minutes, lacks_equipment, must_be_read, rank_checks, wanted_quantities
from .quantity import PHASES
from .verdicts import fails, is_evidence, judge_phase, latest_readings, repeated_quantities

FORMAT = "railcase-assessment/1"
PUMP_FAULT = "pump_worn"
PUMP_TWIN = "metering_valve_seized"
FIRST_CHECK = "intake"
RETEST = "retest"
BEFORE, AFTER = PHASES
MOST_SHOWN = 0.99
TWIN_NAMED = 0.01  # judgement: from this belief on a twin of the pump is named beside it
PAIR_NAMED = 0.10  # judgement: from this belief on a pump that may be weak as well is spoken of
STALE = "There was a repair since: take again what it may have changed, the readings from before it still count."


def prerequisites(fault: dict, read: dict, case: Case, book: Book) -> list:
    """Return (check, quantities) that must be read before the fault's proof may be believed: battery, fuel, sensor...

    These are the checks that the proving check needs, and theirs in turn. What could not be measured is not waited for;
    it stays missing in the ledger.
    """
    proving = [
        name for name in book.check_order if name != RETEST
        and [q for q in book.checks[name]["quantities"] if q in fault["proof"] and q in read]
    ]  # fmt: skip
    needs = {name: book.checks[name]["needs"] for name in book.check_order}
    wanted = [first for name in proving for first in chain_of(name, needs)[1:]]
    rows = []
    for name in book.check_order:
        if name in wanted:
            unread = must_be_read(book.checks[name], wanted_quantities(book.checks[name], read, case, book, False))
            if unread:
                rows.append((book.checks[name], unread))
    return rows


def write_share(probability: float) -> str:
    """Return a probability in words; never 100 %, which no evidence gives."""
    return f"{100.0 * probability:.0f} %" if probability < MOST_SHOWN else f"over {100.0 * MOST_SHOWN:.0f} %"


def belief_in(name: str, suspects: list) -> float:
    return sum([s.probability for s in suspects if s.fault["id"] == name])


def pump_belief(suspects: list) -> float:
    """Return the belief that counts for the pump: its own, with that of a metering valve that no reading can tell from it.

    Only while the pump itself is the likelier of the two.
    """
    pump, twin = belief_in(PUMP_FAULT, suspects), belief_in(PUMP_TWIN, suspects)
    return pump + twin if pump > twin else pump


def family_belief(first: dict, suspects: list) -> float:
    """Return the belief in a fault with the pairs it is part of and its own parts, where they ask for the same repair."""
    names = [first["id"]] + first["like"]
    return sum([
        s.probability for s in suspects
        if s.fault["component"] == first["component"] and (s.fault["id"] in names or first["id"] in s.fault["like"])
    ])  # fmt: skip


def without_pump(suspect: Suspect, suspects: list) -> Suspect:
    """Return the suspect that a conclusion may name: of a pair with the pump its other part, the pump has its own gate."""
    if PUMP_FAULT not in suspect.fault["like"]:
        return suspect
    others = [name for name in suspect.fault["like"] if name != PUMP_FAULT]
    return next(s for s in suspects if s.fault["id"] in others)  # type: ignore[no-any-return]


def write_doubts(named: Suspect, suspects: list) -> str:
    """Return what the conclusion's sentence adds about a twin of the pump, or about a pump that may be weak as well."""
    if named.fault["id"] == PUMP_FAULT:
        twin = belief_in(PUMP_TWIN, suspects)
        if twin > TWIN_NAMED:
            share = write_share(twin)
            return f", {share} of it for a metering valve seized part closed, which reads the same: look at it first"
        return ""
    both = sum([s.probability for s in suspects if PUMP_FAULT in s.fault["like"] and named.fault["id"] in s.fault["like"]])
    if both > PAIR_NAMED:
        return f", {write_share(both)} that the pump is weak as well: that shows only once this is right and measured again"
    return ""


def belief_that_counts(named: Suspect, pump: dict, suspects: list) -> float:
    """Return the belief that a conclusion on this suspect rests on."""
    return pump["probability"] if named.fault["id"] == PUMP_FAULT else family_belief(named.fault, suspects)  # type: ignore[no-any-return]


def conclude(suspects: list, read: dict, pump: dict, case: Case) -> dict | None:
    """Return the conclusion {fault, name, probability, action, confirm_by, detail, text}, None while there is none."""
    first = without_pump(suspects[0], suspects)
    is_pump = first.fault["id"] == PUMP_FAULT
    belief = belief_that_counts(first, pump, suspects)
    if belief < case.chosen["pump_probability"] or not has_proof(first.fault, read):
        return None
    if is_pump and pump["status"] != "condemned":
        return None
    row = suspect_rows([first], list(read.values()))[0]
    cylinders = row["detail"].get("cylinders", [])
    where = f" (cylinder {', '.join([str(c) for c in cylinders])})" if cylinders else ""
    sure = f"{write_share(belief)} on the evidence recorded{write_doubts(first, suspects)}"
    return {
        "fault": first.fault["id"],
        "name": first.fault["name"],
        "probability": belief,
        "action": first.fault["action"],
        "confirm_by": first.fault["confirm_by"],
        "detail": row["detail"],
        "text": f"{first.fault['name']}{where}: {sure}. {first.fault['action']}",
    }


def write_override(case: Case) -> dict | None:
    """Return who took responsibility for naming the pump before its gate was answered, None when nobody did."""
    if case.gate_override is None:
        return None
    return {key: case.gate_override.get(key) for key in ("reason", "by", "at")}


def warn_of_pump(case: Case, pump: dict, book: Book) -> str | None:
    """Return a warning when somebody named the pump short of proof and nobody answers for it in writing."""
    named = (case.concluded or {}).get("fault") == PUMP_FAULT
    if not named or pump["status"] == "condemned" or pump["override"] is not None:
        return None
    missing = [name for name in book.quantity_order if name in pump["missing"]]
    if missing:
        return f"The pump was named although evidence is missing: {quantity_words(missing, book)}."
    return "The pump was named although the evidence recorded does not prove it."


def judge_retest(case: Case, after: dict, book: Book) -> dict:
    """Return the standing of the repair: {status, text}, the text one sentence.

    Status: not_due, due (readings of the retest are missing), passed (all of them pass), failed (a reading after the
    repair fails), unclear (one is doubted or unclear, or could not be measured).
    """
    if case.state != "repaired" and not (case.state == "confirmed" and case.repaired):
        return {"status": "not_due", "text": STALE if case.repaired else "No retest is due."}
    wanted = fitting_quantities(book.checks[RETEST]["quantities"], case.vehicle, book)
    unread = [name for name in wanted if name not in after]
    still = [name for name in unread if name not in case.not_measured[AFTER] and case.state == "repaired"]
    vague = [name for name in wanted if name in after and not is_evidence(after[name])]
    standings = (
        ("failed", [name for name in book.quantity_order if fails(after.get(name))], "outside limits after the repair"),
        ("unclear", vague, "what was read after the repair decides nothing, take again"),
        ("due", still, "still to be read after the repair"),
        ("unclear", unread, "not measured after the repair"),
        ("passed", wanted, "within limits after the repair"),
    )
    status, names, words = next(row for row in standings if row[1])
    verb = "is" if status in ("due", "unclear") else "has"
    return {"status": status, "text": f"The retest {verb} {status}, {words}: {quantity_words(names, book)}."}


def step_row(check: dict, quantities: list, reason: str, case: Case, book: Book) -> dict:
    return {
        "check": check["id"], "name": check["name"], "quantities": quantities, "bits": 0.0,
        "minutes": check_minutes(check, quantities, case.vehicle, book), "intrusion": check["intrusion"], "ready": True,
        "reason": reason,
    }  # fmt: skip


def wants_intake(case: Case) -> bool:
    """True when a case that is kept by checklist has had nothing done yet."""
    return case.steps is not None and not case.steps and not case.readings and not case.not_measured[BEFORE]


def retest_rows(case: Case, after: dict, book: Book) -> list:
    """Return the retest as the next check while readings after the repair are missing."""
    check = book.checks[RETEST]
    unread = [name for name in check["quantities"] if name not in after or not is_evidence(after[name])]
    wanted = [] if lacks_equipment(check, case) else [name for name in unread if name not in case.not_measured[AFTER]]
    return [step_row(check, wanted, "Repeat the tests after the repair.", case, book)] if wanted else []


def rows_for(names: list, reason: str, read: dict, case: Case, book: Book, ranked: list) -> list:
    """Return the checks that record some quantities still to be read, asked for these alone, those worth most first."""
    rows = []
    for name in book.check_order:
        check = book.checks[name]
        wanted = [] if name == RETEST else [q for q in wanted_quantities(check, read, case, book, False) if q in names]
        if wanted:
            rows.append(step_row(check, wanted, reason, case, book))
    order = [row["check"] for row in ranked]
    return sorted(rows, key=lambda r: (order.index(r["check"]) if r["check"] in order else len(order), r["check"]))


def last_words(suspects: list, pump: dict, read: dict, case: Case, book: Book, ranked: list) -> list:
    """Return what a conclusion on the first suspect still asks for: its proof, or the gate of the pump."""
    first = suspects[0].fault
    if first["id"] == PUMP_FAULT:
        return rows_for(pump["missing"], "Needed before the pump may be blamed.", read, case, book, ranked)
    return rows_for(first["proof"], "Would prove or clear the first suspect.", read, case, book, ranked)


def is_sure(suspects: list, pump: dict, case: Case) -> bool:
    """True when the belief in the first suspect is all that a conclusion asks for; what is left is its proof."""
    first = without_pump(suspects[0], suspects)
    return first.fault["id"] != OTHER and belief_that_counts(first, pump, suspects) >= case.chosen["pump_probability"]


def plan_next(
    case: Case, conclusion: dict | None, first: list, after: dict, ranked: list, last_rows: list, sure: bool, book: Book
) -> list:
    """Return the next checks for the state that the case is in; `first` must be read before a conclusion may stand."""
    if case.state == "repaired":
        return retest_rows(case, after, book)
    if conclusion is not None or case.state != "open":
        return []
    if wants_intake(case) and FIRST_CHECK in book.checks and not lacks_equipment(book.checks[FIRST_CHECK], case):
        check = book.checks[FIRST_CHECK]
        return [step_row(check, [], check["purpose"], case, book)] + ranked
    if first:
        return [step_row(check, unread, "Needed before the finding can be believed.", case, book) for check, unread in first]
    return (last_rows or ranked) if sure else (ranked or last_rows)


def assess(case: Case, book: Book) -> dict:
    """Return the assessment of a checked case (CASE.md, with ledger, texts and names added)."""
    findings, notes = judge_phase(case, BEFORE, book)
    limits = resolve_limits(case.chosen, latest_readings(case.readings, BEFORE), book)
    model = open_model(case, book)
    findings, weights = doubt_misfits(model, findings, limits, repeated_quantities(case.readings, BEFORE), book)
    notes = notes + [f.doubt for f in findings if f.doubt is not None and f.doubt not in notes]
    after_findings, after_notes = judge_phase(case, AFTER, book)
    read = {f.quantity: f for f in findings}
    after = {f.quantity: f for f in after_findings if f.row["reading"] not in case.earlier_retests}
    suspects = list_suspects(model.faults, by_fault(model, weights))
    gate = check_gate(case, read, book)
    pump = judge_pump(case, read, gate, pump_belief(suspects), book)
    pump["override"] = write_override(case)
    pump["warning"] = warn_of_pump(case, pump, book)
    conclusion = conclude(suspects, read, pump, case)
    first = prerequisites(suspects[0].fault, read, case, book) if conclusion is not None else []
    conclusion = None if first else conclusion
    ranked = rank_checks(model, weights, findings, case, book)
    last_rows = last_words(suspects, pump, read, case, book, ranked)
    budget = leak_budget(findings, case, book)
    return {
        "format": FORMAT,
        "case": case.id,
        "engine": ENGINE_VERSION,
        "limits": {key: case.chosen[key] for key in ("profile", "version", "weights")},
        "verdicts": [f.row for f in findings + after_findings],
        "suspects": suspect_rows(suspects, findings),
        "pump": pump,
        "ledger": write_ledger(case, suspects, read, pump, gate, budget, book),
        "leak_budget": budget,
        "next": plan_next(case, conclusion, first, after, ranked, last_rows, is_sure(suspects, pump, case), book),
        "conclusion": conclusion,
        "retest": judge_retest(case, after, book),
        "notes": case.notes + ([pump["warning"]] if pump["warning"] else []) + notes + after_notes,
    }


def judge_case(case: object, book: Book) -> dict:
    """Judge a case document.

    Inputs: case any JSON value; book from open_book.
    Returns: the assessment. Refuses: every problem of the document in one EngineError.
    """
    return assess(read_case(case, book), book)


def judge_folded(case: dict, book: Book) -> dict:
    """Judge a case that was folded from entries; readings that do not fit the vehicle are set aside with a note."""
    return assess(read_folded(case, book), book)
