"""The library as a whole: three layouts, every gate row answerable, every fault provable, one file for everything."""

import json

import pytest

from webapp.library import loader
from webapp.library.references import CHECK_ORDER

FAULTS = (
    "no_pressure_fault", "pump_worn", "pump_and_injectors", "regulator_leaking", "regulator_circuit",
    "metering_valve_sticking", "metering_valve_seized", "metering_valve_circuit", "injector_return_high", "sensor_offset",
    "sensor_circuit", "supply_restricted", "air_in_supply", "supply_and_air", "fuel_wrong", "cranking_slow",
    "relief_valve_leaking", "external_leak", "control_inhibited", "none_of_these",
)  # fmt: skip

# check: the layouts it exists for
LAYOUT_FIT = [
    ("spring", ["regulator-and-metering", "regulator-only"]),
    ("hold", ["regulator-and-metering", "regulator-only"]),
    ("regulator_return", ["regulator-and-metering", "regulator-only"]),
    ("metering", ["regulator-and-metering", "metering-only"]),
    ("relief_return", ["metering-only"]),
]

VEHICLES = [
    (layout, supply)
    for layout in ("regulator-and-metering", "metering-only", "regulator-only")
    for supply in ("electric", "suction")
]


def fits(row: dict, vehicle: tuple) -> bool:
    return vehicle[0] in row["layouts"] and vehicle[1] in row["supplies"]


def measurable(catalogue: dict, vehicle: tuple) -> set:
    """Return the quantities that some step of some check records on this vehicle."""
    return {
        step["quantity"]
        for check in catalogue["checks"] if fits(check, vehicle)
        for step in check["steps"] if fits(step, vehicle)
    }  # fmt: skip


def test_all_faults_and_checks_are_there(catalogue: dict) -> None:
    assert tuple(row["id"] for row in catalogue["faults"]) == FAULTS
    assert tuple(row["id"] for row in catalogue["checks"]) == CHECK_ORDER


@pytest.mark.parametrize("row", LAYOUT_FIT, ids=[row[0] for row in LAYOUT_FIT])
def test_checks_fit_their_layouts(catalogue: dict, row: tuple) -> None:
    check = next(check for check in catalogue["checks"] if check["id"] == row[0])
    assert check["layouts"] == row[1]


@pytest.mark.parametrize("vehicle", VEHICLES, ids=[" ".join(v) for v in VEHICLES])
def test_every_gate_row_can_be_answered(catalogue: dict, vehicle: tuple) -> None:
    rows = [row for row in catalogue["gate"] if fits(row, vehicle)]
    for row in rows:
        assert set(row["quantities"]) <= measurable(catalogue, vehicle), row["id"]


@pytest.mark.parametrize("vehicle", VEHICLES, ids=[" ".join(v) for v in VEHICLES])
def test_the_gate_asks_for_all_that_the_trade_asks(catalogue: dict, vehicle: tuple) -> None:
    asked = {name for row in catalogue["gate"] if fits(row, vehicle) for name in row["quantities"]}
    wanted = {"fuel_present", "fuel_condition", "external_leak", "cranking_speed", "air_in_supply", "sensor_signal_voltage",
              "rest_pressure", "crank_sync", "commanded_pressure", "injector_return"}  # fmt: skip
    wanted.add("supply_pressure" if vehicle[1] == "electric" else "supply_suction")
    wanted.add("relief_return_flow" if vehicle[0] == "metering-only" else "regulator_return_flow")
    wanted.add("held_pressure" if vehicle[0] == "regulator-only" else "open_metering_pressure")
    assert asked == wanted


@pytest.mark.parametrize("vehicle", VEHICLES, ids=[" ".join(v) for v in VEHICLES])
def test_every_component_and_fault_can_be_reached(catalogue: dict, vehicle: tuple) -> None:
    can_read = measurable(catalogue, vehicle)
    for component in [row for row in catalogue["components"] if fits(row, vehicle)]:
        assert set(component["needs"]) & can_read, component["id"]
    for fault in [row for row in catalogue["faults"] if fits(row, vehicle)]:
        assert set(fault["proof"]) & can_read, fault["id"]
        parts = [row["id"] for row in catalogue["components"] if fits(row, vehicle)]
        assert fault["component"] is None or fault["component"] in parts, fault["id"]


def test_no_two_faults_have_the_same_signature(catalogue: dict) -> None:
    for layout, rows in catalogue["signatures"]["layouts"].items():
        seen = [json.dumps(row["classes"], sort_keys=True) for row in rows["faults"].values()]
        assert len(set(seen)) == len(seen), layout


def test_battery_fuel_and_sensor_come_before_a_pressure_is_believed(catalogue: dict) -> None:
    checks = {check["id"]: check for check in catalogue["checks"]}
    for name in ("crank", "spring", "metering", "hold", "regulator_return", "relief_return", "decay"):
        assert {"battery", "fuel", "sensor"} <= set(checks[name]["needs"]), name


def test_intrusion_says_what_is_opened(catalogue: dict) -> None:
    """0 look or scan, 1 plugs and probes, 2 low-pressure lines, 3 high-pressure circuit; no check needs the last."""
    for check in catalogue["checks"]:
        opens = any(step["caution"] == "opening" for step in check["steps"])
        assert (check["intrusion"] == 2) == opens, check["id"]
        assert check["intrusion"] < 3, check["id"]


def test_every_file_is_read(catalogue: dict) -> None:
    known = {name for name, _ in loader.LISTS.values()}
    known |= {"injury.json", "vehicle.json", "signatures.json", "trace_columns.json"}
    known |= {f"checks/{check['id']}.json" for check in catalogue["checks"]}
    known |= {f"limits/{profile['id']}.json" for profile in catalogue["profiles"]}
    files = {path.relative_to(loader.FOLDER).as_posix() for path in loader.FOLDER.rglob("*.json")}
    assert files == known


def test_the_door_opens_on_the_catalogue(catalogue: dict) -> None:
    door = loader.open_door()
    assert door is loader.open_door()
    answer = json.loads(door.call("convert", json.dumps({"value": 100, "from": "psi", "to": "bar"})))
    assert answer["ok"]["value"] == pytest.approx(6.894757)
    assert json.loads(loader.catalogue_text()) == catalogue


def test_the_injury_card_and_its_caution_say_the_same(catalogue: dict) -> None:
    card = next(row for row in catalogue["cautions"] if row["id"] == "injury")
    assert card["text"] == catalogue["injury"]["do"]
