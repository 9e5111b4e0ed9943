"""The uncertainty functions against general-purpose libraries: GTC (a national metrology institute's) and uncertainties."""

import math
import random
import statistics

import GTC
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from webapp.engine import limits, returns, uncertainty
from webapp.engine.limits import Limit

POSITIVE = st.floats(0.001, 1000)
OPEN_LIMIT = Limit("", None, None, 0.0, 0.0, [], 2.0, None, None, None, "", None)


@given(st.lists(st.tuples(POSITIVE, st.integers(1, 60)), min_size=1, max_size=6))
def test_combination_and_degrees_of_freedom_equal_gtc(terms: list[tuple[float, int]]) -> None:
    total = sum(GTC.ureal(0.0, u, dof) for u, dof in terms)
    sizes, dofs = [u for u, _ in terms], [dof for _, dof in terms]
    assert uncertainty.combine_uncertainty(sizes) == pytest.approx(GTC.uncertainty(total), rel=1e-9)
    assert uncertainty.effective_dof(sizes, dofs) == pytest.approx(GTC.dof(total), rel=1e-9)


@given(
    st.lists(POSITIVE, min_size=2, max_size=2), st.lists(st.floats(-50, 50), min_size=2, max_size=2), st.floats(-0.99, 0.99)
)
def test_correlated_inputs_equal_gtc(sizes: list[float], factors: list[float], r: float) -> None:
    x, y = (GTC.ureal(1.0, u, independent=False) for u in sizes)
    GTC.set_correlation(r, x, y)
    expected = GTC.uncertainty(factors[0] * x + factors[1] * y)
    found = uncertainty.combine_correlated(factors, sizes, [[0, 1, r]])
    assert found == pytest.approx(expected, rel=1e-6, abs=1e-6)


def test_a_ratiometric_limit_carries_the_reference_uncertainty() -> None:
    """0.6 V at 5 V nominal, reference 4.80 V known to 0.02 V: the limit is 0.576 V, uncertain as the library says."""
    row = Limit("", 0.4, 0.6, 0.0, 0.0, [], None, None, None, None, "", None)
    scaled = limits.scale_limit(row, {"nominal": 5.0, "from": 4.5, "to": 5.5}, (4.8, 0.02))
    expected = 0.6 * ufloat(4.8, 0.02) / 5.0
    assert scaled.high == pytest.approx(expected.nominal_value, rel=1e-12)
    assert scaled.high_u == pytest.approx(expected.std_dev, rel=1e-12)


def test_ratio_probability_against_simulation() -> None:
    """The chance that cylinder 4 is within twice the others, by 200,000 draws of a seeded generator."""
    values, u, chance = [21.0, 23.0, 22.0, 45.0], 1.5, random.Random(7)
    inside = 0
    draws = 200_000
    for _ in range(draws):
        others = [chance.gauss(v, u) for v in values[:3]]
        inside += chance.gauss(values[3], u) <= 2.0 * statistics.median(others)
    stated = returns.ratio_probability(values, [u] * 4, 3, 2.0)
    # the stated value gives the median the spread of a single reading, which is wider than the truth: never too sure
    assert abs(stated - 0.5) <= abs(inside / draws - 0.5)
    assert stated == pytest.approx(inside / draws, abs=0.05)


def test_verdicts_of_lists_name_each_rule() -> None:
    found = returns.compare_cylinders([5.0, 5.0, 6.0, 30.0], [0.5] * 4, 30.0, OPEN_LIMIT)
    assert (found.inside, found.outliers, math.isclose(found.ratios[3], 6.0)) == (False, [4], True)


def test_all_injectors_leaking_is_caught_by_the_ceiling_only() -> None:
    """Four bad ones are alike: the ratio rule is blind, the rate per minute is not."""
    alike = [60.0, 61.0, 59.0, 60.0]
    assert returns.compare_cylinders(alike, [1.0] * 4, 30.0, OPEN_LIMIT).inside
    ceiling = Limit("", None, None, 0.0, 0.0, [], 2.0, 90.0, None, None, "", None)
    assert returns.compare_cylinders(alike, [1.0] * 4, 30.0, ceiling).outliers == [1, 2, 3, 4]
