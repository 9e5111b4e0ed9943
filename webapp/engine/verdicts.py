"""Verdicts: each reading that counts against its limit, in numbers and in one sentence.

Rules for this file: the latest valid reading of a quantity and phase counts, all feed the repeatability; a doubted
reading gets a verdict but no evidence; words first, since a person reads this on a phone in the rain.
Method: resolve limits, combine instrument uncertainty with repeats, conformance probability, decision rule.
Source: the case contract, 'Assessment'; JCGM 106:2012 through limits.py, GUM through uncertainty.py.
"""

import math
from collections import namedtuple

from .book import Book
from .document import Case
from .levels import level_weights, limit_kind, list_coordinate, to_coordinate
from .limits import CLOSE_ABOVE, Limit, decide, is_close, number_within, resolve_limits
from .quantity import Reading
from .returns import Comparison, compare_cylinders, grubbs_note
from .uncertainty import combine_uncertainty, repeat_term

# weights: {outcome: probability} of the graded evidence, None where the reading may not count as evidence
Finding = namedtuple("Finding", ("row", "quantity", "phase", "verdict", "weights", "doubt"))

WORDS = {"pass": "within limits", "fail": "outside limits", "unclear": "unclear"}
MOST_DECIMALS = 3  # of a bound in words; judgement: no gauge of this trade is read finer
TARGET_TOLERANCE = 0.01
AGREEMENT = 0.1  # judgement: two readings of one thing agree within 10 %


def latest_readings(readings: list, phase: str) -> dict:
    """Return {quantity id: Reading} of the last reading of each quantity in a phase, doubts lifted where repeats agree."""
    latest = {r.quantity: r for r in readings if r.phase == phase}
    return {name: lift_doubt(latest[name], readings) for name in latest}


def agrees(first: Reading, other: Reading) -> bool:
    """True when two readings of one quantity lie within AGREEMENT, or within three standard uncertainties, of each other."""
    if first.kind == "choice":
        return first.value == other.value  # type: ignore[no-any-return]
    is_list = first.kind == "list"
    rows = (
        zip(first.value, other.value, first.uncertainty, other.uncertainty)
        if is_list
        else [(first.value, other.value, first.uncertainty, other.uncertainty)]
    )
    if is_list and len(first.value) != len(other.value):
        return False
    return not [
        1 for a, b, u, w in rows if abs(a - b) > max(AGREEMENT * max(abs(a), abs(b)), 3.0 * math.sqrt(u * u + w * w))
    ]


def lift_doubt(reading: Reading, readings: list) -> Reading:
    """Return the reading without its doubt when an earlier one of the same quantity and phase agrees with it.

    One hardly possible value is a slip; the same value taken twice is what the vehicle shows (an open coil, say).
    """
    same = [r for r in readings if r.quantity == reading.quantity and r.phase == reading.phase and r is not reading]
    if reading.doubt is None or not [r for r in same if agrees(r, reading)]:
        return reading
    return Reading(
        reading.id, reading.quantity, reading.kind, reading.value, reading.uncertainty, reading.duration_s, reading.state,
        reading.phase, reading.target_bar, None,
    )  # fmt: skip


def repeated_quantities(readings: list, phase: str) -> list:
    """Return the quantities whose last reading agrees with an earlier one of the same phase."""
    latest = latest_readings(readings, phase)
    same = [r for r in readings if r.phase == phase and r.id != latest[r.quantity].id]
    return [r.quantity for r in same if agrees(r, latest[r.quantity])]


def write_number(value: float, decimals: int) -> str:
    """Return a number with fixed decimals, as the quantity's display has it."""
    return ("%." + str(decimals) + "f") % value


def write_bound(value: float, decimals: int) -> str:
    """Return a bound as the quantity's display has it, with one more digit where that would change it (310.5).

    Never more than three: 0.4016 V, which follows another reading, is no better known than 0.402 V.
    """
    text = write_number(value, decimals)
    return text if float(text) == value else write_number(value, min(decimals + 1, MOST_DECIMALS))


def write_limit(limit: Limit, quantity: dict) -> str:
    """Return a limit in words, such as 'at least 285 bar'."""
    if quantity["kind"] == "choice":
        names = {c["id"]: c["name"] for c in quantity["choices"]}
        return "should be " + " or ".join([names[g].lower() for g in limit.good])
    unit, decimals = quantity["unit"], quantity["decimals"]
    low = None if limit.low is None else write_bound(limit.low, decimals)
    high = None if limit.high is None else write_bound(limit.high, decimals)
    if low is not None and high is not None:
        return f"{low} to {high} {unit}"
    if low is not None:
        return f"at least {low} {unit}"
    if high is not None:
        return f"at most {high} {unit}"
    if limit.ratio_high is not None:
        return f"each at most {limit.ratio_high:g} times the others"
    return "no limit set"


def number_uncertainty(reading: Reading, readings: list) -> float:
    """Return the standard uncertainty of a number with that of its repeats; a rise to another target is none."""
    same = [r for r in readings if r.quantity == reading.quantity and r.phase == reading.phase and r.doubt is None]
    repeats = [r.value for r in same if None in (r.target_bar, reading.target_bar) or r.target_bar == reading.target_bar]
    return combine_uncertainty([reading.uncertainty, repeat_term(repeats)])


def number_weights(value: float, u: float, limit: Limit) -> dict | None:
    """Return the probabilities that the true value lies in each level; None where the limit has no coordinate."""
    kind = limit_kind(limit)
    if kind is None:
        return None
    coordinate, scale = to_coordinate(value, limit)
    side_u = combine_uncertainty([u, max(limit.low_u, limit.high_u)])
    return level_weights(coordinate, side_u * scale, kind)


def list_weights(found: Comparison, sizes: list, values: list, limit: Limit) -> dict:
    """Return the levels of the worst cylinder, or in and out where only a spread or plain limits apply."""
    if limit_kind(limit) != "list":
        return {"in": found.probability, "out": 1.0 - found.probability}
    coordinate = list_coordinate(found, limit)
    worst = max(values)
    relative = math.sqrt(2.0) * max(sizes) / worst if worst > 0.0 else 0.0
    return level_weights(coordinate, coordinate * relative, "list")


def timed_to_another_target(reading: Reading, limit: Limit, inside: bool) -> bool:
    """True when a rise was timed to a target that says nothing about the limit's own.

    In time to a higher target, or late already at a lower one, still decides.
    """
    wanted, target = limit.target_bar, reading.target_bar
    if wanted is None or target is None or abs(target - wanted) <= TARGET_TOLERANCE * wanted:
        return False
    return inside if target < wanted else not inside


def sentence(name: str, shown: str, limit_words: str, verdict: str, close: bool, probability: float | None) -> str:
    words = WORDS[verdict]
    if close and probability is not None:
        words += f", but close ({100.0 * probability:.0f} % sure that it is within)"
    return f"{name} {shown} ({limit_words}): {words}."


def base_row(reading: Reading, quantity: dict, limit: Limit, case: Case, verdict: str) -> dict:
    """Return what every verdict row holds."""
    return {
        "reading": reading.id, "quantity": quantity["id"], "name": quantity["name"], "phase": reading.phase,
        "verdict": verdict, "close": False, "value": reading.value, "unit": quantity["unit"],
        "low": limit.low, "high": limit.high, "standard_uncertainty": None, "probability_within": None,
        "rule": case.chosen["rule"], "basis": limit.basis, "reason": "", "text": "", "detail": {},
        "doubt": reading.doubt, "limit_text": write_limit(limit, quantity),
    }  # fmt: skip


def explain_rule(case: Case, limit: Limit) -> str:
    """Return how the verdict was reached: rule, basis of the limit, what the limit followed."""
    if case.chosen["rule"] == "simple":
        rule = "The value itself decides"
    else:
        rule = f"Pass or fail only with {100.0 * case.chosen['confidence']:.0f} % confidence"
    note = f"; {limit.note}" if limit.note else ""
    return f"{rule}; limit by {limit.basis}{note}."


def judge_choice(reading: Reading, quantity: dict, limit: Limit, case: Case) -> Finding:
    verdict = "pass" if reading.value in limit.good else "fail"
    row = base_row(reading, quantity, limit, case, verdict)
    names = {c["id"]: c["name"] for c in quantity["choices"]}
    seen = f"{quantity['name']}: {names[reading.value].lower()}"
    row["text"] = seen + (", as it should be." if verdict == "pass" else f"; it {row['limit_text']}.")
    row["reason"] = f"Seen or not seen; limit by {limit.basis}."
    return Finding(row, quantity["id"], reading.phase, verdict, {reading.value: 1.0}, None)


def judge_number(reading: Reading, quantity: dict, limit: Limit, case: Case) -> Finding | None:
    """Judge one number; None when a rise was timed to a target that decides nothing."""
    u = number_uncertainty(reading, case.readings)
    inside, probability = number_within(reading.value, u, limit)
    if timed_to_another_target(reading, limit, inside):
        return None
    verdict = decide(inside, probability, case.chosen["rule"], case.chosen["confidence"])
    row = base_row(reading, quantity, limit, case, verdict)
    row["standard_uncertainty"], row["probability_within"] = u, probability
    row["close"] = is_close(probability)
    shown = f"{write_number(reading.value, quantity['decimals'])} {quantity['unit']}"
    row["text"] = sentence(quantity["name"], shown, row["limit_text"], verdict, row["close"], probability)
    row["reason"] = explain_rule(case, limit)
    weights = None if reading.doubt else number_weights(reading.value, u, limit)
    return Finding(row, quantity["id"], reading.phase, verdict, weights, reading.doubt)


def judge_list(reading: Reading, quantity: dict, limit: Limit, case: Case) -> Finding:
    """Judge one number a cylinder."""
    found = compare_cylinders(reading.value, reading.uncertainty, reading.duration_s, limit)
    verdict = decide(found.inside, found.probability, case.chosen["rule"], case.chosen["confidence"])
    row = base_row(reading, quantity, limit, case, verdict)
    row["standard_uncertainty"], row["probability_within"] = max(reading.uncertainty), found.probability
    row["close"] = is_close(found.probability)
    shown = ", ".join([write_number(v, quantity["decimals"]) for v in reading.value]) + " " + quantity["unit"]
    row["text"] = sentence(quantity["name"], shown, row["limit_text"], verdict, row["close"], found.probability)
    if found.why:
        row["text"] = row["text"][:-1] + ": " + "; ".join(found.why) + "."
    support = grubbs_note(reading.value)
    row["reason"] = explain_rule(case, limit) + (" " + support if support else "")
    row["detail"] = {"cylinders": found.outliers, "ratios": found.ratios, "rates": found.rates,
                     "median": found.median, "spread": found.spread}  # fmt: skip
    weights = None if reading.doubt else list_weights(found, reading.uncertainty, reading.value, limit)
    return Finding(row, quantity["id"], reading.phase, verdict, weights, reading.doubt)


JUDGES = {"choice": judge_choice, "number": judge_number, "list": judge_list}


def judge_phase(case: Case, phase: str, book: Book) -> tuple:
    """Return (findings, notes) of the readings of one phase, in the order of the quantities."""
    latest = latest_readings(case.readings, phase)
    limits = resolve_limits(case.chosen, latest, book)
    findings, notes = [], []
    for name in book.quantity_order:
        reading, limit = latest.get(name), limits.get(name)
        if reading is None or limit is None:
            continue
        quantity = book.quantities[name]
        finding = JUDGES[quantity["kind"]](reading, quantity, limit, case)
        if finding is None:
            notes.append(
                f"{quantity['name']} was timed to {reading.target_bar:g} bar; the limit is for {limit.target_bar:g} bar. "
                "Time it again to that pressure."
            )
            continue
        findings.append(finding)
        if reading.doubt:
            notes.append(reading.doubt)
        if limit.note and limit.low_u == 0.0 and limit.high_u == 0.0:
            notes.append(f"{quantity['name']}: {limit.note}.")
    return findings, notes


def is_evidence(finding: Finding) -> bool:
    """True when a finding may stand as evidence in the gate and the ledger: clear and not doubted."""
    return finding.doubt is None and finding.verdict != "unclear"


def passes(finding: Finding | None) -> bool:
    return finding is not None and is_evidence(finding) and finding.verdict == "pass"


def fails(finding: Finding | None) -> bool:
    return finding is not None and is_evidence(finding) and finding.verdict == "fail"


def fails_low(finding: Finding | None) -> bool:
    """True for a failing number below its lower limit."""
    if finding is None or not fails(finding) or finding.row["low"] is None:
        return False
    return finding.row["value"] < finding.row["low"] and finding.row["probability_within"] <= 1.0 - CLOSE_ABOVE
