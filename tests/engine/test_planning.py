"""The next check: what it asks for, what it costs, what it waits for. Trade rules are common practice, no source."""

import pytest
from hypothesis import HealthCheck, given, settings

from tests.engine.scenes import CATALOGUE, case_documents, make_case, read
from webapp.engine.book import fits_vehicle, open_book
from webapp.engine.document import read_case
from webapp.engine.judge import judge_case
from webapp.engine.planning import (
    LARGE_ANSWERS,
    chain_of,
    check_minutes,
    choose_readings,
    harmless_first,
    worth_with_openings,
)
from webapp.engine.problems import EngineError

BOOK = open_book(CATALOGUE)
RELAXED = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
VALID = [read("cranking_speed", 230), read("fuel_present", "yes"), read("fuel_condition", "clean"),
         read("sensor_signal_voltage", 0.5), read("rest_pressure", 18)]  # fmt: skip


def first_of(document: dict) -> dict:
    return judge_case(document, BOOK)["next"][0]


def test_minutes_of_a_part_of_a_check() -> None:
    """By hand: 8 minutes less 2 for the voltage at rest; suction does not exist on an electric supply and saves nothing."""
    vehicle = {"layout": "regulator-and-metering", "supply": "electric"}
    assert check_minutes(BOOK.checks["battery"], ["battery_voltage_cranking", "cranking_speed"], vehicle, BOOK) == 6
    assert check_minutes(BOOK.checks["supply"], ["supply_pressure", "air_in_supply"], vehicle, BOOK) == 15
    assert check_minutes(BOOK.checks["supply"], ["air_in_supply"], vehicle, BOOK) == 10


def test_a_chain_is_worth_its_information_over_its_minutes() -> None:
    """By hand: b needs a; together (0.1 + 1.9) bits in (4 + 6) minutes, more than a's own 0.1 in 4; bits to their power."""
    waiting = {"a": [], "b": ["a"], "c": []}
    assert chain_of("b", waiting) == ["b", "a"]
    worth = worth_with_openings({"a": 0.1, "b": 1.9, "c": 0.5}, {"a": 4.0, "b": 6.0, "c": 10.0}, waiting)
    power = LARGE_ANSWERS
    assert worth == pytest.approx({"a": 2.0**power / 10.0, "b": 1.9**power / 6.0, "c": 0.5**power / 10.0})


def test_a_reading_that_does_not_pay_for_its_minutes_waits() -> None:
    case = read_case(make_case(), BOOK)
    check = BOOK.checks["battery"]
    bits = {"battery_voltage_rest": 0.001, "battery_voltage_cranking": 0.001, "cranking_speed": 0.5}
    assert choose_readings(check, list(bits), bits, [], case, BOOK) == ["cranking_speed"]
    assert choose_readings(check, list(bits), bits, ["battery_voltage_rest"], case, BOOK) == [
        "battery_voltage_rest",
        "cranking_speed",
    ]
    bits["battery_voltage_rest"] = 0.6
    assert "battery_voltage_rest" in choose_readings(check, list(bits), bits, [], case, BOOK)


def test_no_intrusive_check_before_a_harmless_one_that_promises_as_much() -> None:
    bits = {"supply": 0.4, "leaks": 0.4, "control": 0.3}
    assert harmless_first(["supply", "control", "leaks"], bits, BOOK) == ["leaks", "supply", "control"]
    bits["leaks"] = 0.39
    assert harmless_first(["supply", "control", "leaks"], bits, BOOK) == ["supply", "leaks", "control"]


def test_no_pressure_before_battery_fuel_and_sensor() -> None:
    rows = judge_case(make_case(), BOOK)["next"]
    ready = [row["check"] for row in rows if row["ready"]]
    assert ready[0] in ("battery", "fuel", "sensor")
    assert "crank" not in ready
    assert first_of(make_case(*VALID))["check"] == "crank"


def test_the_rise_is_timed_once_its_pressure_is_known_to_come() -> None:
    assert first_of(make_case(*VALID))["quantities"] == ["crank_pressure"]
    good = first_of(make_case(*VALID, read("crank_pressure", 310)))
    assert (good["check"], good["quantities"]) == ("crank", ["crank_rise_time"])
    low = judge_case(make_case(*VALID, read("crank_pressure", 120)), BOOK)["next"]
    assert "crank_rise_time" not in [name for row in low for name in row["quantities"]]


def test_what_is_sure_but_for_its_proof_is_proven_next() -> None:
    """A circuit code, no feed found yet, and everything else good: measure the coil, nothing else."""
    found = judge_case(
        make_case(*VALID, read("crank_pressure", 82), read("decay_time", 9), read("held_pressure", 640), codes=["P0090"]),
        BOOK,
    )
    assert found["conclusion"] is None
    assert found["suspects"][0]["fault"] == "regulator_circuit"
    assert set(found["next"][0]["quantities"]) <= {"regulator_resistance", "actuator_supply_voltage"}


def test_equipment_that_is_not_to_hand_is_not_asked_for() -> None:
    lacking = ["Graduated tubes, one a cylinder", "Low-pressure gauge or suction gauge with tee"]
    document = make_case(*VALID, read("crank_pressure", 120), read("decay_time", 0.8))
    assert "injector_return" in [row["check"] for row in judge_case(document, BOOK)["next"]]
    found = judge_case({**document, "lacking": lacking}, BOOK)
    assert not {"injector_return", "supply"} & {row["check"] for row in found["next"]}
    assert {"injector_return", "supply_pressure"} <= set(found["pump"]["missing"])


def test_unknown_equipment_and_impossible_fuel_temperatures_are_refused_by_name() -> None:
    with pytest.raises(EngineError) as caught:
        judge_case({**make_case(), "lacking": ["Crystal ball"], "fuel_temperature_c": 900}, BOOK)
    assert [(p.code, p.field) for p in caught.value.problems] == [
        ("unknown_value", "lacking[0]"), ("impossible_value", "fuel_temperature_c"),
    ]  # fmt: skip


def test_warm_fuel_is_softer_so_the_same_rise_means_more_flow() -> None:
    """K falls with temperature (hydraulics.py), so more must have been pumped in to reach the same pressure."""
    document = make_case(*VALID, read("crank_pressure", 300), read("crank_rise_time", 1.0))
    flows = [
        judge_case({**document, "fuel_temperature_c": warmth}, BOOK)["leak_budget"]["rise"]["net_ml_min"]
        for warmth in (10, 40, 80)
    ]
    assert flows == sorted(flows)
    assert flows[0] < flows[2]
    assert judge_case(document, BOOK)["leak_budget"]["rise"]["net_ml_min"] == pytest.approx(flows[1])


@RELAXED
@given(case_documents())
def test_what_is_next_fits_vehicle_equipment_and_its_own_minutes(document: dict) -> None:
    lacking = [BOOK.equipment[len(document["readings"]) % len(BOOK.equipment)]]
    vehicle = document["vehicle"]
    for row in judge_case({**document, "lacking": lacking}, BOOK)["next"]:
        check = BOOK.checks[row["check"]]
        assert fits_vehicle(check, vehicle)
        assert not set(check["equipment"]) & set(lacking)
        assert 0 < row["minutes"] <= check["minutes"]
        for name in row["quantities"]:
            assert name in check["quantities"]
            assert fits_vehicle(BOOK.quantities[name], vehicle)
