"""Suspects and the next check: which fault the evidence speaks for, and what to look at next.

Rules for this file: the model is data (faults.json); this file only multiplies and adds. Posterior and information are
exact for that model.
Method: one fault at a time; each quantity has three outcomes (low, in, high), or its choices; P(outcome | fault) comes from
the fault's signs, from the quantity's small slip probability otherwise. A reading enters as graded evidence: its outcomes
weighted by the probability that the true value lies there, so a close reading moves belief little. Expected information of
a check is the sum over its unread quantities of the mutual information, at most the entropy left; its worth is information
per minute, intrusion charged as minutes. A check that must come first inherits the worth of what it opens.
Sources: Bayes' rule and mutual information are textbook (identities, from memory); information per cost after Pattipati
and Alexandridis, IEEE Trans. SMC 20 (1990) 872-887, as quoted in later abstracts.
"""

import math
from collections import namedtuple

from .book import Book, fits_vehicle
from .document import Case
from .verdicts import Finding

Suspect = namedtuple("Suspect", ("fault", "probability"))

LIKELIEST_IN = 0.005  # judgement: no sign is certain
CODE_FLOOR = 1e-3
COMPLAINT_MISFIT = 0.5  # judgement: a complaint that a fault does not usually cause halves its weight
LEAST_BITS = 1e-3
MIN_MINUTES = 1.0
NO_START = "no_start"
BEFORE = "before"


def outcome_names(quantity: dict) -> list:
    """Return the outcomes of a quantity in a fixed order."""
    if quantity["kind"] == "choice":
        return [choice["id"] for choice in quantity["choices"]]
    return ["in", "out"] if quantity["kind"] == "list" else ["low", "in", "high"]


def sign_outcomes(outcome: str, kind: str) -> list:
    """Return [(outcome of the quantity, share)] that a sign of faults.json stands for."""
    if kind == "list":
        return [("out", 1.0)]
    if outcome == "out":
        return [("low", 0.5), ("high", 0.5)]
    return [(outcome, 1.0)]


def outcome_table(fault: dict, quantity: dict, limit: dict) -> dict:
    """Return {outcome: P(outcome | fault)} of one quantity; sums to 1.

    Inputs: limit the profile's row, whose missing sides cannot be outcomes and whose good choices share the rest.
    """
    kind, names = quantity["kind"], outcome_names(quantity)
    inside = limit["good"] if kind == "choice" else ["in"]
    table = {name: 0.0 if name in inside else quantity["slip"] for name in names}
    for side in ("low", "high"):
        if kind == "number" and limit[side] is None:
            table[side] = 0.0
    for sign in fault["signs"]:
        if sign["quantity"] == quantity["id"]:
            for name, share in sign_outcomes(sign["outcome"], kind):
                if table.get(name):
                    table[name] = max(table[name], sign["probability"] * share)
    outside = sum([table[name] for name in names])
    if outside > 1.0 - LIKELIEST_IN:
        table = {name: table[name] * (1.0 - LIKELIEST_IN) / outside for name in names}
        outside = 1.0 - LIKELIEST_IN
    for name in inside:
        table[name] = (1.0 - outside) / len(inside)
    return table


def prior_weight(fault: dict, case: Case, book: Book) -> float:
    """Return the weight of a fault before any reading: its prior, stored codes and complaints."""
    weight = fault["prior"]
    for code in sorted(set(case.codes)):
        if code in book.codes:
            factors = {row["fault"]: row["factor"] for row in book.codes[code]["faults"]}
            weight *= max(factors.get(fault["id"], 1.0), CODE_FLOOR)
    if case.complaints and fault["complaints"] and not [c for c in case.complaints if c in fault["complaints"]]:
        weight *= COMPLAINT_MISFIT
    return weight


def fitting_faults(case: Case, book: Book) -> list:
    return [fault for fault in book.faults if fits_vehicle(fault, case.vehicle)]


def normalise(weights: list) -> list:
    total = sum(weights)
    return [w / total for w in weights]


def posterior(faults: list, findings: list, case: Case, book: Book) -> list:
    """Return P(fault | evidence) for the faults in their order; sums to 1."""
    limits = book.limits[case.chosen["profile"]]
    weights = normalise([prior_weight(fault, case, book) for fault in faults])
    for finding in findings:
        if finding.weights is None:
            continue
        quantity, limit = book.quantities[finding.quantity], limits[finding.quantity]
        tables = [outcome_table(fault, quantity, limit) for fault in faults]
        likely = [sum([share * table.get(name, 0.0) for name, share in finding.weights.items()]) for table in tables]
        if max(likely) > 0.0:
            weights = normalise([w * p for w, p in zip(weights, likely)])
    return weights


def entropy(probabilities: list) -> float:
    """Return the entropy in bits. Example: [.5, .25, .125, .125] gives 1.75."""
    return -sum([p * math.log(p) for p in probabilities if p > 0.0]) / math.log(2.0)


def expected_information(probabilities: list, tables: list, names: list) -> float:
    """Return the mutual information in bits between the fault and one observation.

    Inputs: probabilities P(fault); tables {outcome: P(outcome | fault)} in the same order; names of the outcomes.
    """
    gain = 0.0
    for name in names:
        joint = [p * table[name] for p, table in zip(probabilities, tables)]
        total = sum(joint)
        for part, p in zip(joint, probabilities):
            if part > 0.0:
                gain += part * math.log(part / (p * total))
    return max(gain / math.log(2.0), 0.0)


def check_bits(check: dict, wanted: list, faults: list, probabilities: list, case: Case, book: Book) -> float:
    """Return the information in bits that the unread quantities of a check can give, at most the entropy left."""
    limits = book.limits[case.chosen["profile"]]
    total = 0.0
    for name in wanted:
        quantity, limit = book.quantities[name], limits.get(name)
        if limit is not None:
            tables = [outcome_table(fault, quantity, limit) for fault in faults]
            total += expected_information(probabilities, tables, outcome_names(quantity))
    return min(total, entropy(probabilities))


def can_be_read(quantity: dict, case: Case) -> bool:
    """True when the vehicle has the quantity and, for one that needs a running engine, the engine starts at all."""
    runs = NO_START not in case.complaints
    return fits_vehicle(quantity, case.vehicle) and (runs or quantity["state"] != "running")


def wanted_quantities(check: dict, read: dict, case: Case, book: Book, missed_too: bool) -> list:
    """Return the quantities of a check still to be read on this vehicle; doubted and unclear ones are asked again."""
    wanted = []
    for name in check["quantities"]:
        finding = read.get(name)
        settled = finding is not None and finding.doubt is None and finding.verdict != "unclear"
        if can_be_read(book.quantities[name], case) and not settled:
            if missed_too or name not in case.not_measured[BEFORE] or finding is not None:
                wanted.append(name)
    return wanted


def check_cost(check: dict, case: Case) -> float:
    """Return minutes plus the charge for intrusion [min]."""
    return max(check["minutes"] + case.chosen["intrusion_minutes"][check["intrusion"]], MIN_MINUTES)


def candidate_checks(case: Case, read: dict, book: Book, missed_too: bool) -> dict:
    """Return {check id: quantities to read} of the checks that fit and still have something to read."""
    rows = {}
    for name in book.check_order:
        check = book.checks[name]
        if name == "retest" or not fits_vehicle(check, case.vehicle):
            continue
        wanted = wanted_quantities(check, read, case, book, missed_too)
        if wanted:
            rows[name] = wanted
    return rows


def worth_with_openings(worth: dict, waiting: dict) -> dict:
    """Return each check's worth, at least that of any check that waits for it (repeated until nothing changes)."""
    raised = dict(worth)
    for _ in range(len(worth)):
        before = dict(raised)
        for name in sorted(waiting):
            for first in waiting[name]:
                raised[first] = max(raised[first], raised[name])
        if raised == before:
            break
    return raised


def rank_checks(faults: list, probabilities: list, findings: list, case: Case, book: Book) -> list:
    """Return what to do next, best first, as rows of CASE.md 'next'.

    Checks whose prerequisites are still unread come after those that can be done now. What could not be measured is
    asked for again only when nothing else is left.
    """
    read = {f.quantity: f for f in findings}
    rows = candidate_checks(case, read, book, False) or candidate_checks(case, read, book, True)
    bits = {name: check_bits(book.checks[name], rows[name], faults, probabilities, case, book) for name in rows}
    waiting = {name: [first for first in book.checks[name]["needs"] if first in rows] for name in rows}
    worth = {name: bits[name] / check_cost(book.checks[name], case) for name in rows}
    raised = worth_with_openings(worth, waiting)
    useful = [name for name in rows if raised[name] * check_cost(book.checks[name], case) > LEAST_BITS]
    useful.sort(key=lambda name: (len(waiting[name]) > 0, -raised[name], book.checks[name]["order"]))
    return [next_row(book.checks[name], rows[name], bits[name], waiting[name], read, book) for name in useful]


def next_row(check: dict, wanted: list, bits: float, waiting: list, read: dict, book: Book) -> dict:
    """Return one row of CASE.md 'next', with the reason in words."""
    again = [name for name in wanted if name in read]
    if waiting:
        first = " and ".join([book.checks[name]["name"].lower() for name in waiting])
        reason = f"After {first}."
    elif again:
        names = ", ".join([book.quantities[name]["name"].lower() for name in again])
        reason = f"The reading of {names} does not decide anything yet; take it again."
    else:
        reason = check["purpose"]
    return {
        "check": check["id"], "name": check["name"], "quantities": wanted, "bits": bits, "minutes": check["minutes"],
        "intrusion": check["intrusion"], "ready": not waiting, "reason": reason,
    }  # fmt: skip


def list_suspects(faults: list, probabilities: list) -> list:
    """Return Suspect rows, most probable first."""
    rows = [Suspect(fault, p) for fault, p in zip(faults, probabilities)]
    return sorted(rows, key=lambda s: (-s.probability, s.fault["id"]))


def bad_cylinders(findings: list) -> list:
    """Return the cylinders that the failing list readings name."""
    names: set = set()
    for finding in findings:
        if finding.verdict == "fail" and finding.row["detail"].get("cylinders"):
            names.update(finding.row["detail"]["cylinders"])
    return sorted(names)


def suspect_rows(suspects: list, findings: list) -> list:
    """Return suspects as CASE.md has them; injectors with the cylinders that the readings name."""
    cylinders = bad_cylinders(findings)
    return [
        {
            "fault": s.fault["id"],
            "name": s.fault["name"],
            "probability": s.probability,
            "detail": {"cylinders": cylinders} if s.fault["component"] == "injectors" and cylinders else {},
        }
        for s in suspects
    ]


def has_proof(fault: dict, read: dict) -> bool:
    """True when a reading that proves the fault failed; a fault without signs needs its proof readings to pass."""
    wanted = [read[name] for name in fault["proof"] if name in read]
    if fault["signs"]:
        return bool([f for f in wanted if is_failing(f)])
    return bool(wanted) and not [f for f in wanted if f.verdict != "pass" or f.doubt is not None]


def is_failing(finding: Finding) -> bool:
    return finding.verdict == "fail" and finding.doubt is None
