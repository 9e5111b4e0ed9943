"""Tolerance limits against published tables, and their promise kept on made-up samples."""

import numpy
import pytest
from scipy import stats

from webapp.store import insights_tolerance as tolerance

# NIST/SEMATECH e-Handbook 7.2.6.3: 43 values, coverage 0.90, confidence 0.99
NIST = (43, 0.90, 0.99)

# coverage, confidence, count, one-sided, two-sided exact, Howe: computed by scipy from the formulas of the same page; those
# for 95/95 agree with ISO 16269-6:2014 from memory
TABLE = [
    (0.95, 0.95, 3, 7.6559, 9.7888, 9.9928),
    (0.95, 0.95, 4, 5.1439, 6.3411, 6.3986),
    (0.95, 0.95, 5, 4.2027, 5.0769, 5.0935),
    (0.95, 0.95, 6, 3.7077, 4.4222, 4.4230),
    (0.95, 0.95, 8, 3.1873, 3.7455, 3.7360),
    (0.95, 0.95, 10, 2.9110, 3.3934, 3.3819),
    (0.95, 0.95, 20, 2.3960, 2.7603, 2.7523),
    (0.95, 0.95, 30, 2.2198, 2.5549, 2.5496),
    (0.95, 0.95, 50, 2.0650, 2.3816, 2.3788),
    (0.95, 0.95, 100, 1.9265, 2.2339, 2.2328),
    (0.90, 0.95, 10, 2.3546, 2.8563, None),
    (0.90, 0.95, 20, 1.9260, 2.3188, None),
    (0.90, 0.95, 50, 1.6456, 1.9990, None),
    (0.99, 0.95, 10, 3.9811, 4.4369, None),
    (0.99, 0.95, 20, 3.2952, 3.6210, None),
    (0.99, 0.95, 50, 2.8624, 3.1288, None),
    (0.95, 0.90, 10, 2.5684, 3.0257, None),
    (0.95, 0.90, 20, 2.2078, 2.5696, None),
    (0.95, 0.90, 50, 1.9653, 2.2855, None),
]
TURNS = 2000


def test_factors_of_the_handbook():
    assert tolerance.howe_factor(*NIST) == pytest.approx(2.217, abs=5e-4)
    assert tolerance.one_sided_factor(*NIST) == pytest.approx(1.8740, abs=5e-5)
    assert tolerance.one_sided_factor(6, 0.90, 0.99) == pytest.approx(4.4111, abs=5e-5)
    assert tolerance.two_sided_factor(*NIST) == pytest.approx(2.222825, abs=1e-6)


@pytest.mark.parametrize(("coverage", "confidence", "count", "one", "two", "howe"), TABLE)
def test_factors_of_the_table(coverage, confidence, count, one, two, howe):
    assert tolerance.one_sided_factor(count, coverage, confidence) == pytest.approx(one, abs=6e-5)
    assert tolerance.two_sided_factor(count, coverage, confidence) == pytest.approx(two, abs=6e-5)
    if howe:
        assert tolerance.howe_factor(count, coverage, confidence) == pytest.approx(howe, abs=6e-5)


@pytest.mark.parametrize(("coverage", "one", "two"), [(0.90, 29, 46), (0.95, 59, 93), (0.99, 299, 473)])
def test_fewest_values_for_limits_by_order(coverage, one, two):
    assert tolerance.fewest_by_order(1, coverage) == one
    assert tolerance.fewest_by_order(2, coverage) == two


def held(low: float, high: float) -> float:
    """The share of a standard normal population within limits."""
    return float(stats.norm.cdf(high) - stats.norm.cdf(low))


def share_kept(find, count: int, draw) -> float:
    """How often limits from a fresh sample hold at least 95 % of the population."""
    kept = [find(sorted(draw(count))) >= tolerance.COVERAGE for _ in range(TURNS)]
    return sum(kept) / TURNS


@pytest.mark.parametrize(("sides", "count"), [(1, 20), (2, 20), (2, 60)])
def test_normal_limits_keep_their_promise(sides, count):
    """0.95 within four standard errors of the simulation (0.0049)."""
    random = numpy.random.default_rng(7)

    def coverage(values):
        low, high = tolerance.bounds_if_normal(values, sides)
        return held(low if sides == 2 else -numpy.inf, high)

    assert share_kept(coverage, count, random.standard_normal) == pytest.approx(0.95, abs=0.02)


@pytest.mark.parametrize(("sides", "count"), [(1, 59), (1, 93), (2, 93), (2, 150)])
def test_limits_by_order_keep_their_promise_on_a_skewed_population(sides, count):
    """Never below the confidence; the steps between ranks make it more, by as much as the beta distribution of the coverage
    between two order statistics says (Wilks 1941 - from memory)."""
    random = numpy.random.default_rng(11)

    def coverage(values):
        low, high = tolerance.bounds_by_order(values, sides)
        return float(stats.expon.cdf(high) - (stats.expon.cdf(low) if sides == 2 else 0.0))

    cut = tolerance.cut_off(count)
    expected = stats.beta.sf(0.95, count - cut + 1, cut)
    assert expected >= 0.95
    assert share_kept(coverage, count, random.standard_exponential) == pytest.approx(expected, abs=0.02)


def test_nothing_is_proposed_below_the_sample_that_supports_it():
    random = numpy.random.default_rng(3)
    few = list(300 + 5 * random.standard_normal(19))
    assert tolerance.tolerance_bounds(few, True, False)[:5] == (None, None, None, 19, 20)
    enough = [*few, 300.0]
    bounds = tolerance.tolerance_bounds(enough, True, False)
    assert bounds.method == tolerance.NORMAL
    assert bounds.high is None
    mean, spread = numpy.mean(enough), numpy.std(enough, ddof=1)
    assert bounds.low == pytest.approx(mean - 2.3960 * spread, abs=1e-3)


def test_values_that_are_not_normal_wait_for_enough_to_go_by_their_order():
    skewed = list(numpy.random.default_rng(5).standard_exponential(92))
    waiting = tolerance.tolerance_bounds(skewed, True, True)
    assert waiting.low is None
    assert waiting.needed == 93
    assert waiting.shapiro_p < 0.001
    found = tolerance.tolerance_bounds([*skewed, 0.5], True, True)
    assert (found.low, found.high, found.method) == (min(skewed), max(skewed), tolerance.ORDER)
    one = tolerance.tolerance_bounds(skewed[:59], False, True)
    assert (one.low, one.high) == (None, max(skewed[:59]))


@pytest.mark.parametrize("values", [[], [5.0], [5.0, 5.0], [5.0] * 58])
def test_none_one_or_all_the_same(values):
    bounds = tolerance.tolerance_bounds(values, True, False)
    assert bounds[:3] == (None, None, None)
    assert bounds.shapiro_p is None
    assert bounds.needed > len(values)
