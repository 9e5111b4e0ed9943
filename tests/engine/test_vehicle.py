"""Virtual vehicles: physically consistent, the same from the same seed, and told apart by the reasoning.

What is asserted of the reasoning here is little and holds for every layout; the figures are those of tests/validate.py.
"""

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.engine.scenes import CATALOGUE
from webapp.engine.book import fits_vehicle, open_book
from webapp.engine.judge import judge_case
from webapp.engine.vehicle import FAULTS, PAIRS, delivery, make_car, make_draw, total_leak, true_values

BOOK = open_book(CATALOGUE)
NAMED = {fault["id"]: fault for fault in BOOK.faults}
VEHICLES = [(layout, supply) for layout in BOOK.layouts for supply in BOOK.supplies]
ROWS = [
    (layout, supply, fault)
    for layout, supply in VEHICLES
    for fault in NAMED
    if fits_vehicle(NAMED[fault], {"layout": layout, "supply": supply}) and fault not in ("none_of_these", *PAIRS)
]
TWINS = {"metering_valve_seized": "pump_worn"}


def picture(layout: str, supply: str, fault: str, severity: float = 0.55, left_out: str = "", seed: int = 5) -> dict:
    """Return a case in which everything that this vehicle can show was read, truly, but what it must run for."""
    car = make_car(seed, layout, supply, 4, fault, severity)
    readings = []
    for name, value in true_values(car, 285.0).items():
        quantity = BOOK.quantities[name]
        if quantity["state"] != "running" and name != left_out:
            more = {"duration_s": 30} if quantity["needs_duration"] else {}
            readings.append({"id": name, "quantity": name, "value": value, **more})
    vehicle = {"layout": layout, "supply": supply, "cylinders": 4}
    return {"format": "railcase-case/1", "id": "case", "vehicle": vehicle, "complaints": ["no_start"], "readings": readings}


@pytest.mark.parametrize("row", ROWS, ids=[" ".join(row) for row in ROWS])
def test_each_fault_is_told_from_the_others(row: tuple) -> None:
    layout, supply, fault = row
    found = judge_case(picture(layout, supply, fault), BOOK)
    first = found["suspects"][0]["fault"]
    assert NAMED[first]["component"] in (NAMED[fault]["component"], NAMED[TWINS.get(fault, fault)]["component"])
    assert found["pump"]["status"] != "condemned" or fault in ("pump_worn", "metering_valve_seized")


@pytest.mark.parametrize("vehicle", VEHICLES, ids=[" ".join(v) for v in VEHICLES])
def test_a_worn_pump_is_condemned_and_one_gap_keeps_it(vehicle: tuple) -> None:
    layout, supply = vehicle
    assert judge_case(picture(layout, supply, "pump_worn"), BOOK)["pump"]["status"] == "condemned"
    kind = {"layout": layout, "supply": supply}
    for gap in [name for row in BOOK.gate if fits_vehicle(row, kind) for name in row["quantities"]]:
        pump = judge_case(picture(layout, supply, "pump_worn", left_out=gap), BOOK)["pump"]
        assert (pump["status"], pump["missing"]) == ("open", [gap])


@pytest.mark.parametrize("vehicle", VEHICLES, ids=[" ".join(v) for v in VEHICLES])
def test_the_first_check_opens_nothing(vehicle: tuple) -> None:
    case = {"format": "railcase-case/1", "id": "case", "complaints": ["no_start"], "readings": [],
            "vehicle": {"layout": vehicle[0], "supply": vehicle[1], "cylinders": 4}}  # fmt: skip
    first = judge_case(case, BOOK)["next"][0]
    assert first["intrusion"] <= 1
    assert first["ready"]


@given(st.integers(0, 2**40), st.sampled_from(sorted(FAULTS)), st.sampled_from(VEHICLES), st.integers(1, 8), st.floats(0, 1))
@settings(max_examples=200, deadline=None)
def test_every_value_is_possible_and_consistent(
    seed: int, fault: str, vehicle: tuple, cylinders: int, severity: float
) -> None:
    car = make_car(seed, *vehicle, cylinders, fault, severity, 1.3)
    values = true_values(car, 285.0)
    for name, value in values.items():
        quantity = BOOK.quantities[name]
        if quantity["kind"] == "choice":
            assert value in [choice["id"] for choice in quantity["choices"]]
            continue
        for number in value if isinstance(value, list) else [value]:
            assert math.isfinite(number)
            assert quantity["possible"]["low"] <= number <= quantity["possible"]["high"], name
    assert (
        values["crank_pressure"]
        <= max(delivery(car, car["metering"]) / total_leak(car), 0.0) + abs(car["display_offset_bar"]) + 1e-9
    )


def test_the_same_seed_is_the_same_vehicle() -> None:
    assert make_car(9, "metering-only", "suction", 4, "pump_worn") == make_car(9, "metering-only", "suction", 4, "pump_worn")
    assert make_car(9, "metering-only", "suction", 4, "pump_worn") != make_car(
        10, "metering-only", "suction", 4, "pump_worn"
    )


def test_draws_are_even() -> None:
    """Mean and variance of 20,000 draws against the even distribution's 1/2 and 1/12, within four standard errors."""
    draw = make_draw(3)
    found = [draw() for _ in range(20_000)]
    mean = sum(found) / len(found)
    variance = sum((x - mean) ** 2 for x in found) / len(found)
    assert abs(mean - 0.5) < 4 * math.sqrt(1 / 12 / len(found))
    assert abs(variance - 1 / 12) < 4 * math.sqrt(1 / 180 / len(found))


def test_more_severe_is_never_more_pressure() -> None:
    for fault in ("pump_worn", "injector_return_high", "supply_restricted"):
        pressures = [
            true_values(make_car(4, "regulator-only", "electric", 4, fault, s / 10), 285.0)["crank_pressure"]
            for s in range(11)
        ]
        assert all(a > b - 12.0 for a, b in itertools.pairwise(pressures)), fault
        assert pressures[0] > 2 * pressures[-1]
