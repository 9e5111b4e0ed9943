"""The rail's hydraulics against a numerical solution of the mass balance, and the fuel's stiffness against n-dodecane."""

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from webapp.engine import hydraulics as hy

BAR, ML_MIN = hy.BAR_PA, hy.ML_MIN_M3_S
VOLUME, MODULUS = 30e-6, 1.5e9
CAPACITANCE = VOLUME / MODULUS
RESISTANCE = 1000 * BAR / (50 * ML_MIN)
TAU = RESISTANCE * CAPACITANCE


def integrate(slope: object, start_pa: float, time_s: float) -> float:
    """Return the pressure [Pa] after time_s by a general-purpose solver (scipy, tight tolerances)."""
    done = solve_ivp(lambda t, p: [slope(p[0])], (0, time_s), [start_pa], rtol=1e-11, atol=1e-3, method="LSODA")
    return float(done.y[0, -1])


@pytest.mark.parametrize("time_s", [0.1, 1.0, 5.0])
def test_a_gap_empties_as_the_balance_says(time_s: float) -> None:
    found = integrate(lambda p: -p / RESISTANCE / CAPACITANCE, 1600 * BAR, time_s)
    assert hy.laminar_decay(1600 * BAR, time_s, TAU) == pytest.approx(found, rel=1e-7)


@pytest.mark.parametrize("time_s", [0.1, 0.5, 1.5])
def test_a_hole_empties_as_the_balance_says(time_s: float) -> None:
    def slope(p: float) -> float:
        return -hy.orifice_flow(0.7, 0.1e-3, max(p, 0.0), 820) / CAPACITANCE

    rate = hy.orifice_rate(0.7, 0.1e-3, 820, CAPACITANCE)
    assert hy.orifice_decay(1600 * BAR, time_s, rate) == pytest.approx(integrate(slope, 1600 * BAR, time_s), rel=1e-7)


@pytest.mark.parametrize("time_s", [0.2, 1.0, 8.0])
def test_the_pump_fills_as_the_balance_says(time_s: float) -> None:
    flow = hy.pump_delivery(200, 0.5, 0.6e-6, 0.9)
    found = integrate(lambda p: (flow - p / RESISTANCE) / CAPACITANCE, 0.0, time_s)
    assert hy.laminar_rise(time_s, flow, RESISTANCE, CAPACITANCE) == pytest.approx(found, rel=1e-7)


@pytest.mark.parametrize("time_s", [0.5, 5.0])
def test_a_constant_draw_empties_as_the_balance_says(time_s: float) -> None:
    found = integrate(lambda p: -hy.bulk_modulus(p) / VOLUME * 20 * ML_MIN, 1600 * BAR, time_s)
    drawn = hy.draw_pressure(1600 * BAR, time_s, 20 * ML_MIN, VOLUME, hy.resting_modulus(), hy.MODULUS_GROWTH)
    assert drawn == pytest.approx(found, rel=1e-7)


PRESSURES = st.floats(1 * BAR, 2000 * BAR)
FLOWS = st.floats(0.1 * ML_MIN, 2000 * ML_MIN)


@given(PRESSURES, FLOWS)
def test_drawing_what_was_filled_empties_the_rail(pressure: float, flow: float) -> None:
    volume = hy.fill_volume(pressure, VOLUME, 1.2e9, 12.0)
    just_before = hy.draw_pressure(pressure, 0.999 * volume / flow, flow, VOLUME, 1.2e9, 12.0)
    assert 0.0 < just_before < 0.002 * pressure
    assert hy.draw_pressure(pressure, 1.001 * volume / flow, flow, VOLUME, 1.2e9, 12.0) == 0.0


@given(st.floats(1 * BAR, 500 * BAR), FLOWS)
def test_the_rise_reaches_the_target_when_it_says(target: float, flow: float) -> None:
    time_s = hy.laminar_rise_time(target, flow, RESISTANCE, CAPACITANCE)
    if time_s is None:
        assert flow * RESISTANCE <= target
    else:
        assert hy.laminar_rise(time_s, flow, RESISTANCE, CAPACITANCE) == pytest.approx(target, rel=1e-6)


@given(PRESSURES, st.floats(0.05, 600))
def test_the_leak_of_a_half_time_halves_the_pressure(pressure: float, half_s: float) -> None:
    leak = hy.halving_leak(half_s, pressure, VOLUME, MODULUS)
    tau = hy.laminar_resistance(pressure, leak) * CAPACITANCE
    assert hy.laminar_decay(pressure, half_s, tau) == pytest.approx(pressure / 2, rel=1e-9)


def test_stiffness_grows_more_slowly_than_with_a_constant_modulus() -> None:
    """A nearly constant modulus gives the volume of the constant one, from either side of zero growth."""
    plain = hy.fill_volume(1000 * BAR, VOLUME, 1.5e9, 0.0)
    assert hy.fill_volume(1000 * BAR, VOLUME, 1.5e9, 1e-6) == pytest.approx(plain, rel=1e-6)
    assert hy.fill_volume(1000 * BAR, VOLUME, 1.5e9, 12.0) < plain


# adiabatic modulus of n-dodecane [MPa] at 40 degC by pressure [bar], at 1 bar by temperature: computed with CoolProp 8.0.0
DODECANE_AT_40 = [(1, 1096.8), (300, 1466.8), (1000, 2237.3), (1600, 2850.6)]
DODECANE_AT_1_BAR = [(20, 1268.8), (40, 1096.8), (60, 946.5)]


def test_growth_with_pressure_is_that_of_a_similar_fuel() -> None:
    for (low, k_low), (high, k_high) in itertools.pairwise(DODECANE_AT_40):
        slope = (k_high - k_low) / (0.1 * (high - low))
        found = (hy.bulk_modulus(high * BAR) - hy.bulk_modulus(low * BAR)) / ((high - low) * BAR)
        assert found == pytest.approx(slope, rel=0.2)


def test_fall_with_temperature_is_that_of_a_similar_fuel() -> None:
    slope = (DODECANE_AT_1_BAR[-1][1] - DODECANE_AT_1_BAR[0][1]) / 40
    found = (hy.bulk_modulus(BAR, 60) - hy.bulk_modulus(BAR, 20)) / 40 / 1e6
    assert found == pytest.approx(slope, rel=0.05)


def test_diesel_is_a_little_stiffer_than_the_lighter_fuel() -> None:
    for pressure, modulus in DODECANE_AT_40:
        assert 1.0 < hy.bulk_modulus(pressure * BAR) / (modulus * 1e6) < 1.15


@pytest.mark.parametrize(("leak", "shape"), [("gap", "gap"), ("hole", "hole")])
def test_the_straighter_line_names_the_leak(leak: str, shape: str) -> None:
    times = [0.1 * i for i in range(8)]
    rate = hy.orifice_rate(0.7, 0.1e-3, 820, CAPACITANCE)
    falls = {
        "gap": [hy.laminar_decay(1600 * BAR, t, TAU) for t in times],
        "hole": [hy.orifice_decay(1600 * BAR, t, rate) for t in times],
    }
    found = hy.leak_shape(times, falls[leak])
    assert found["shape"] == shape
    assert found[f"{shape}_r2"] == pytest.approx(1.0, abs=1e-9)


def test_a_gap_leaks_with_the_cube_of_its_width() -> None:
    narrow, wide = (hy.clearance_flow(4e-3, h, 15e-3, 2e-3, 1000 * BAR) for h in (1.5e-6, 3e-6))
    assert wide / narrow == pytest.approx(8.0)
    touching = hy.clearance_flow(4e-3, 1.5e-6, 15e-3, 2e-3, 1000 * BAR, 1.0)
    assert touching / narrow == pytest.approx(2.5)
    assert math.isclose(hy.clearance_flow(4e-3, 1.5e-6, 15e-3, 1e-3, 1000 * BAR), 2 * narrow)
