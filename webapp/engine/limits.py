"""Limits: which apply to a case, and how surely a reading lies within them.

Rules for this file: a limit carries where it comes from; a limit that depends on another reading carries that reading's
uncertainty too.
Method: conformance probability of a normal measurand, P = Phi((T_U - y)/u) - Phi((T_L - y)/u). Rule `simple`: the value
itself decides. Rule `guarded`: pass or fail only with the asked confidence, else unclear.
Sources: JCGM 106:2012 7.3, 7.4 (probability) and 8.3 (guard bands), clause numbers from memory; its examples as quoted by
secondary copies are the rows of tests/engine/cases/limits.json.
"""

from collections import namedtuple

from .book import Book
from .numeric import normal_cdf, normal_quantile, student_t_cdf
from .uncertainty import combine_uncertainty

# low, high [canonical unit]; low_u, high_u standard uncertainty of the limit itself; note: one sentence or None
Limit = namedtuple(
    "Limit",
    ("quantity", "low", "high", "low_u", "high_u", "good", "ratio_high", "rate_high", "spread_high", "target_bar",
     "basis", "note"),
)  # fmt: skip

CLOSE_BELOW = 0.95
CLOSE_ABOVE = 0.05
RULES = ("simple", "guarded")


def cdf_between(low_z: float | None, high_z: float | None, dof: float | None) -> float:
    """Return the probability between two standardised limits; normal, or Student's t when dof is given."""

    def below(z: float) -> float:
        return normal_cdf(z) if dof is None else student_t_cdf(z, dof)

    # from the nearer tail, so that a value far outside keeps its small probability instead of 1 - 1
    if low_z is None:
        return 1.0 if high_z is None else below(high_z)
    if high_z is None:
        return below(-low_z)
    if low_z > 0:
        return max(below(-low_z) - below(-high_z), 0.0)
    return max(below(high_z) - below(low_z), 0.0)


def conformance_probability(
    value: float, u: float, low: float | None, high: float | None, dof: float | None = None
) -> float:
    """Return the probability that the true value lies within [low, high].

    Inputs: value and its standard uncertainty u >= 0, in the unit of the limits; None for a side without a limit;
    dof degrees of freedom of u, None when well known.
    Returns: 0..1; with u = 0 the value decides.
    Source: JCGM 106:2012 7.3.1, 7.4. Example: 13.6 with u 1.8 in 12.5..16.3 gives 0.66.
    """
    return probability_inside(value, u, low, u, high, dof)


def probability_inside(
    value: float, low_u: float, low: float | None, high_u: float, high: float | None, dof: float | None = None
) -> float:
    """As conformance_probability, with an uncertainty of its own for each side (limits that were measured)."""
    if (low is not None and low_u == 0.0 and value < low) or (high is not None and high_u == 0.0 and value > high):
        return 0.0
    low_z = None if low is None or low_u == 0.0 else (low - value) / low_u
    high_z = None if high is None or high_u == 0.0 else (high - value) / high_u
    return cdf_between(low_z, high_z, dof)


def guard_band(u: float, confidence: float) -> float:
    """Return w = z u, the distance from a single limit at which conformity has the asked confidence (JCGM 106 8.3.2)."""
    return normal_quantile(confidence) * u


def is_close(probability: float) -> bool:
    """True when the reading is neither surely within nor surely outside (CASE.md: between 5 % and 95 %)."""
    return CLOSE_ABOVE < probability < CLOSE_BELOW


def decide(inside: bool, probability: float, rule: str, confidence: float) -> str:
    """Return 'pass', 'fail' or, under the guarded rule only, 'unclear'."""
    if rule == "simple":
        return "pass" if inside else "fail"
    if probability >= confidence:
        return "pass"
    return "fail" if 1.0 - probability >= confidence else "unclear"


def scale_limit(limit: Limit, scaling: dict, reference: tuple | None) -> Limit:
    """Scale low and high by a measured reference over its nominal value.

    Inputs: scaling {quantity, nominal, from, to}; reference (value, u) or None where it was not measured.
    Outside from..to the reference is itself the fault, so the nominal value stays and a note says so.
    """
    if reference is None:
        return limit
    value, u = reference
    if not scaling["from"] <= value <= scaling["to"]:
        note = f"the measured reference of {value:g} is out of order itself; limits for {scaling['nominal']:g} were used"
        return limit_with(limit, limit.low, limit.high, 0.0, 0.0, note)
    ratio, relative = value / scaling["nominal"], u / scaling["nominal"]
    low = None if limit.low is None else limit.low * ratio
    high = None if limit.high is None else limit.high * ratio
    note = f"limits follow the measured reference of {value:g}"
    return limit_with(limit, low, high, abs(limit.low or 0.0) * relative, abs(limit.high or 0.0) * relative, note)


def limit_with(limit: Limit, low: float | None, high: float | None, low_u: float, high_u: float, note: str | None) -> Limit:
    """Return the limit with other bounds (named tuples have no _replace on the phone)."""
    return Limit(
        limit.quantity, low, high, low_u, high_u, limit.good, limit.ratio_high, limit.rate_high, limit.spread_high,
        limit.target_bar, limit.basis, note,
    )  # fmt: skip


def plain_limit(row: dict, override: dict | None, target_bar: float | None) -> Limit:
    """Return the limit of a profile row; an override replaces the sides it names and the basis."""
    low, high, basis = row["low"], row["high"], row["basis"]
    ratio, rate, spread = row["ratio_high"], row["rate_high"], row["spread_high"]
    if override is not None:
        low, high = override.get("low", low), override.get("high", high)
        ratio, rate = override.get("ratio_high", ratio), override.get("rate_high", rate)
        spread = override.get("spread_high", spread)
        basis = override["reason"]
    return Limit(row["quantity"], low, high, 0.0, 0.0, row["good"], ratio, rate, spread, target_bar, basis, None)


def resolve_limits(chosen: dict, latest: dict, book: Book) -> dict:
    """Return the limits that apply to a case.

    Inputs: chosen {profile, overrides}, checked; latest {quantity id: Reading} the readings that count.
    Returns: {quantity id: Limit}, dependent limits worked out.
    """
    rows, overrides = book.limits[chosen["profile"]], chosen["overrides"]
    limits = {}
    for name in book.quantity_order:
        row = rows.get(name)
        if row is None:
            continue
        target = row["target_from"]
        target_bar = None
        if target is not None:
            other = plain_limit(rows[target["quantity"]], overrides.get(target["quantity"]), None)
            target_bar = other.low if target["limit"] == "low" else other.high
        limit = plain_limit(row, overrides.get(name), target_bar)
        if row["scaled_by"] is not None and name not in overrides:
            reference = latest.get(row["scaled_by"]["quantity"])
            known = reference is not None and reference.doubt is None
            limit = scale_limit(
                limit,
                row["scaled_by"],
                (reference.value, reference.uncertainty) if known else None,  # type: ignore[union-attr]
            )
        limits[name] = limit
    return limits


def number_within(value: float, u: float, limit: Limit) -> tuple:
    """Return (inside, probability) of one number against the sides of a limit."""
    inside = (limit.low is None or value >= limit.low) and (limit.high is None or value <= limit.high)
    low_u, high_u = combine_uncertainty([u, limit.low_u]), combine_uncertainty([u, limit.high_u])
    return inside, probability_inside(value, low_u, limit.low, high_u, limit.high)
