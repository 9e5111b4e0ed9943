"""The generic limits, row by row, and where each comes from."""

import pytest

PRACTICE, JUDGED = "common practice", "judgement"  # common practice, no source; engineering judgement

# quantity, low, high, basis: the starting values of the trade, none of them from a published source
NUMBERS = [
    ("battery_voltage_rest", 12.2, None, JUDGED),
    ("battery_voltage_cranking", 9.6, None, PRACTICE),
    ("cranking_speed", 150, None, JUDGED),
    ("supply_pressure", 2.5, 6.0, JUDGED),
    ("supply_suction", -0.5, -0.05, JUDGED),
    ("sensor_reference_voltage", 4.75, 5.25, PRACTICE),
    ("sensor_signal_voltage", 0.40, 0.60, PRACTICE),
    ("rest_pressure", 0, 30, PRACTICE),
    ("actuator_supply_voltage", 10.5, None, JUDGED),
    ("commanded_pressure", 200, None, JUDGED),
    ("crank_pressure", 285, None, PRACTICE),
    ("crank_rise_time", None, 1.5, PRACTICE),
    ("spring_pressure", 60, 100, PRACTICE),
    ("regulator_resistance", 2.0, 4.5, JUDGED),
    ("metering_valve_resistance", 1.5, 5.5, JUDGED),
    ("held_pressure", 400, None, JUDGED),
    ("open_metering_pressure", 285, None, PRACTICE),
    ("regulator_return_flow", None, 10, JUDGED),
    ("relief_return_flow", None, 5, JUDGED),
    ("injector_return", None, None, JUDGED),
    ("injector_resistance", 0.2, 0.6, JUDGED),
    ("decay_time", 2.0, None, JUDGED),
    ("idle_pressure_error", -30, 30, JUDGED),
    ("load_pressure_error", -100, 100, JUDGED),
]

# quantity, the good choice, basis
CHOICES = [
    ("fuel_present", ["yes"], PRACTICE),
    ("fuel_condition", ["clean"], PRACTICE),
    ("external_leak", ["none"], PRACTICE),
    ("air_in_supply", ["none"], PRACTICE),
    ("crank_sync", ["yes"], PRACTICE),
]

# quantity, a healthy figure: typed ten times too large or too small it must be refused or doubted, where a fault cannot
# look the same; `small` False where a true fault reads a tenth
SLIPS = [
    ("battery_voltage_rest", 12.6, True),
    ("battery_voltage_cranking", 10.5, True),
    ("cranking_speed", 230, True),
    ("supply_pressure", 4.0, False),
    ("rest_pressure", 18, False),
    ("actuator_supply_voltage", 12.3, False),
    ("commanded_pressure", 320, False),
    ("crank_pressure", 310, False),
    ("crank_rise_time", 1.2, True),
    ("spring_pressure", 72, False),
    ("regulator_resistance", 3.0, True),
    ("metering_valve_resistance", 3.0, True),
    ("held_pressure", 800, False),
    ("open_metering_pressure", 310, False),
    ("injector_resistance", 0.35, True),
]


@pytest.fixture(scope="session")
def limits(catalogue: dict) -> dict:
    return {row["quantity"]: row for row in catalogue["profiles"][0]["limits"]}


@pytest.mark.parametrize("row", NUMBERS, ids=[row[0] for row in NUMBERS])
def test_default_of_a_number(limits: dict, row: tuple) -> None:
    quantity, low, high, basis = row
    limit = limits[quantity]
    assert (limit["low"], limit["high"], limit["basis"], limit["source"]) == (low, high, basis, None)


@pytest.mark.parametrize("row", CHOICES, ids=[row[0] for row in CHOICES])
def test_default_of_a_choice(limits: dict, row: tuple) -> None:
    quantity, good, basis = row
    assert (limits[quantity]["good"], limits[quantity]["basis"]) == (good, basis)


def test_every_quantity_is_in_one_of_the_tables_above(catalogue: dict) -> None:
    listed = [row[0] for row in NUMBERS] + [row[0] for row in CHOICES]
    assert sorted(listed) == sorted(row["id"] for row in catalogue["quantities"])


def test_limits_that_are_more_than_two_sides(limits: dict) -> None:
    returns = limits["injector_return"]
    assert (returns["ratio_high"], returns["rate_high"]) == (2.0, 90)  # both judgement
    assert limits["injector_resistance"]["spread_high"] == 0.10  # judgement
    assert limits["sensor_signal_voltage"]["scaled_by"] == {
        "quantity": "sensor_reference_voltage", "nominal": 5.0, "from": 4.5, "to": 5.5,
    }  # fmt: skip
    assert limits["crank_rise_time"]["target_from"] == {"quantity": "crank_pressure", "limit": "low"}


def test_every_limit_says_where_it_comes_from(catalogue: dict) -> None:
    for profile in catalogue["profiles"]:
        for limit in profile["limits"]:
            assert limit["note"], limit["id"]
            sourced = limit["basis"] in ("published standard", "maker's sheet", "measured")
            assert (limit["source"] is not None) == sourced, limit["id"]


def test_nothing_else_goes_without_provenance(catalogue: dict) -> None:
    for key in ("quantities", "faults", "codes", "cautions", "instruments"):
        assert all(row["basis"] for row in catalogue[key]), key
    assert all(row["status"] for row in catalogue["injury"]["sources"])


@pytest.mark.parametrize("row", SLIPS, ids=[row[0] for row in SLIPS])
def test_a_slip_by_ten_is_refused_or_doubted(catalogue: dict, row: tuple) -> None:
    name, healthy, small = row
    quantity = next(q for q in catalogue["quantities"] if q["id"] == name)
    plausible = quantity["plausible"]
    assert plausible["low"] <= healthy <= plausible["high"]
    for slip in [healthy * 10] + ([healthy / 10] if small else []):
        assert not plausible["low"] <= slip <= plausible["high"], slip


def test_limits_lie_inside_the_plausible_range(catalogue: dict, limits: dict) -> None:
    """Else a reading at the limit would be doubted."""
    for quantity in catalogue["quantities"]:
        for side in (limits[quantity["id"]]["low"], limits[quantity["id"]]["high"]):
            if side is not None:
                assert quantity["plausible"]["low"] <= side <= quantity["plausible"]["high"], quantity["id"]


def test_hand_timing_is_sourced(catalogue: dict) -> None:
    """Faux and Godolphin 2019 (abstract seen): start and stop by hand spread by 0.10 s."""
    for instrument in catalogue["instruments"]:
        if instrument["timing_sd_s"] is not None:
            assert instrument["timing_sd_s"] == 0.10
            assert "Faux and Godolphin" in instrument["source"]["title"]


def test_the_rail_sensor_is_worth_what_the_contract_says(catalogue: dict) -> None:
    """292 bar on the rail sensor: standard uncertainty 5.8 bar (the example of the case contract)."""
    sensor = next(row for row in catalogue["instruments"] if row["id"] == "rail_sensor")
    parts = (
        sensor["accuracy_full_scale"] * sensor["full_scale"] / 3**0.5, sensor["accuracy_reading"] * 292 / 3**0.5,
        sensor["resolution"] / 12**0.5,
    )  # fmt: skip
    assert sum(part**2 for part in parts) ** 0.5 == pytest.approx(5.8, abs=0.05)
