"""The signs at work: on every kind of vehicle each fault's own picture must lead to that fault, the pump last.

The pictures are made from the library itself: of every quantity the outcome that the fault makes most likely. So the
tests hold the data against itself and the engine, not against the world; the world's confirmed repairs do that later.
"""

import pytest

from webapp.engine.book import fits_vehicle, open_book
from webapp.engine.isolation import outcome_table
from webapp.engine.judge import judge_case
from webapp.library.loader import load_catalogue

BOOK = open_book(load_catalogue())
LIMITS = BOOK.limits["generic"]
VEHICLES = [(layout, supply) for layout in BOOK.layouts for supply in BOOK.supplies]

# what a sound engine shows; invented, inside the generic limits
SOUND = {
    "battery_voltage_rest": 12.6, "battery_voltage_cranking": 10.6, "cranking_speed": 230, "supply_pressure": 4.0,
    "supply_suction": -0.2, "sensor_reference_voltage": 5.0, "sensor_signal_voltage": 0.5, "rest_pressure": 18,
    "actuator_supply_voltage": 12.1, "commanded_pressure": 320, "crank_pressure": 315, "crank_rise_time": 0.9,
    "spring_pressure": 72, "regulator_resistance": 3.0, "metering_valve_resistance": 3.0, "held_pressure": 800,
    "open_metering_pressure": 600, "regulator_return_flow": 3, "relief_return_flow": 0, "injector_return": [9, 10, 11, 10],
    "injector_resistance": [0.33, 0.34, 0.33, 0.34], "decay_time": 20, "idle_pressure_error": 2, "load_pressure_error": -10,
}  # fmt: skip

# what it shows when it is clearly outside; invented
BAD = {
    ("battery_voltage_rest", "low"): 11.4, ("battery_voltage_cranking", "low"): 7.8, ("cranking_speed", "low"): 95,
    ("supply_pressure", "low"): 0.8, ("supply_pressure", "high"): 8.5, ("supply_suction", "low"): -0.75,
    ("supply_suction", "high"): 0.0, ("sensor_reference_voltage", "low"): 2.8, ("sensor_reference_voltage", "high"): 7.4,
    ("sensor_signal_voltage", "low"): 0.1, ("sensor_signal_voltage", "high"): 0.9, ("rest_pressure", "low"): -0.9,
    ("rest_pressure", "high"): 90, ("actuator_supply_voltage", "low"): 6, ("commanded_pressure", "low"): 20,
    ("crank_pressure", "low"): 150, ("crank_rise_time", "high"): 4, ("spring_pressure", "low"): 30,
    ("spring_pressure", "high"): 150, ("regulator_resistance", "low"): 0.9, ("regulator_resistance", "high"): 12,
    ("metering_valve_resistance", "low"): 0.6, ("metering_valve_resistance", "high"): 14, ("held_pressure", "low"): 150,
    ("open_metering_pressure", "low"): 150, ("regulator_return_flow", "high"): 150, ("relief_return_flow", "high"): 120,
    ("injector_return", "out"): [10, 11, 10, 64], ("injector_resistance", "out"): [0.3, 0.3, 0.3, 1.5],
    ("decay_time", "low"): 0.6, ("idle_pressure_error", "low"): -70, ("idle_pressure_error", "high"): 70,
    ("load_pressure_error", "low"): -300, ("load_pressure_error", "high"): 250,
}  # fmt: skip


def typical_value(fault: dict, quantity: dict) -> object:
    """Return the reading of the outcome that the fault makes most likely."""
    limit = LIMITS[quantity["id"]]
    table = outcome_table(fault, quantity, limit)
    outcome = max(sorted(table), key=lambda name: table[name])
    if quantity["kind"] == "choice":
        return outcome if fault["signs"] else limit["good"][0]
    return SOUND[quantity["id"]] if outcome == "in" else BAD[quantity["id"], outcome]


def picture(fault: dict, vehicle: dict, left_out: tuple = ()) -> dict:
    """Return a case in which everything was read but what the engine must run for."""
    readings = []
    for name in BOOK.quantity_order:
        quantity = BOOK.quantities[name]
        if fits_vehicle(quantity, vehicle) and quantity["state"] != "running" and name not in left_out:
            more = {"duration_s": 15, "state": "cranking"} if quantity["needs_duration"] else {}
            readings.append({"id": name, "quantity": name, "value": typical_value(fault, quantity), **more})
    return {"format": "railcase-case/1", "id": "case", "vehicle": vehicle, "complaints": ["no_start"], "readings": readings}


def rows() -> list:
    vehicles = [{"layout": layout, "supply": supply, "cylinders": 4} for layout, supply in VEHICLES]
    return [(fault, vehicle) for vehicle in vehicles for fault in BOOK.faults if fits_vehicle(fault, vehicle)]


ROWS = rows()
IDS = [f"{fault['id']} {vehicle['layout']} {vehicle['supply']}" for fault, vehicle in ROWS]


@pytest.mark.parametrize("row", ROWS, ids=IDS)
def test_the_fault_comes_first(row: tuple) -> None:
    fault, vehicle = row
    assessment = judge_case(picture(fault, vehicle), BOOK)
    assert assessment["suspects"][0]["fault"] == fault["id"]
    assert assessment["suspects"][0]["probability"] > 0.8


@pytest.mark.parametrize("row", ROWS, ids=IDS)
def test_the_pump_is_condemned_only_when_it_is_worn(row: tuple) -> None:
    fault, vehicle = row
    assessment = judge_case(picture(fault, vehicle), BOOK)
    assert (assessment["pump"]["status"] == "condemned") == (fault["id"] == "pump_worn")


@pytest.mark.parametrize("vehicle", VEHICLES, ids=[" ".join(v) for v in VEHICLES])
def test_one_gap_in_the_evidence_and_the_pump_stays(vehicle: tuple) -> None:
    """Leave out any one reading of the gate: the worn pump is no longer condemned, and the gap is named."""
    pump = next(fault for fault in BOOK.faults if fault["id"] == "pump_worn")
    kind = {"layout": vehicle[0], "supply": vehicle[1], "cylinders": 4}
    for gap in [name for row in BOOK.gate if fits_vehicle(row, kind) for name in row["quantities"]]:
        assessment = judge_case(picture(pump, kind, (gap,)), BOOK)
        assert assessment["pump"]["status"] == "open", gap
        assert assessment["pump"]["missing"] == [gap]


@pytest.mark.parametrize("vehicle", VEHICLES, ids=[" ".join(v) for v in VEHICLES])
def test_the_first_check_is_one_that_opens_nothing(vehicle: tuple) -> None:
    case = {"format": "railcase-case/1", "id": "case", "complaints": ["no_start"], "readings": [],
            "vehicle": {"layout": vehicle[0], "supply": vehicle[1], "cylinders": 4}}  # fmt: skip
    first = judge_case(case, BOOK)["next"][0]
    assert first["intrusion"] <= 1
    assert first["ready"]
