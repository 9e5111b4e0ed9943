"""The leak budget of a case: which leaks were caught, what they cost in pressure, what rise and fall say, in plain words.

Rules for this file: no physics of its own (leaks.py, rise.py); every figure that is worked out has its sentence; an unclear
or doubted return is no leak; the pressure is never promised, only bounded.
Method: findings give the flows and which of them failed; the balance gives the pressure without the excess; what was not
caught is named.
Source: the trade rule 'leak budget', common practice, no source.
"""

from collections import namedtuple

from .book import Book, fits_vehicle
from .document import Case
from .leaks import (
    GAP,
    HOLE,
    Balance,
    Injectors,
    Valve,
    cylinder_excess,
    explained_share,
    healthy_pressure,
    healthy_rate,
    healthy_uncertainty,
    leak_excesses,
    pressure_without,
    total_flow,
    valve_excess,
)
from .limits import Limit, resolve_limits
from .numeric import median
from .quantity import HIGHEST_TARGET_BAR, PHASES, Reading
from .returns import ONE_MINUTE_S
from .rise import FUEL_TEMPERATURE_C, RAIL_VOLUME_ML, read_decay, read_rise
from .sentences import (
    describe_cylinders,
    describe_decay,
    describe_delivery,
    describe_gain,
    describe_innocence,
    describe_rise,
    describe_sum,
    describe_valve,
    list_assumptions,
)
from .verdicts import TARGET_TOLERANCE, fails, latest_readings

RETURNS = ("injector_return", "regulator_return_flow", "relief_return_flow")
# component, quantity, the pressure at which it is read where that is not the cranking pressure
VALVES = (("regulator", "regulator_return_flow", "held_pressure"), ("relief_valve", "relief_return_flow", None))
CRANKING = "cranking"
LEAST = 1e-3  # bar, s, rpm: less than that was not measured, and is not divided by

# readings {quantity: Reading}, read {quantity: Finding}, limits {quantity: Limit}; injectors None where not caught, state
# in which they were; balance None where no pressure can be told from the flows; wanted [bar] or None
Evidence = namedtuple(
    "Evidence", ("readings", "read", "limits", "injectors", "state", "valves", "balance", "wanted", "commanded")
)


def sound_readings(findings: list, case: Case) -> dict:
    """Return {quantity: Reading} of the findings' phase without the doubted ones."""
    phase = findings[0].phase if findings else PHASES[0]
    latest = latest_readings(case.readings, phase)
    return {name: latest[name] for name in latest if latest[name].doubt is None}


def measured(readings: dict, name: str) -> float | None:
    """Return a number that was read and is large enough to mean something, else None."""
    reading = readings.get(name)
    return reading.value if reading is not None and reading.value >= LEAST else None  # type: ignore[no-any-return]


def commanded_pressure(readings: dict) -> float | None:
    """Return the pressure that the control unit asks for [bar], 0 where it asks for none; None where not read."""
    reading = readings.get("commanded_pressure")
    return None if reading is None else max(reading.value, 0.0)


def rate_ceiling(limit: Limit, duration_s: float) -> float | None:
    """Return the most a cylinder may return [mL/min], None where no limit says so."""
    tops = [] if limit.high is None else [limit.high * ONE_MINUTE_S / duration_s]
    tops += [] if limit.rate_high is None else [limit.rate_high]
    return min(tops) if tops else None


def read_injectors(reading: Reading, row: dict, failed: bool, limit: Limit) -> Injectors:
    per_minute = ONE_MINUTE_S / reading.duration_s
    sizes = [u * per_minute for u in reading.uncertainty]
    outliers = row["detail"]["cylinders"] if failed else []
    return Injectors(row["detail"]["rates"], sizes, outliers, rate_ceiling(limit, reading.duration_s))


def read_valves(read: dict, readings: dict, limits: dict) -> list:
    """Return the valves whose return was caught; one that was held shut at another pressure is scaled as a gap."""
    valves = []
    for component, name, at in VALVES:
        if name in read and name in readings:
            pressure, own = measured(readings, "crank_pressure"), measured(readings, at) if at else None
            # held shut the pressure cannot be less than it was; a lower one has another cause and scales nothing up
            scale = min(pressure / own, 1.0) if pressure is not None and own is not None else 1.0
            reading, allowed = readings[name], limits[name].high
            failed = fails(read[name])
            valves.append(Valve(component, name, reading.value, reading.uncertainty, allowed, failed, scale))
    return valves


def weigh_pressure(read: dict, readings: dict, injectors: Injectors | None, valves: list, book: Book) -> Balance | None:
    """Return the balance at the cranking pressure; None where that or the injector return was not read."""
    pressure = measured(readings, "crank_pressure")
    if pressure is None or injectors is None:
        return None
    commanded = commanded_pressure(readings)
    cap = book.quantities["crank_pressure"]["plausible"]["high"] if commanded is None else commanded
    return Balance(pressure, read["crank_pressure"].row["standard_uncertainty"], injectors, valves, cap)


def wanted_pressure(readings: dict, limits: dict) -> float | None:
    """Return the least that the cranking pressure should be, or what is commanded where that is less [bar]."""
    limit, commanded = limits.get("crank_pressure"), commanded_pressure(readings)
    low = None if limit is None else limit.low
    return low if commanded is None or low is None else min(low, commanded)


def gather_evidence(findings: list, case: Case, book: Book) -> Evidence:
    """Return what the findings hold for the budget."""
    readings = sound_readings(findings, case)
    read = {f.quantity: f for f in findings if f.quantity in readings}
    limits = resolve_limits(case.chosen, readings, book)
    injectors, state, first = None, None, RETURNS[0]
    if first in read and readings[first].duration_s >= LEAST:
        injectors = read_injectors(readings[first], read[first].row, fails(read[first]), limits[first])
        state = readings[first].state or CRANKING
    valves = read_valves(read, readings, limits)
    balance = weigh_pressure(read, readings, injectors if state == CRANKING else None, valves, book)
    commanded = commanded_pressure(readings) is not None
    wanted = wanted_pressure(readings, limits)
    return Evidence(readings, read, limits, injectors, state, valves, balance, wanted, commanded)


def leak_row(component: str, quantity: str, flow: float, excess: float, finding: str) -> dict:
    return {
        "component": component, "quantity": quantity, "flow_ml_min": flow, "excess_ml_min": excess, "without_bar": None,
        "share": None, "finding": finding, "gain": "", "text": finding,
    }  # fmt: skip


def weigh_leak(row: dict, excess: float, u: float, found: Evidence) -> None:
    """Fill in what one leak alone costs in pressure; excess at the cranking pressure [mL/min]."""
    balance, wanted = found.balance, found.wanted
    without = pressure_without(balance.pressure, total_flow(balance), excess, balance.cap, GAP)
    row["without_bar"], row["share"] = without, explained_share(balance.pressure, without, wanted)
    if excess > 0.0:
        row["gain"] = describe_gain("the excess", without, u, balance, wanted, found.commanded)
        row["text"] = row["finding"] + " " + row["gain"]


def list_leaks(found: Evidence, book: Book) -> list:
    """Return a row for each return that was caught; its texts are empty where it is within its limits."""
    rows, injectors = [], found.injectors
    if injectors is not None:
        ratios = found.read[RETURNS[0]].row["detail"]["ratios"]
        text = describe_cylinders(injectors, found.readings[RETURNS[0]], ratios)
        rows.append(leak_row("injectors", RETURNS[0], sum(injectors.rates), sum(cylinder_excess(injectors)), text))
    for valve in found.valves:
        text = describe_valve(valve, book) if valve.failed and valve.allowed is not None else ""
        rows.append(leak_row(valve.component, valve.quantity, valve.flow, valve_excess(valve), text))
    if found.balance is not None:
        u = healthy_uncertainty(found.balance)
        for row, excess in zip(rows, leak_excesses(found.balance)):
            weigh_leak(row, excess, u, found)
    return rows


def explain_leaks(found: Evidence, leaks: list, missed: list) -> list:
    """Return the sentences on the leaks, one by one and together; missed: names of the returns that were not caught."""
    sentences = [text for row in leaks for text in (row["finding"], row["gain"]) if text]
    balance = found.balance
    if balance is None:
        if found.state not in (None, CRANKING):
            return sentences + ["Caught at idle: it compares the cylinders, but says nothing of the cranking pressure."]
        if sentences and found.injectors is None:
            return sentences + ["Only with the injector return caught too can the pressure without this leak be told."]
        return sentences
    excesses = leak_excesses(balance)
    gap, hole = healthy_pressure(balance, GAP), healthy_pressure(balance, HOLE)
    if len([e for e in excesses if e > 0.0]) > 1:
        u = healthy_uncertainty(balance)
        sentences.append(describe_gain("all excess", gap, u, balance, found.wanted, found.commanded))
    if sum(excesses) > 0.0:
        sentences += describe_sum(balance, gap, hole, found.wanted, found.commanded, missed)
    else:
        sentences += describe_innocence(balance, found.wanted)
    return sentences + [describe_delivery(balance)]


def time_rise(readings: dict, read: dict, limits: dict, temperature_c: float) -> tuple:
    """Return (rise, sentences): the figures of read_rise, None and nothing where no rise was timed to a known target."""
    seconds, limit = measured(readings, "crank_rise_time"), limits.get("crank_rise_time")
    if seconds is None or limit is None:
        return None, []
    reading = readings["crank_rise_time"]
    target = limit.target_bar if reading.target_bar is None else reading.target_bar
    if target is None or not LEAST <= target <= HIGHEST_TARGET_BAR:
        return None, []
    least = limits["cranking_speed"].low if "cranking_speed" in limits else None
    least = None if least is None or least < LEAST else least
    rise = read_rise(target, seconds, reading.uncertainty, measured(readings, "cranking_speed"), least, temperature_c)
    comparable = limit.target_bar is not None and abs(target - limit.target_bar) <= TARGET_TOLERANCE * limit.target_bar
    return rise, describe_rise(rise, fails(read.get("cranking_speed")), limit.high if comparable else None)


def time_decay(readings: dict, temperature_c: float) -> tuple:
    """Return (decay, sentences): the figures of read_decay, None and nothing where no fall was timed."""
    half, start = measured(readings, "decay_time"), measured(readings, "crank_pressure")
    if half is None:
        return None, []
    decay = read_decay(half, readings["decay_time"].uncertainty, start, temperature_c)
    return decay, [describe_decay(decay, start)]


def injector_figures(injectors: Injectors | None, state: str | None) -> dict:
    """Return the part of the budget on the injector return; every key None where it was not caught."""
    rates = injectors.rates if injectors is not None else None
    return {
        "injector_return_ml_min": None if rates is None else sum(rates),
        "median_ml_min": None if rates is None else median(rates),
        "healthy_ml_min": None if rates is None else healthy_rate(rates, injectors.outliers, injectors.ceiling),  # type: ignore[union-attr]
        "excess_ml_min": None if rates is None else cylinder_excess(injectors),  # type: ignore[arg-type]
        "injector_state": state,
    }


def balance_figures(balance: Balance | None, wanted: float | None, commanded: bool, speed: float | None) -> dict:
    """Return the part of the budget on the pressure; every key None without a balance.

    Keys: cranking_bar, wanted_bar, total_ml_min (all that was caught, at the cranking pressure: the least delivery),
    total_mm3_per_turn of the crankshaft, healthy_low_bar and healthy_high_bar (what is left leaks through gaps, through
    holes), healthy_u_bar (of the low one), share (of what is missing, explained by all excess), capped_by.
    """
    keys = ("cranking_bar", "wanted_bar", "total_ml_min", "total_mm3_per_turn", "healthy_low_bar", "healthy_high_bar",
            "healthy_u_bar", "share", "capped_by")  # fmt: skip
    if balance is None:
        return {key: None for key in keys}
    total, low, high = total_flow(balance), healthy_pressure(balance, GAP), healthy_pressure(balance, HOLE)
    capped = high >= balance.cap and high > balance.pressure
    values = (balance.pressure, wanted, total, None if speed is None else 1000.0 * total / speed, low, high,
              healthy_uncertainty(balance), explained_share(balance.pressure, low, wanted),
              ("commanded_pressure" if commanded else "plausible") if capped else None)  # fmt: skip
    return {key: value for key, value in zip(keys, values)}


def leak_budget(findings: list, case: Case, book: Book) -> dict:
    """Return the leak budget of one phase's findings.

    Inputs: findings of judge_phase; the fuel's temperature is the case's where it was read.
    Returns: {} while no return was caught and no rise or fall timed; else the keys of injector_figures and of
    balance_figures, and leaks [{component, quantity, flow_ml_min, excess_ml_min, without_bar (this leak alone mended),
    share (of what is missing, explained by it), finding, gain, text (both)}], a row a return that was caught; rise
    (read_rise) and decay (read_decay) or None; uncaught [quantities]; rail_volume_ml, temperature_c; assumptions and text
    [sentences].
    Example: returns of 21, 23, 22, 64 mL in 30 s at 211 bar: about 310 bar without the excess of 84 mL/min.
    """
    is_warm_known = case.fuel_temperature_c is not None
    temperature_c = case.fuel_temperature_c if is_warm_known else FUEL_TEMPERATURE_C
    found = gather_evidence(findings, case, book)
    rise, rise_text = time_rise(found.readings, found.read, found.limits, temperature_c)
    decay, decay_text = time_decay(found.readings, temperature_c)
    leaks, timed = list_leaks(found, book), rise is not None or decay is not None
    if not leaks and not timed:
        return {}
    uncaught = [q for q in RETURNS if q not in found.read and fits_vehicle(book.quantities[q], case.vehicle)]
    missed = [book.quantities[name]["name"].lower() for name in uncaught]
    budget = injector_figures(found.injectors, found.state)
    budget.update(balance_figures(found.balance, found.wanted, found.commanded, measured(found.readings, "cranking_speed")))
    budget.update({
        "leaks": leaks, "rise": rise, "decay": decay, "uncaught": uncaught, "rail_volume_ml": RAIL_VOLUME_ML,
        "temperature_c": temperature_c,
        "assumptions": list_assumptions(found.balance is not None, timed, RAIL_VOLUME_ML, temperature_c, is_warm_known),
        "text": explain_leaks(found, leaks, missed) + rise_text + decay_text,
    })  # fmt: skip
    return budget
