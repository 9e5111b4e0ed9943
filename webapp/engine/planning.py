"""The next check: which unread quantities promise most about the fault for the minutes and the intrusion they cost.

Rules for this file: what a check costs and needs is data (checks/*.json, intrusion_minutes of the profile).
Method: the worth of a check is the mutual information between the fault and its unread quantities per minute, intrusion
charged as minutes, less the minutes that the conclusion will ask for in any case. Of a check only those readings are asked
that pay for their own minutes; the rest wait until they do. A check that must come first inherits the worth of the whole
chain that it opens, and is asked for the readings that make the others valid. No check comes before a less intrusive one
that promises as much.
Sources: mutual information is textbook (identity, from memory); information per cost after Pattipati and Alexandridis,
IEEE Trans. SMC 20 (1990) 872-887, as quoted in later abstracts.
"""

import math

from .book import Book, fits_vehicle
from .document import Case
from .isolation import GATED, NO_WEIGHT, OTHER, PATTERN, PER_MILLE, PRESSURE, RETURN, Model, by_fault
from .verdicts import fails_low

LEAST_BITS = 1e-3  # judgement: less is not worth a look
MIN_MINUTES = 1.0  # judgement: no check costs less, however quick
NO_START = "no_start"
BEFORE = "before"
SURE_SHARE = 0.5  # judgement: as much of the minutes that a conclusion would ask for counts as spent in any case
LARGE_ANSWERS = 1.3  # judgement: power of the bits; a check that tells much ends a case sooner than two that tell half
LATER = ("running",)  # proves only once the engine runs again; no conclusion waits for it


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


def quantity_bits(names: list, read: dict, weights: list, probabilities: list, model: Model) -> dict:
    """Return {quantity: information in bits} of unread quantities."""
    bits = {}
    for name in names:
        asked = PATTERN if name == RETURN and PRESSURE in read else name
        bits[name] = quantity_information(asked, weights, probabilities, model) if asked in model.base else 0.0
    return bits


def can_be_read(quantity: dict, case: Case) -> bool:
    """True when the vehicle has the quantity and, for one that needs a running engine, the engine starts at all."""
    runs = NO_START not in case.complaints
    return fits_vehicle(quantity, case.vehicle) and (runs or quantity["state"] != "running")


def has_no_target(name: str, read: dict, case: Case, book: Book) -> bool:
    """True for a rise whose target lies above the pressure that was read, or whose pressure is still to be read.

    Whoever reads the pressure sees whether the target comes at all; only then is there a time to take.
    """
    row = book.limits[case.chosen["profile"]].get(name)
    if row is None or row["target_from"] is None:
        return False
    pressure = row["target_from"]["quantity"]
    return fails_low(read.get(pressure)) or (pressure not in read and pressure not in case.not_measured[BEFORE])


def lacks_equipment(check: dict, case: Case) -> bool:
    """True when the technician has said that something this check needs is not to hand today."""
    return bool([item for item in check["equipment"] if item in case.lacking])


def wanted_quantities(check: dict, read: dict, case: Case, book: Book, missed_too: bool) -> list:
    """Return the quantities of a check still to be read on this vehicle; doubted and unclear ones are asked again."""
    wanted: list = []
    if lacks_equipment(check, case):
        return wanted
    for name in check["quantities"]:
        finding = read.get(name)
        settled = finding is not None and finding.doubt is None and finding.verdict != "unclear"
        if can_be_read(book.quantities[name], case) and not settled and not has_no_target(name, read, case, book):
            if missed_too or name not in case.not_measured[BEFORE] or finding is not None:
                wanted.append(name)
    return wanted


def check_minutes(check: dict, wanted: list, vehicle: dict, book: Book) -> float:
    """Return the minutes of a check of which only some readings are taken: the whole, less what the others would take."""
    left_out = [
        check["reading_minutes"].get(name, 0.0)
        for name in check["quantities"]
        if name not in wanted and fits_vehicle(book.quantities[name], vehicle)
    ]
    return check["minutes"] - sum(left_out)  # type: ignore[no-any-return]


def charged_minutes(check: dict, wanted: list, case: Case, book: Book) -> float:
    """Return minutes plus the charge for intrusion [min]."""
    charge = case.chosen["intrusion_minutes"][check["intrusion"]]
    return max(check_minutes(check, wanted, case.vehicle, book) + charge, MIN_MINUTES)  # type: ignore[no-any-return]


def choose_readings(check: dict, wanted: list, bits: dict, must: list, case: Case, book: Book) -> list:
    """Return which of the wanted readings to ask for now: those that must be, and those that raise the worth a minute."""
    ranked = sorted(
        [n for n in wanted if n not in must],
        key=lambda name: (-bits[name] / max(check["reading_minutes"].get(name, 0.0), 0.1), wanted.index(name)),
    )
    chosen = [name for name in wanted if name in must] or ranked[:1]
    for name in ranked:
        more = [n for n in wanted if n in chosen or n == name]
        if rate(check, more, bits, case, book) >= rate(check, chosen, bits, case, book):
            chosen = more
    return chosen


def rate(check: dict, names: list, bits: dict, case: Case, book: Book) -> float:
    """Return bits per charged minute of some readings of a check."""
    return sum([bits[name] for name in names]) / charged_minutes(check, names, case, book)


def must_be_read(check: dict, wanted: list) -> list:
    """Return the wanted readings of a check without which later checks cannot be believed."""
    return [name for name in check["valid_by"] if name in wanted]


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


def chain_of(name: str, waiting: dict) -> list:
    """Return a check and all that must come before it, in turn."""
    chain = [name]
    for link in chain:  # grows while it is walked, until no check needs another
        chain += [first for first in waiting[link] if first not in chain]
    return chain


def worth_with_openings(bits: dict, cost: dict, waiting: dict) -> dict:
    """Return each check's worth a minute: its own, or that of the best chain which cannot begin without it.

    A chain is a check with all that must come before it; its worth is their information over their minutes.
    """
    raised = {name: bits[name] ** LARGE_ANSWERS / cost[name] for name in bits}
    for name in sorted(waiting):
        chain = chain_of(name, waiting)
        together = sum([bits[link] for link in chain]) ** LARGE_ANSWERS / sum([cost[link] for link in chain])
        for link in chain:
            raised[link] = max(raised[link], together)
    return raised


def asked_by(fault: dict, rows: dict, waiting: dict, case: Case, book: Book) -> dict:
    """Return {check: share} of the open checks that a conclusion on this fault would ask for.

    The pump's whole gate; for any other fault one of the checks that prove it, with what must come before.
    """
    if fault["id"] in GATED:
        gate = [q for row in book.gate if fits_vehicle(row, case.vehicle) for q in row["quantities"]]
        return {name: 1.0 for name in rows if [q for q in rows[name] if q in gate]}
    proving = [name for name in rows if name not in LATER and [q for q in rows[name] if q in fault["proof"]]]
    shares: dict = {}
    for name in proving:
        for link in chain_of(name, waiting):
            shares[link] = shares.get(link, 0.0) + 1.0 / len(proving)
    return shares


def minutes_at_stake(
    cost: dict, rows: dict, waiting: dict, probabilities: list, model: Model, case: Case, book: Book
) -> dict:
    """Return each check's charged minutes less the share that the conclusion will ask for in any case.

    What has to be done anyway costs nothing extra to be done now.
    """
    needed = {name: 0.0 for name in rows}
    for fault, p in zip(model.faults, probabilities):
        if p >= NO_WEIGHT and fault["id"] != OTHER:
            shares = asked_by(fault, rows, waiting, case, book)
            for name in shares:
                needed[name] += p * shares[name]
    return {name: cost[name] * (1.0 - SURE_SHARE * min(needed[name], 1.0)) for name in rows}


def harmless_first(names: list, bits: dict, book: Book) -> list:
    """Return the order with no check before a less intrusive one that promises at least as much information."""
    ordered: list = []
    for name in names:
        level = book.checks[name]["intrusion"]
        rivals = [n for n in names if book.checks[n]["intrusion"] < level and bits[n] >= bits[name] > 0.0]
        ordered += [n for n in rivals if n not in ordered]
        ordered += [] if name in ordered else [name]
    return ordered


def rank_checks(model: Model, weights: list, findings: list, case: Case, book: Book) -> list:
    """Return what to do next, best first, as rows of CASE.md 'next'.

    Checks whose prerequisites are still unread come after those that can be done now. What could not be measured is
    asked for again only when nothing else is left.
    """
    probabilities = by_fault(model, weights)
    read = {f.quantity: f for f in findings}
    rows = candidate_checks(case, read, book, False) or candidate_checks(case, read, book, True)
    waiting = {
        name: [f for f in book.checks[name]["needs"] if f in rows and must_be_read(book.checks[f], rows[f])] for name in rows
    }
    opens = [first for name in rows for first in waiting[name]]
    bits, asked, cost = {}, {}, {}
    most = entropy(probabilities)
    for name in rows:
        check = book.checks[name]
        each = quantity_bits(rows[name], read, weights, probabilities, model)
        must = must_be_read(check, rows[name]) if name in opens else []
        asked[name] = choose_readings(check, rows[name], each, must, case, book)
        bits[name] = min(sum([each[q] for q in asked[name]]), most)
        cost[name] = charged_minutes(check, asked[name], case, book)
    at_stake = minutes_at_stake(cost, rows, waiting, probabilities, model, case, book)
    worth = worth_with_openings(bits, at_stake, waiting)
    useful = [n for n in rows if worth[n] * cost[n] > LEAST_BITS]
    useful.sort(key=lambda name: (-worth[name], book.checks[name]["order"]))
    ready = harmless_first([n for n in useful if not waiting[n]], bits, book)
    order = ready + [n for n in useful if waiting[n]]
    return [next_row(book.checks[n], asked[n], bits[n], waiting[n], read, case, book) for n in order]


def next_row(check: dict, wanted: list, bits: float, waiting: list, read: dict, case: Case, book: Book) -> dict:
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
        "check": check["id"], "name": check["name"], "quantities": wanted, "bits": bits,
        "minutes": check_minutes(check, wanted, case.vehicle, book), "intrusion": check["intrusion"],
        "ready": not waiting, "reason": reason,
    }  # fmt: skip
