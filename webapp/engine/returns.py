"""Readings with one number a cylinder: injector returns and injector resistances.

Rules for this file: each cylinder is compared with the others of the same engine first; absolute figures second.
Method: ratio of each cylinder to the median of the *others* (a bad one cannot hide in its own median), per-minute rate
against a ceiling (which catches an engine whose injectors all leak), spread over the median. The probability that
v_i <= r * m uses the difference r*m - v_i with u^2 = u_i^2 + r^2 u_m^2, so that a zero median needs no division.
Grubbs' test is reported as support only: with four injectors G cannot exceed 1.5, so it hardly sees how bad one is.
Sources: ratio rule common practice, no source; Grubbs' test NIST/SEMATECH e-Handbook 1.3.5.17.1 (formula from memory,
values checked against scipy and the vectors of tests/engine/cases/returns.json).
"""

import math
from collections import namedtuple

from .limits import Limit, number_within
from .numeric import mean, median, normal_cdf, root_sum_square, sample_sd, student_t_quantile

# ratios to the median of the others (None where that is 0), rates [mL/min] or None, spread fraction or None
Comparison = namedtuple("Comparison", ("inside", "probability", "outliers", "ratios", "rates", "spread", "median", "why"))

GRUBBS_ALPHA = 0.05
ONE_MINUTE_S = 60.0


def median_of_others(values: list, index: int) -> float:
    """Return the median of all values but one; of a single value, that value."""
    others = values[:index] + values[index + 1 :]
    return median(others) if others else values[index]


def ratio_to_others(values: list, index: int) -> float | None:
    """Return values[index] over the median of the others; None where that median is 0."""
    centre = median_of_others(values, index)
    return values[index] / centre if centre != 0.0 else None


def ratio_probability(values: list, sizes: list, index: int, ratio_high: float) -> float:
    """Return the probability that one cylinder's true value is at most ratio_high times the median of the others.

    The median of the others is given the uncertainty of one reading, which is right for three and cautious for more.
    """
    centre = median_of_others(values, index)
    margin = ratio_high * centre - values[index]
    u = root_sum_square([sizes[index], ratio_high * max(sizes)])
    if u == 0.0:
        return 1.0 if margin >= 0.0 else 0.0
    return normal_cdf(margin / u)


def grubbs_statistic(values: list) -> float | None:
    """Return G = max|x - mean|/s; None for fewer than three values or for equal ones. Example: 22 24 21 58, 1.496."""
    if len(values) < 3:
        return None
    s = sample_sd(values)
    return max([abs(v - mean(values)) for v in values]) / s if s > 0.0 else None


def grubbs_critical(count: int, alpha: float, sides: int) -> float:
    """Return the critical value of G for count >= 3 values, one-sided (sides 1) or two-sided (2)."""
    t = student_t_quantile(1.0 - alpha / (sides * count), count - 2)
    return (count - 1) / math.sqrt(count) * math.sqrt(t * t / (count - 2 + t * t))


def grubbs_note(values: list) -> str | None:
    """Return a supporting sentence when Grubbs' two-sided 5 % test sees an outlier as well."""
    g = grubbs_statistic(values)
    if g is None or g <= grubbs_critical(len(values), GRUBBS_ALPHA, 2):
        return None
    return "Grubbs' test sees an outlier too (support only)."


def rates_per_minute(values: list, duration_s: float | None) -> list | None:
    return None if duration_s is None else [v * ONE_MINUTE_S / duration_s for v in values]


def spread_of(values: list) -> float | None:
    """Return (max - min)/median; None where the median is not positive."""
    centre = median(values)
    return (max(values) - min(values)) / centre if centre > 0.0 else None


def cylinder_findings(values: list, sizes: list, rates: list | None, duration_s: float | None, limit: Limit) -> list:
    """Return rows (cylinder number, inside, probability, why) of every rule against every cylinder."""
    rows = []
    for i in range(len(values)):
        inside, probability = number_within(values[i], sizes[i], limit)
        rows.append((i + 1, inside, probability, "is outside its own limits"))
        if limit.ratio_high is not None and len(values) > 1:
            within = values[i] <= limit.ratio_high * median_of_others(values, i)
            chance = ratio_probability(values, sizes, i, limit.ratio_high)
            ratio = ratio_to_others(values, i)
            times = "far above" if ratio is None else f"{ratio:.1f} times"
            rows.append((i + 1, within, chance, f"is {times} the others (at most {limit.ratio_high:g})"))
        if limit.rate_high is not None and rates is not None and duration_s is not None:
            u = sizes[i] * ONE_MINUTE_S / duration_s
            ceiling = Limit("", None, limit.rate_high, 0.0, 0.0, [], None, None, None, None, "", None)
            inside, probability = number_within(rates[i], u, ceiling)
            rows.append((i + 1, inside, probability, f"is {rates[i]:.0f} mL/min (at most {limit.rate_high:g})"))
    return rows


def spread_finding(values: list, sizes: list, limit: Limit) -> tuple | None:
    """Return (outliers, inside, probability, why) of the spread rule, None where it does not apply."""
    spread = spread_of(values)
    if limit.spread_high is None or spread is None or len(values) < 2:
        return None
    centre = median(values)
    far = max([abs(v - centre) for v in values])
    outliers = [i + 1 for i in range(len(values)) if abs(values[i] - centre) == far]
    u = math.sqrt(2.0) * max(sizes) / centre
    inside = spread <= limit.spread_high
    chance = normal_cdf((limit.spread_high - spread) / u) if u > 0.0 else (1.0 if inside else 0.0)
    return outliers, inside, chance, f"differ by more than {100.0 * limit.spread_high:g} %"


def compare_cylinders(values: list, sizes: list, duration_s: float | None, limit: Limit) -> Comparison:
    """Judge a reading with one number a cylinder.

    Inputs: values [canonical unit] one a cylinder, sizes their standard uncertainties, duration_s [s] or None.
    Returns: Comparison; outliers are cylinder numbers from 1; probability is that of the worst rule and cylinder (not a
    product, since the rules look at the same numbers).
    Valid when: all cylinders were collected at the same time, in the same state.
    """
    rates = rates_per_minute(values, duration_s)
    rows = cylinder_findings(values, sizes, rates, duration_s, limit)
    bad = [row for row in rows if not row[1]]
    outliers = sorted({row[0] for row in bad})
    why = [f"cylinder {row[0]} {row[3]}" for row in bad]
    probability = min([row[2] for row in rows])
    spread = spread_finding(values, sizes, limit)
    if spread is not None:
        probability = min(probability, spread[2])
        if not spread[1]:
            outliers = outliers or spread[0]
            why.append("the cylinders " + spread[3])
    ratios = [ratio_to_others(values, i) for i in range(len(values))]
    return Comparison(not why, probability, outliers, ratios, rates, spread_of(values), median(values), why)
