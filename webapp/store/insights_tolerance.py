"""Statistical tolerance limits: between which values lie at least 95 % of all sound vehicles, said with 95 % confidence.

Method: normal values by mean and standard deviation times a factor that grows as the sample shrinks; values that are not
normal by their order alone, which needs more of them.
Sources: NIST/SEMATECH e-Handbook 7.2.6.3 (factors; Howe's approximation starts the search for the exact two-sided one);
S. S. Wilks 1941 for limits by order - from memory; Shapiro and Wilk 1965 for the test of normality.
"""

import math
from collections.abc import Sequence
from functools import cache
from importlib import import_module
from statistics import fmean, stdev
from typing import Any, NamedTuple

COVERAGE = CONFIDENCE = 0.95  # common practice, no source
FEWEST_NORMAL = 20  # judgement: with fewer the test of normality sees next to nothing
DOUBT_BELOW = 0.05  # common practice, no source
SEARCH = (0.9, 1.1)  # Howe's factor is within 3 % from three values on
NORMAL, ORDER = "normal", "order"


@cache
def scipy(name: str) -> Any:
    """A part of scipy, read when it is first needed: it takes most of a second and 75 MB, which no other page uses."""
    return import_module(f"scipy.{name}")


class Bounds(NamedTuple):
    """`shapiro_p` is None where the test cannot be made; `size`: how many values there are; `needed`: how many the method
    asks for."""

    low: float | None
    high: float | None
    method: str | None
    size: int
    needed: int
    shapiro_p: float | None


@cache
def one_sided_factor(count: int, coverage: float = COVERAGE, confidence: float = CONFIDENCE) -> float:
    """Standard deviations from the mean to a one-sided limit, exact: the noncentral t distribution."""
    stats = scipy("stats")
    root = math.sqrt(count)
    return float(stats.nct.ppf(confidence, count - 1, stats.norm.ppf(coverage) * root)) / root


def howe_factor(count: int, coverage: float = COVERAGE, confidence: float = CONFIDENCE) -> float:
    """Two-sided, Howe's approximation."""
    stats = scipy("stats")
    spread = (count - 1) * (1 + 1 / count) / stats.chi2.ppf(1 - confidence, count - 1)
    return float(stats.norm.ppf((1 + coverage) / 2)) * math.sqrt(spread)


def reached_confidence(factor: float, count: int, coverage: float) -> float:
    """How often mean and standard deviation times `factor` hold the coverage, both sides together."""
    stats = scipy("stats")

    def weigh(shift: float) -> float:
        least = (count - 1) * stats.ncx2.ppf(coverage, 1, shift * shift) / factor**2
        return float(math.exp(-count * shift * shift / 2) * stats.chi2.sf(least, count - 1))

    # the mean lies within ten of its own standard deviations
    area = scipy("integrate").quad(weigh, 0, 10 / math.sqrt(count))[0]
    return 2 * math.sqrt(count / (2 * math.pi)) * float(area)


@cache
def two_sided_factor(count: int, coverage: float = COVERAGE, confidence: float = CONFIDENCE) -> float:
    """Standard deviations from the mean to both limits, exact. `count` at least 3."""
    start = howe_factor(count, coverage, confidence)
    found = scipy("optimize").brentq(
        lambda factor: reached_confidence(factor, count, coverage) - confidence, start * SEARCH[0], start * SEARCH[1]
    )
    return float(found)


@cache
def cut_off(count: int, coverage: float = COVERAGE, confidence: float = CONFIDENCE) -> int:
    """How many of the sorted values, counted over both ends, may lie on or outside the limits; 0 when none may."""
    binom = scipy("stats").binom
    # the chance of at least `cut` values in the part that is not covered falls as `cut` grows
    return next(cut - 1 for cut in range(1, count + 2) if binom.sf(cut - 1, count, 1 - coverage) < confidence)


@cache
def fewest_by_order(sides: int, coverage: float = COVERAGE, confidence: float = CONFIDENCE) -> int:
    """The smallest sample whose order gives limits: one value lies on each of them."""
    return next(count for count in range(2, 100_000) if cut_off(count, coverage, confidence) >= sides)


def question_normality(values: Sequence[float]) -> float | None:
    """The Shapiro-Wilk test's p; None where it cannot be made (fewer than three values, or all the same)."""
    if len(values) < 3 or min(values) == max(values):
        return None
    return float(scipy("stats").shapiro(values).pvalue)


def bounds_by_order(values: Sequence[float], sides: int) -> tuple[float, float]:
    """Low and high; with one side all that may be cut off is cut off there, with two half on each."""
    ordered = sorted(values)
    cut = cut_off(len(ordered))
    at_low, at_high = (cut, cut) if sides == 1 else (cut // 2, cut - cut // 2)
    return ordered[at_low - 1], ordered[-at_high]


def bounds_if_normal(values: Sequence[float], sides: int) -> tuple[float, float]:
    count = len(values)
    reach = stdev(values) * (one_sided_factor(count) if sides == 1 else two_sided_factor(count))
    return fmean(values) - reach, fmean(values) + reach


def tolerance_bounds(values: Sequence[float], wants_low: bool, wants_high: bool) -> Bounds:
    """The limits that these values support, or none with the number that is needed."""
    count, sides = len(values), int(wants_low) + int(wants_high)
    shapiro_p = question_normality(values)
    looks_normal = shapiro_p is not None and shapiro_p >= DOUBT_BELOW
    needed = FEWEST_NORMAL if looks_normal or count < FEWEST_NORMAL else fewest_by_order(sides)
    if count < needed or not sides:
        return Bounds(None, None, None, count, needed, shapiro_p)
    low, high = bounds_if_normal(values, sides) if looks_normal else bounds_by_order(values, sides)
    method = NORMAL if looks_normal else ORDER
    return Bounds(low if wants_low else None, high if wants_high else None, method, count, needed, shapiro_p)
