"""Leaks that were caught and measured, and the pressure that the rail would reach without what is too much of them.

Rules for this file: bar and mL/min; only flows of the same state, cranking, go into one balance; no sentences.
Method: at a steady cranking pressure the pump delivers what leaks away. Take the excess out and the same delivery raises
the pressure until what is left leaks as much: p' = p Q/(Q - excess) where what is left leaks through gaps, the square of
that ratio where through holes. How the faulty part itself leaks makes no difference. Leaks that were not caught, and those
inside the pump, take their share of the rise too, so that p' is an upper figure. Uncertainty by propagation.
Sources: continuity; leak laws as in hydraulics.py. What counts as excess: judgement, said at the functions.
"""

from collections import namedtuple

from .numeric import median
from .uncertainty import propagate

# injectors: rates and their u [mL/min], cylinder numbers from 1 that failed, the most a cylinder may return or None
Injectors = namedtuple("Injectors", ("rates", "sizes", "outliers", "ceiling"))
# a valve's return: flow, its u and the most it may be [mL/min]; failed; scale to the cranking pressure
Valve = namedtuple("Valve", ("component", "quantity", "flow", "u", "allowed", "failed", "scale"))
# pressure and its u [bar]; cap: the most the pressure could be [bar]
Balance = namedtuple("Balance", ("pressure", "pressure_u", "injectors", "valves", "cap"))

GAP, HOLE = 1, 2
MOST = 1e9  # bar, mL/min: keeps absurd uncertainties finite


def healthy_rate(rates: list, outliers: list, ceiling: float | None) -> float:
    """Return what a healthy cylinder of this engine returns: the median of those that did not fail, at most the ceiling.

    Where all failed, the median of all or the ceiling, whichever is less. Judgement.
    """
    good = [rates[i] for i in range(len(rates)) if i + 1 not in outliers]
    centre = median(good or rates)
    return centre if ceiling is None else min(centre, max(ceiling, 0.0))


def cylinder_excess(injectors: Injectors) -> list:
    """Return each cylinder's flow above the healthy rate [mL/min]; 0 for those that did not fail.

    Example: 42, 46, 44, 128 with cylinder 4 failed: 0, 0, 0, 84.
    """
    healthy = healthy_rate(injectors.rates, injectors.outliers, injectors.ceiling)
    rates = injectors.rates
    return [max(rates[i] - healthy, 0.0) if i + 1 in injectors.outliers else 0.0 for i in range(len(rates))]


def valve_excess(valve: Valve) -> float:
    """Return a valve's flow above what it may let through, as caught [mL/min]; 0 where it did not fail. Judgement."""
    return max(valve.flow - max(valve.allowed or 0.0, 0.0), 0.0) if valve.failed else 0.0


def pressure_without(pressure: float, total: float, excess: float, cap: float, power: int) -> float:
    """Return the pressure [bar] with the excess gone: p (Q/(Q - excess))^power, at most the cap.

    Inputs: pressure read [bar] > 0; total Q >= excess >= 0 [mL/min]; cap [bar], which a higher reading overrules; power
    GAP or HOLE, how what is left leaks.
    Returns: bar, never below the pressure that was read; the cap where nothing would be left to leak.
    Valid when: the delivery stays the same, which a worn pump's does not: an upper figure.
    Source: continuity at equilibrium. Example: 211 bar, 260 and 84 mL/min: 311.7 bar through gaps, 460.5 through holes.
    """
    top = max(cap, pressure)
    left = total - excess
    if excess <= 0.0:
        return pressure
    if left <= 0.0:
        return top
    ratio = total / left
    return min(pressure * (ratio if power == GAP else ratio * ratio), top)


def total_flow(balance: Balance) -> float:
    """Return all flows that were caught, at the cranking pressure [mL/min]: the least that the pump delivers."""
    return sum(balance.injectors.rates) + sum([v.flow * v.scale for v in balance.valves])


def leak_excesses(balance: Balance) -> list:
    """Return the excess of the injectors together and of each valve, at the cranking pressure [mL/min]."""
    return [sum(cylinder_excess(balance.injectors))] + [valve_excess(v) * v.scale for v in balance.valves]


def flows_of(balance: Balance) -> tuple:
    """Return (values, sizes): the pressure and every flow with their standard uncertainties, in one order."""
    injectors = balance.injectors
    values = [balance.pressure] + injectors.rates + [v.flow for v in balance.valves]
    return values, [balance.pressure_u] + injectors.sizes + [v.u for v in balance.valves]


def balance_with(balance: Balance, values: list) -> Balance:
    """Return the balance with other figures in the order of flows_of; a flow below 0 counts as 0, one above MOST as that."""
    known, count = balance.injectors, len(balance.injectors.rates)
    flows = [min(max(v, 0.0), MOST) for v in values[1:]]
    valves = [
        Valve(v.component, v.quantity, flow, v.u, v.allowed, v.failed, v.scale)
        for v, flow in zip(balance.valves, flows[count:])
    ]
    injectors = Injectors(flows[:count], known.sizes, known.outliers, known.ceiling)
    return Balance(min(max(values[0], 0.0), MOST), balance.pressure_u, injectors, valves, balance.cap)


def healthy_pressure(balance: Balance, power: int) -> float:
    """Return the pressure [bar] with every excess gone (pressure_without)."""
    excess = sum(leak_excesses(balance))
    return pressure_without(balance.pressure, total_flow(balance), excess, balance.cap, power)


def healthy_uncertainty(balance: Balance) -> float:
    """Return the standard uncertainty [bar] of healthy_pressure through gaps, from the pressure and the flows read."""
    values, sizes = flows_of(balance)
    return propagate(lambda changed: healthy_pressure(balance_with(balance, changed), GAP), values, sizes)


def explained_share(pressure: float, without: float, wanted: float | None) -> float | None:
    """Return the part 0..1 of what is missing to the wanted pressure that a leak explains; None where nothing is."""
    if wanted is None or pressure >= wanted:
        return None
    return min((without - pressure) / (wanted - pressure), 1.0)
