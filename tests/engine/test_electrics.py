"""Sensor, dummy load, outside drive: properties and refusals; the vectors are rows of cases/electrics.json."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from webapp.engine.electrics import E12, dummy_load, nearest_e12, outside_drive, sensor_pressure
from webapp.engine.problems import EngineError

SENSOR = [[0.5, 0], [4.5, 1800]]


@given(st.floats(0.3, 4.7), st.floats(4.0, 5.5), st.floats(0.8, 1.2))
def test_volts_and_reference_together_scaled_are_the_same_pressure(volts: float, reference: float, scale: float) -> None:
    one = sensor_pressure({"volts": volts, "reference_v": reference, "sensor": SENSOR})["bar"]
    two = sensor_pressure({"volts": volts * scale, "reference_v": reference * scale, "sensor": SENSOR})["bar"]
    assert one == pytest.approx(two, rel=1e-9, abs=1e-6)


@given(st.floats(0.06, 900.0))
def test_the_resistor_is_in_the_series_and_near(ohm: float) -> None:
    found = nearest_e12(ohm)
    assert found / ohm == pytest.approx(1.0, rel=0.12)
    mantissa = float(f"{found:.6e}".split("e")[0])
    assert any(mantissa == pytest.approx(entry) for entry in E12)


@given(st.floats(0.5, 30.0), st.floats(6.0, 28.0), st.floats(0.0, 1.0))
def test_a_resistor_carries_at_least_twice_its_power(ohm: float, supply: float, duty: float) -> None:
    found = dummy_load({"coil_ohm": ohm, "supply_v": supply, "duty": duty})
    assert found["rating_w"] is None or found["rating_w"] >= 2.0 * found["power_w"]


@given(st.floats(0.5, 30.0), st.floats(6.0, 28.0))
def test_more_voltage_is_less_time(ohm: float, supply: float) -> None:
    one = outside_drive({"coil_ohm": ohm, "supply_v": supply})
    two = outside_drive({"coil_ohm": ohm, "supply_v": 2.0 * supply})
    assert one["on_time_s"] == pytest.approx(4.0 * two["on_time_s"])
    assert one["current_hot_a"] < one["current_a"]


WARNED = [
    (sensor_pressure, {"volts": 1.0, "sensor": SENSOR}, "reference was not read"),
    (sensor_pressure, {"volts": 1.0, "sensor": SENSOR, "reference_v": 4.5}, "outside what is usual"),
    (sensor_pressure, {"volts": 0.1, "sensor": SENSOR, "reference_v": 5.0}, "open or shorted"),
    (dummy_load, {"coil_ohm": 0.3, "supply_v": 28}, "more than a single resistor"),
    (outside_drive, {"coil_ohm": 3, "supply_v": 12}, "highest current is not known"),
    (outside_drive, {"coil_ohm": 3, "supply_v": 12, "most_a": 2}, "above the 2 A allowed"),
]


@pytest.mark.parametrize(("call", "request_", "words"), WARNED, ids=[w[2] for w in WARNED])
def test_warned(call, request_: dict, words: str) -> None:
    assert any(words in text for text in call(request_)["warnings"])


def test_nothing_to_warn_of_at_the_sensor() -> None:
    assert sensor_pressure({"volts": 1.0, "sensor": SENSOR, "reference_v": 5.0})["warnings"] == []


REFUSED = [
    (sensor_pressure, {"sensor": SENSOR}, "volts", "missing"),
    (sensor_pressure, {"volts": "1", "sensor": SENSOR}, "volts", "not_a_number"),
    (sensor_pressure, {"volts": 1.0}, "sensor", "not_a_pair"),
    (sensor_pressure, {"volts": 1.0, "sensor": [[0.5, 0], [0.5, 1800]]}, "sensor", "impossible_value"),
    (sensor_pressure, {"volts": 1.0, "sensor": [[0.5, 0], ["4.5", 1800]]}, "sensor[1]", "not_a_number"),
    (sensor_pressure, {"volts": 1.0, "sensor": [[0.5, 0], [4.5, 1e9]]}, "sensor[1]", "impossible_value"),
    (sensor_pressure, {"volts": 1.0, "sensor": SENSOR, "reference_v": 0}, "reference_v", "impossible_value"),
    (dummy_load, {"coil_ohm": 0, "supply_v": 12}, "coil_ohm", "impossible_value"),
    (dummy_load, {"coil_ohm": 3, "supply_v": 12, "duty": 1.5}, "duty", "impossible_value"),
    (outside_drive, {"coil_ohm": 3, "supply_v": 12, "start_c": 120}, "hottest_c", "impossible_value"),
    (outside_drive, {"coil_ohm": True, "supply_v": 12}, "coil_ohm", "not_a_number"),
]


@pytest.mark.parametrize(("call", "request_", "field", "code"), REFUSED, ids=range(len(REFUSED)))
def test_refused_by_name(call, request_: dict, field: str, code: str) -> None:
    with pytest.raises(EngineError) as caught:
        call(request_)
    assert (caught.value.field, caught.value.code) == (field, code)
