"""Levels: where a reading lies relative to its limit, finely enough to tell dead from weak from near.

Rules for this file: levels are in limit coordinates, so a case with the vehicle maker's own limit moves its levels along.
Method: a two-sided limit maps low..high to 0..1, a lower limit maps the value to value/low, an upper one to value/high. A
list (one number a cylinder) maps to the worst cylinder against its ratio rule and its rate rule. A reading is spread over
the levels by its uncertainty (normal), so that a close reading speaks softly and a gross one clearly.
Source: edges are judgement; the probabilities of the levels are derived from virtual vehicles (library/signatures.json).
"""

from .limits import Limit, probability_inside
from .numeric import mean
from .returns import Comparison

# edges by kind of limit; n edges make n + 1 levels
EDGES = {
    "low": [0.06, 0.14, 0.21, 0.36, 0.55, 0.75, 0.9, 1.0, 1.05],
    "high": [0.35, 0.6, 0.85, 1.0, 1.15, 1.5, 2.5, 6.0],
    "both": [-4.0, -1.0, -0.25, 0.0, 0.25, 0.75, 1.0, 1.25, 2.0, 6.0],
    "conductance": [0.28, 0.42, 0.56, 0.75, 1.0, 1.5, 2.5, 5.0],
    "list": [0.55, 0.75, 1.0, 1.3, 2.0, 4.0],
}


def limit_kind(limit: Limit) -> str | None:
    """Return which kind of coordinate a limit gives, None where it has no side at all."""
    if limit.ratio_high is not None:
        return "list"
    if limit.low is not None and limit.high is not None:
        return "both"
    if limit.low is not None:
        return "low" if limit.low > 0.0 else None
    return "high" if limit.high is not None and limit.high > 0.0 else None


def to_coordinate(value: float, limit: Limit) -> tuple:
    """Return (coordinate, coordinate units per unit of the value) of a number."""
    kind = limit_kind(limit)
    if kind == "both":
        span = limit.high - limit.low or 1.0
        return (value - limit.low) / span, 1.0 / span
    bound = limit.low if kind == "low" else limit.high
    return value / bound, 1.0 / bound


def list_coordinate(found: Comparison, limit: Limit) -> float:
    """Return the worst cylinder's ratio over its rule, or rate over its ceiling, whichever is greater."""
    parts = [r / limit.ratio_high for r in found.ratios if r is not None] if limit.ratio_high else []
    if limit.rate_high and found.rates is not None:
        parts += [r / limit.rate_high for r in found.rates]
    return max(parts) if parts else 0.0


def conductance_coordinate(rates: list, pressure_bar: float, returns: Limit, pressure: Limit) -> float | None:
    """Return the mean injector return per bar, over the ceiling at the lowest good pressure; None where it has no meaning.

    Injectors that all leak alike are invisible to a ratio and, at low pressure, to a ceiling; per bar they are not. And one
    injector that stands out a little, at a low return, cannot be what brings the pressure down: the mean says so.
    """
    if not returns.rate_high or not pressure.low or pressure_bar <= 0.0:
        return None
    return mean(rates) / pressure_bar / (returns.rate_high / pressure.low)  # type: ignore[no-any-return]


def level_weights(coordinate: float, u: float, kind: str) -> dict:
    """Return {level: probability} of a reading at a coordinate with standard uncertainty u (in coordinates); sums to 1."""
    edges = EDGES[kind]
    weights = {}
    for j in range(len(edges) + 1):
        low = edges[j - 1] if j > 0 else None
        high = edges[j] if j < len(edges) else None
        # a value right on an edge belongs to the upper level, as a value on a lower limit is within it
        share = probability_inside(coordinate, u, low, u, high)
        if u == 0.0 and high is not None and coordinate == high:
            share = 0.0
        if share > 1e-6:
            weights[str(j)] = share
    total = sum([weights[name] for name in weights])
    return {name: weights[name] / total for name in weights}


def level_names(kind: str) -> list:
    return [str(j) for j in range(len(EDGES[kind]) + 1)]
