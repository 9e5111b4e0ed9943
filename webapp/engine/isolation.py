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
from .numeric import mean, root_sum_square
from .verdicts import Finding, number_weights

Suspect = namedtuple("Suspect", ("fault", "probability"))
# one latent class of one hypothesis: index of its fault, prior weight, tables {quantity: [per mille by level]}
ClassRow = namedtuple("ClassRow", ("fault", "weight", "tables"))
Model = namedtuple("Model", ("faults", "rows", "base", "slips"))

HEALTHY = "no_pressure_fault"
OTHER = "none_of_these"
GATED = ("pump_worn", "metering_valve_seized")  # no reading tells the second from the first: both stand behind the gate
PER_MILLE = 1000.0
OTHER_SHARE = 0.5  # judgement: 'none of these' looks half like a sound vehicle, half like anything
HARDLY = 0.02  # judgement: below this a reading is compared with its tenth and tenfold
IMPOSSIBLE = 0.002  # judgement: below this it is asked for again
SLIP_FACTOR = 25.0  # judgement: how much better a shifted digit must fit
READINGS_TO_DOUBT = 4
MOST_DOUBTS = 3
CODE_FLOOR = 1e-3
COMPLAINT_MISFIT = 0.5  # judgement: a complaint that a fault does not usually cause halves its weight
NO_WEIGHT = 1e-5
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
    """Return the weight of a fault before any reading: its prior or what the workshop has learnt, codes and complaints."""
    learnt = book.weights.get(case.chosen["weights"]) or {}
    weight = learnt.get(fault["id"], fault["prior"])
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
    volumes = returned.row["value"]
    volume_share = returned.row["standard_uncertainty"] / math.sqrt(len(volumes)) / max(mean(volumes), 1e-9)
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
