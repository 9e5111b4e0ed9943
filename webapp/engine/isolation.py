"""Suspects and the next check: which fault the evidence speaks for, and what to look at next.

Rules for this file: the model is data (faults.json, signatures.json); this file only multiplies and adds. Posterior and
information are exact for that model.
Method: a hypothesis is a fault (or a pair that happens together, or none of these) in one of a few latent classes: how bad,
which wire, how many injectors. Within a class readings are independent, so what they share through the fault is counted
once. A reading enters spread over its levels by its uncertainty (virtual evidence), mixed with the small chance (the
quantity's slip) that it says nothing at all. A reading that the rest makes all but impossible is doubted instead of
believed. The worth of a check is the mutual information between the fault and its unread quantities per minute, intrusion
charged as minutes; a check that must come first inherits the worth of what it opens.
Sources: Bayes' rule and mutual information are textbook (identities, from memory); information per cost after Pattipati
and Alexandridis, IEEE Trans. SMC 20 (1990) 872-887, as quoted in later abstracts; latent classes as in tests/derive.py.
"""

import math
from collections import namedtuple

from .book import Book, fits_vehicle
from .document import Case
from .levels import conductance_coordinate, level_names, level_weights, limit_kind
from .limits import Limit
from .numeric import median, root_sum_square
from .verdicts import Finding, fails_low, number_weights

Suspect = namedtuple("Suspect", ("fault", "probability"))
# one latent class of one hypothesis: index of its fault, prior weight, tables {quantity: [per mille by level]}
ClassRow = namedtuple("ClassRow", ("fault", "weight", "tables"))
Model = namedtuple("Model", ("faults", "rows", "base", "slips"))

HEALTHY = "no_pressure_fault"
OTHER = "none_of_these"
PER_MILLE = 1000.0
OTHER_SHARE = 0.5  # judgement: 'none of these' looks half like a sound vehicle, half like anything
HARDLY = 0.02  # judgement: below this a reading is compared with its tenth and tenfold
IMPOSSIBLE = 0.002  # judgement: below this it is asked for again
SLIP_FACTOR = 25.0  # judgement: how much better a shifted digit must fit
READINGS_TO_DOUBT = 4
MOST_DOUBTS = 3
CODE_FLOOR = 1e-3
COMPLAINT_MISFIT = 0.5  # judgement: a complaint that a fault does not usually cause halves its weight
LEAST_BITS = 1e-3
NO_WEIGHT = 1e-5
MIN_MINUTES = 1.0
NO_START = "no_start"
BEFORE = "before"
RETURN, PRESSURE = "injector_return", "crank_pressure"
PATTERN = "injector_pattern"  # no quantity of its own: what return and pressure say together
UNEVEN_FROM = 3  # level of the list coordinate from which a cylinder stands out of the others


def outcome_names(quantity: dict, limit: Limit) -> list:
    """Return the outcomes of a quantity, in the order of its tables."""
    if quantity["kind"] == "choice":
        return [choice["id"] for choice in quantity["choices"]]
    kind = limit_kind(limit)
    if quantity["kind"] == "list" and kind != "list":
        return ["in", "out"]
    return [] if kind is None else level_names(kind)


def prior_weight(fault: dict, case: Case, book: Book) -> float:
    """Return the weight of a fault before any reading: its prior, stored codes and complaints."""
    weight = fault["prior"]
    for code in sorted(set(case.codes)):
        if code in book.codes:
            factors = {row["fault"]: row["factor"] for row in book.codes[code]["faults"]}
            # a pair, or a variant of a fault, is spoken for by whatever speaks for one of its parts
            spoken = [factors.get(name, 1.0) for name in fault["like"] or [fault["id"]]]
            weight *= max(max(spoken), CODE_FLOOR)
    if case.complaints and fault["complaints"] and not [c for c in case.complaints if c in fault["complaints"]]:
        weight *= COMPLAINT_MISFIT
    return weight  # type: ignore[no-any-return]


def fitting_faults(case: Case, book: Book) -> list:
    return [fault for fault in book.faults if fits_vehicle(fault, case.vehicle)]


def open_model(case: Case, book: Book) -> Model:
    """Return the hypotheses that fit a vehicle, class by class, with their weights before any reading."""
    signatures = book.signatures["layouts"][case.vehicle["layout"]]
    faults = fitting_faults(case, book)
    rows = []
    for i in range(len(faults)):
        weight = prior_weight(faults[i], case, book)
        found = signatures["faults"].get(faults[i]["id"])
        if found is None:  # none of these: no class of its own
            rows.append(ClassRow(i, weight, None))
            continue
        for share, tables in zip(found["shares"], found["classes"]):
            rows.append(ClassRow(i, weight * share / PER_MILLE, tables))
    slips = {name: book.quantities[name]["slip"] for name in book.quantity_order}
    slips[PATTERN] = slips[RETURN]
    return Model(faults, rows, signatures["base"], slips)


def chances_of(name: str, shares: list, model: Model) -> list:
    """Return P(reading | class) of every class row, for a reading spread over levels as [(index, share), ...].

    Most classes have a sound vehicle's table for most quantities; its chance is worked out once.
    """
    base, slip = model.base[name], model.slips[name]
    even = 1.0 / len(base)

    def chance(table: list) -> float:
        return (1.0 - slip) * sum([share * table[i] for i, share in shares]) / PER_MILLE + slip * even  # type: ignore[no-any-return]

    sound = chance(base)
    anything = (1.0 - OTHER_SHARE) * sound + OTHER_SHARE * even
    return [
        anything if row.tables is None else chance(row.tables[name]) if name in row.tables else sound for row in model.rows
    ]


def indexed(weights: dict, names: list) -> list:
    """Return a reading's weights as [(index, share), ...] in the order of the outcomes."""
    return [(i, weights[names[i]]) for i in range(len(names)) if names[i] in weights]


def normalise(weights: list) -> list:
    total = sum(weights)
    return [w / total for w in weights]


def evidence_of(findings: list, limits: dict, model: Model, book: Book) -> list:
    """Return [(finding, [chance of each class row])] of the findings that count.

    Injector return and cranking pressure together say more than the return alone (the return per bar), so where both were
    read the pair takes the place of the return.
    """
    read = {f.quantity: f for f in findings}
    together = pattern_shares(read, limits)
    rows = []
    for finding in findings:
        if finding.weights is None or finding.quantity not in model.base:
            continue
        if finding.quantity == RETURN and together is not None:
            rows.append((finding, chances_of(PATTERN, together, model)))
            continue
        names = outcome_names(book.quantities[finding.quantity], limits[finding.quantity])
        rows.append((finding, chances_of(finding.quantity, indexed(finding.weights, names), model)))
    return rows


def pattern_shares(read: dict, limits: dict) -> list | None:
    """Return the injector return as [(index of PATTERN, share), ...]: return per bar, doubled for an uneven set.

    None where return or cranking pressure was not read, or the limits give no scale.
    """
    returned, pressure = read.get(RETURN), read.get(PRESSURE)
    if returned is None or pressure is None or returned.weights is None or pressure.weights is None:
        return None
    rates, bar = returned.row["detail"]["rates"], pressure.row["value"]
    coordinate = conductance_coordinate(rates, bar, limits[RETURN], limits[PRESSURE]) if rates else None
    if coordinate is None:
        return None
    volume_share = returned.row["standard_uncertainty"] / max(median(returned.row["value"]), 1e-9)
    u = coordinate * min(root_sum_square([volume_share, pressure.row["standard_uncertainty"] / bar]), 1.0)
    uneven = sum([share for name, share in returned.weights.items() if int(name) >= UNEVEN_FROM])
    per_bar = indexed(level_weights(coordinate, u, "conductance"), level_names("conductance"))
    even = [(i, share * (1.0 - uneven)) for i, share in per_bar]
    return even + [(i + len(level_names("conductance")), share * uneven) for i, share in per_bar]


def weigh(model: Model, evidence: list) -> list:
    """Return P(class | evidence) in the order of the model's rows."""
    weights = normalise([row.weight for row in model.rows])
    for _, chances in evidence:
        weights = normalise([w * c for w, c in zip(weights, chances)])
    return weights


def by_fault(model: Model, weights: list) -> list:
    """Return P(fault | evidence) in the order of the model's faults; sums to 1."""
    totals = [0.0] * len(model.faults)
    for row, weight in zip(model.rows, weights):
        totals[row.fault] += weight
    return totals


def predicted(weights: list, chances: list) -> float:
    """Return the probability that the other evidence gave this reading: 1 / sum(w / chance), w with it included."""
    return 1.0 / sum([w / c for w, c in zip(weights, chances) if w > 0.0])


def shifted_chance(finding: Finding, factor: float, weights: list, chances: list, model: Model, spread: object) -> float:
    """Return how probable the reading would be with its value times a factor, the rest unchanged."""
    moved = spread(finding, factor)  # type: ignore[operator]
    if moved is None:
        return 0.0
    rest = normalise([w / c for w, c in zip(weights, chances)])
    return sum([w * c for w, c in zip(rest, chances_of(finding.quantity, moved, model))])


def find_misfits(model: Model, evidence: list, weights: list, spread: object) -> list:
    """Return [(finding, why)] of the readings that do not fit the others, empty while all fit well enough.

    Where two contradict each other and a shifted digit would mend either, both are asked for again. Inputs:
    spread(finding, factor) -> shares by level of the value times the factor, or None for a choice.
    """
    if len(evidence) < READINGS_TO_DOUBT:
        return []
    odd = [(predicted(weights, chances), finding, chances) for finding, chances in evidence]
    odd = sorted([row for row in odd if row[0] < HARDLY], key=lambda row: (row[0], row[1].quantity))
    slipped = []
    for chance, finding, chances in odd:
        better = max([shifted_chance(finding, f, weights, chances, model, spread) for f in (0.1, 10.0)])
        if better > SLIP_FACTOR * chance:
            slipped.append((finding, "A digit slipped? Ten times more or less would fit the other readings."))
    if not slipped and odd and odd[0][0] < IMPOSSIBLE:
        return [(odd[0][1], "It does not fit the other readings at all.")]
    return slipped


def doubted(finding: Finding, why: str) -> Finding:
    """Return the finding with a doubt and without weight as evidence."""
    row = dict(finding.row)
    row["doubt"] = f"{row['name']}: {why} Take it again; it decides nothing until then."
    return Finding(row, finding.quantity, finding.phase, finding.verdict, None, row["doubt"])


def doubt_misfits(model: Model, findings: list, limits: dict, repeated: list, book: Book) -> tuple:
    """Return (findings, weights by class): readings that the others make all but impossible are doubted, one by one.

    Inputs: repeated the quantities that were read twice with agreement; those are believed whatever they say.
    """

    def spread(finding: Finding, factor: float) -> list | None:
        u = finding.row["standard_uncertainty"]
        if type(finding.row["value"]) not in (int, float) or u is None:
            return None
        limit = limits[finding.quantity]
        weights = number_weights(finding.row["value"] * factor, u * factor, limit)
        return indexed(weights or {}, outcome_names(book.quantities[finding.quantity], limit))

    evidence = evidence_of(findings, limits, model, book)
    for _ in range(MOST_DOUBTS):
        weights = weigh(model, evidence)
        open_to_doubt = [row for row in evidence if row[0].quantity not in repeated]
        misfits = find_misfits(model, open_to_doubt, weights, spread)
        if not misfits:
            break
        for found, why in misfits:
            findings = [doubted(f, why) if f is found else f for f in findings]
            evidence = [row for row in evidence if row[0] is not found]
    return findings, weigh(model, evidence)


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


def joint_levels(name: str, weights: list, model: Model) -> list:
    """Return [level][fault] sums of weight * table in per mille; rows of no weight are passed over."""
    base = model.base[name]
    levels = range(len(base))
    joint = [[0.0] * len(model.faults) for _ in levels]
    sound = [0.0] * len(model.faults)
    for row, weight in zip(model.rows, weights):
        if weight < NO_WEIGHT:
            continue
        table = None if row.tables is None else row.tables.get(name)
        if table is None:
            sound[row.fault] += weight
            continue
        for i in levels:
            if table[i]:
                joint[i][row.fault] += weight * table[i]
    for fault in range(len(sound)):
        if sound[fault] > 0.0:
            for i in levels:
                joint[i][fault] += sound[fault] * base[i]
    return joint


def quantity_information(name: str, weights: list, probabilities: list, model: Model) -> float:
    """Return the information in bits that reading a quantity is expected to give about the fault."""
    joint, slip = joint_levels(name, weights, model), model.slips[name]
    even = slip / len(joint)
    live = [i for i in range(len(probabilities)) if probabilities[i] >= NO_WEIGHT]
    gain = 0.0
    for parts in joint:
        row = [(parts[i] * (1.0 - slip) / PER_MILLE + even * probabilities[i], probabilities[i]) for i in live]
        total = sum([part for part, _ in row])
        gain += sum([part * math.log(part / (p * total)) for part, p in row if part > 0.0])
    return max(gain / math.log(2.0), 0.0)


def check_bits(wanted: list, read: dict, weights: list, probabilities: list, model: Model) -> float:
    """Return the information in bits that the unread quantities of a check can give, at most the entropy left."""
    total = 0.0
    for name in wanted:
        asked = PATTERN if name == RETURN and PRESSURE in read else name
        if asked in model.base:
            total += quantity_information(asked, weights, probabilities, model)
    return min(total, entropy(probabilities))


def can_be_read(quantity: dict, case: Case) -> bool:
    """True when the vehicle has the quantity and, for one that needs a running engine, the engine starts at all."""
    runs = NO_START not in case.complaints
    return fits_vehicle(quantity, case.vehicle) and (runs or quantity["state"] != "running")


def cannot_be_reached(name: str, read: dict, case: Case, book: Book) -> bool:
    """True for a rise whose target lies above the pressure that was read: there is no time to take."""
    row = book.limits[case.chosen["profile"]].get(name)
    if row is None or row["target_from"] is None:
        return False
    return fails_low(read.get(row["target_from"]["quantity"]))


def wanted_quantities(check: dict, read: dict, case: Case, book: Book, missed_too: bool) -> list:
    """Return the quantities of a check still to be read on this vehicle; doubted and unclear ones are asked again."""
    wanted = []
    for name in check["quantities"]:
        finding = read.get(name)
        settled = finding is not None and finding.doubt is None and finding.verdict != "unclear"
        if can_be_read(book.quantities[name], case) and not settled and not cannot_be_reached(name, read, case, book):
            if missed_too or name not in case.not_measured[BEFORE] or finding is not None:
                wanted.append(name)
    return wanted


def check_cost(check: dict, case: Case) -> float:
    """Return minutes plus the charge for intrusion [min]."""
    return max(check["minutes"] + case.chosen["intrusion_minutes"][check["intrusion"]], MIN_MINUTES)  # type: ignore[no-any-return]


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


def rank_checks(model: Model, weights: list, findings: list, case: Case, book: Book) -> list:
    """Return what to do next, best first, as rows of CASE.md 'next'.

    Checks whose prerequisites are still unread come after those that can be done now. What could not be measured is
    asked for again only when nothing else is left.
    """
    probabilities = by_fault(model, weights)
    read = {f.quantity: f for f in findings}
    rows = candidate_checks(case, read, book, False) or candidate_checks(case, read, book, True)
    bits = {name: check_bits(rows[name], read, weights, probabilities, model) for name in rows}
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
    """True when a reading that proves the fault failed; 'no fault' needs all its proof readings to pass."""
    wanted = [read[name] for name in fault["proof"] if name in read]
    if fault["id"] == HEALTHY:
        return bool(wanted) and not [f for f in wanted if f.verdict != "pass" or f.doubt is not None]
    return fault["id"] != OTHER and bool([f for f in wanted if is_failing(f)])


def is_failing(finding: Finding) -> bool:
    return finding.verdict == "fail" and finding.doubt is None
