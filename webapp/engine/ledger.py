"""The ledger and the pump gate: what each component's evidence is, and what still stands between suspicion and blame.

Rules for this file: the pump is condemned last; an unclear or doubted reading is not evidence; what is missing is named.
Method: a component is ruled out when all readings that clear it pass (or one of its alternative sets does); it is pointed
at when its faults hold most of the belief and a reading has failed. The gate is a list of rows in data; each wants its
readings to pass, or to fail low where only failing proves that the others are out of the way.
Source: the trade rules 'the pump is condemned last', common practice, no source; rows in library/gate.json.
"""

from .book import Book, fits_vehicle
from .document import Case
from .verdicts import Finding, fails, fails_low, is_evidence, passes

POINTED_AT = 0.5  # judgement: a component is pointed at from even odds on
PUMP = "pump"


def fitting_quantities(names: list, vehicle: dict, book: Book) -> list:
    return [name for name in names if fits_vehicle(book.quantities[name], vehicle)]


def gate_rows(case: Case, book: Book) -> list:
    return [row for row in book.gate if fits_vehicle(row, case.vehicle)]


def is_clearly_low(finding: Finding | None) -> bool:
    """True when a reading fails low beyond its own uncertainty: a close one is no ground to blame the pump."""
    return fails_low(finding) and not finding.row["close"]  # type: ignore[union-attr]


def holds(name: str, rule: str, read: dict) -> bool:
    """True when one reading satisfies a gate row's rule."""
    return passes(read.get(name)) if rule == "pass" else is_clearly_low(read.get(name))


def check_gate(case: Case, read: dict, book: Book) -> list:
    """Return gate rows as {id, name, missing: [quantities without evidence], failing: [with the wrong evidence], text}."""
    rows = []
    for row in gate_rows(case, book):
        names = fitting_quantities(row["quantities"], case.vehicle, book)
        open_names = [name for name in names if not holds(name, row["rule"], read)]
        vague = [name for name in open_names if row["rule"] != "pass" and fails_low(read.get(name))]
        missing = [n for n in open_names if n not in read or not is_evidence(read[n]) or n in vague]
        failing = [name for name in open_names if name not in missing]
        rows.append({
            "id": row["id"], "name": row["name"], "missing": missing, "failing": failing, "text": row["missing_text"],
        })  # fmt: skip
    return rows


def clearing_sets(component: dict, case: Case, book: Book) -> list:
    """Return the sets of quantities each of which, all passing, clears a component."""
    sets = [component["needs"]] + component["any_of"]
    fitting = [fitting_quantities(names, case.vehicle, book) for names in sets]
    return [names for names in fitting if names]


def cleared_by(component: dict, case: Case, read: dict, book: Book) -> list:
    """Return the quantities that clear the component, empty when nothing does yet.

    Passing clears; a pressure that stays low although the part is taken out of play (`cleared_low_by`) clears as well.
    """
    for names in clearing_sets(component, case, book):
        if not [name for name in names if not passes(read.get(name))]:
            return names
    return [name for name in component["cleared_low_by"] if fails_low(read.get(name))]


def pump_supports(read: dict) -> list:
    """Return the quantities whose reading speaks for a worn pump: pressures that stay low although they should not."""
    return [name for name in ("crank_pressure", "open_metering_pressure", "held_pressure") if fails_low(read.get(name))]


def judge_pump(case: Case, read: dict, gate: list, probability: float, book: Book) -> dict:
    """Return the pump's standing: {status, missing, supports, against, probability}.

    Status: cleared (it has shown that it makes pressure), condemned (every gate row holds and the pump is at least at
    the configured probability), suspected (every row holds, but belief is short of that), open (evidence is missing).
    """
    component = next(row for row in book.components if row["id"] == PUMP)
    clearing = cleared_by(component, case, read, book)
    missing = [name for row in gate for name in row["missing"]]
    failing = [name for row in gate for name in row["failing"]]
    if clearing:
        status = "cleared"
    elif missing or failing:
        status = "open"
    else:
        status = "condemned" if probability >= case.chosen["pump_probability"] else "suspected"
    return {
        "status": status, "missing": missing, "supports": pump_supports(read), "against": clearing + failing,
        "probability": probability,
    }  # fmt: skip


def component_belief(component: dict, suspects: list) -> float:
    return sum([s.probability for s in suspects if s.fault["component"] == component["id"]])


def failing_evidence(component: dict, suspects: list, read: dict) -> list:
    """Return the failed quantities that are proof of one of the component's faults."""
    names: list = []
    for suspect in suspects:
        if suspect.fault["component"] == component["id"]:
            names += [name for name in suspect.fault["proof"] if fails(read.get(name)) and name not in names]
    return names


def reading_ids(names: list, read: dict) -> list:
    return [read[name].row["reading"] for name in names]


def quantity_words(names: list, book: Book) -> str:
    return ", ".join([book.quantities[name]["name"].lower() for name in names])


def ledger_row(component: dict, status: str, by: list, needs: list, text: str, read: dict) -> dict:
    return {
        "component": component["id"], "name": component["name"], "status": status, "by": reading_ids(by, read),
        "needs": needs, "text": text,
    }  # fmt: skip


def judge_component(component: dict, case: Case, suspects: list, read: dict, book: Book) -> dict:
    """Return the ledger row of any component but the pump."""
    clearing = cleared_by(component, case, read, book)
    failing = failing_evidence(component, suspects, read)
    if failing and component_belief(component, suspects) >= POINTED_AT:
        text = "Points here: " + quantity_words(failing, book) + " outside limits."
        return ledger_row(component, "points_here", failing, [], text, read)
    if clearing and not failing:
        text = "Ruled out by " + quantity_words(clearing, book) + "."
        return ledger_row(component, "ruled_out", clearing, [], text, read)
    sets = clearing_sets(component, case, book)
    wanted = [name for name in sets[0] if not passes(read.get(name))] if sets else []
    needs = [name for name in wanted if name not in read or not is_evidence(read[name])]
    if needs:
        text = "Still open: needs " + quantity_words(needs, book) + "."
    else:
        text = "Still open: " + quantity_words(wanted or failing, book) + " outside limits, which has more than one cause."
    return ledger_row(component, "open", failing, needs, text, read)


def judge_pump_row(component: dict, pump: dict, read: dict, gate: list, book: Book) -> dict:
    """Return the pump's ledger row: locked until the rows above are answered."""
    if pump["status"] == "cleared":
        text = "Ruled out by " + quantity_words(pump["against"], book) + ": the pump makes pressure."
        return ledger_row(component, "ruled_out", pump["against"], [], text, read)
    if pump["status"] == "condemned":
        text = "Points here: every row above is answered and the pressure stays low."
        return ledger_row(component, "points_here", pump["supports"], [], text, read)
    if pump["missing"]:
        first = next(row for row in gate if row["missing"])
        count = len(pump["missing"])
        text = f"Locked: {count} reading{'' if count == 1 else 's'} missing. {first['text']}"
        return ledger_row(component, "locked", pump["supports"], pump["missing"], text, read)
    if pump["status"] == "suspected":
        share = f"{100.0 * pump['probability']:.0f} %"
        text = f"Still open: every row above is answered, but the evidence for the pump is only {share}."
        return ledger_row(component, "open", pump["supports"], [], text, read)
    failing = [name for row in gate for name in row["failing"]]
    text = "Locked: " + quantity_words(failing, book) + " must be put right first."
    return ledger_row(component, "locked", pump["supports"], [], text, read)


def add_leak(row: dict, budget: dict) -> None:
    """Add what a leak costs in pressure (budget.py) to the row of the component that the evidence points at."""
    for leak in budget.get("leaks", []):
        if row["status"] == "points_here" and leak["component"] == row["component"] and leak["text"]:
            row["text"] += " " + leak["text"]


def write_ledger(case: Case, suspects: list, read: dict, pump: dict, gate: list, budget: dict, book: Book) -> list:
    """Return the ledger, one row a component that this vehicle has, the pump last."""
    rows = []
    for component in book.components:
        if not fits_vehicle(component, case.vehicle):
            continue
        if component["id"] == PUMP:
            rows.append(judge_pump_row(component, pump, read, gate, book))
        else:
            rows.append(judge_component(component, case, suspects, read, book))
            add_leak(rows[-1], budget)
    return rows
