"""Start and speed of cranking from battery voltage or starter current, against signals that are known."""

import math
import random
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from webapp.engine.cranking import read_cranking

START_S = 0.412
WEAK = 1


def voltage(hertz: float) -> Callable[[float], float]:
    def at(t: float) -> float:
        since = t - START_S
        if since < 0.0 or since > 3.0:
            return 12.6
        return 10.4 - 2.0 * math.exp(-since / 0.06) - 0.25 * math.cos(2.0 * math.pi * hertz * since)

    return at


def current(hertz: float, cylinders: int) -> Callable[[float], float]:
    """The cylinder WEAK pulls 0.7 of what the others do."""

    def at(t: float) -> float:
        since = t - START_S
        if since < 0.0:
            return 1.0
        share = 0.7 if int(since * hertz) % cylinders == WEAK else 1.0
        return 150.0 + share * 25.0 * (1.0 - math.cos(2.0 * math.pi * hertz * since)) + 450.0 * math.exp(-since / 0.05)

    return at


def record(signal: Callable[[float], float], step: float, noise: float, seed: int) -> tuple[list, list]:
    rng = random.Random(seed)
    shift = rng.random() * step
    t = [shift + i * step for i in range(round(4.0 / step))]
    return t, [signal(x) + rng.gauss(0.0, noise) for x in t]


@settings(max_examples=60, deadline=None)
@given(st.floats(100.0, 320.0), st.sampled_from([3, 4, 6]), st.sampled_from([0.0005, 0.002, 0.008]), st.integers(0, 10**6))
def test_start_and_speed_come_back(rpm: float, cylinders: int, step: float, seed: int) -> None:
    t, v = record(voltage(rpm * cylinders / 120.0), step, 0.02, seed)
    found = read_cranking(t, v, "battery_voltage", cylinders)
    assert found is not None
    assert abs(found["start_s"] - START_S) <= 2.0 * step
    assert found["speed"]["speed_rpm"] == pytest.approx(rpm, rel=0.01)
    assert found["end_s"] == pytest.approx(START_S + 3.0, abs=0.02)


def test_eight_compressions_a_second_and_four_cylinders() -> None:
    """8.4 compressions a second are 4.2 turns a second: 252 rpm."""
    t, v = record(voltage(8.4), 0.002, 0.0, 1)
    found = read_cranking(t, v, "battery_voltage", 4)
    assert found is not None
    assert found["speed"]["speed_rpm"] == pytest.approx(252.0, rel=0.002)
    assert found["speed"]["relative"] == pytest.approx([1.0] * 4, abs=0.03)
    assert found["extreme"] == pytest.approx(10.1, abs=0.1)


@pytest.mark.parametrize("cylinders", [4, 6])
def test_a_weak_cylinder_is_seen_in_the_starters_current(cylinders: int) -> None:
    t, amps = record(current(9.0, cylinders), 0.001, 1.0, 2)
    found = read_cranking(t, amps, "starter_current", cylinders)
    assert found is not None
    relative = sorted(found["speed"]["relative"])
    assert relative[0] == pytest.approx(0.7 * cylinders / (cylinders - 0.3), abs=0.05)
    assert relative[1] > 0.97


@pytest.mark.parametrize("step", [0.05, 0.1])
def test_a_record_too_slow_for_the_ripple_gives_no_speed(step: float) -> None:
    t, v = record(voltage(8.4), step, 0.0, 3)
    found = read_cranking(t, v, "battery_voltage", 4)
    assert found is not None
    assert found["speed"] is None
    assert abs(found["start_s"] - START_S) <= 1.5 * step


@pytest.mark.parametrize(("kind", "level"), [("battery_voltage", 12.6), ("starter_current", 3.0)])
def test_a_quiet_record_has_no_start(kind: str, level: float) -> None:
    t, v = record(lambda t: level, 0.01, 0.03, 4)
    assert read_cranking(t, v, kind, 4) is None


def test_a_smaller_load_before_is_not_the_starter() -> None:
    t, v = record(lambda t: voltage(8.4)(t) - (0.8 if 0.1 < t < START_S else 0.0), 0.002, 0.01, 5)
    found = read_cranking(t, v, "battery_voltage", 4)
    assert found is not None
    assert found["start_s"] == pytest.approx(START_S, abs=0.004)
