"""Practice cars: each can be solved, tells nothing before the debrief, and is the same car for everybody."""

import pytest

from tests.engine.scenes import CATALOGUE
from webapp.engine.book import open_book
from webapp.engine.judge import judge_case
from webapp.engine.practice import (
    CARS,
    GRADES,
    best_path,
    crank_curve,
    debrief,
    hidden_car,
    is_right,
    look_at,
    read_request,
)
from webapp.engine.problems import EngineError
from webapp.engine.vehicle import PAIRS

BOOK = open_book(CATALOGUE)


def walk_as_told(car: int, grade: str) -> list[dict]:
    """The path of somebody who does what the judged case says is next, asked through the door's own calls."""
    path: list[dict] = []
    while True:
        look = look_at({"car": car, "grade": grade, "path": path}, BOOK)
        found = judge_case(look["case"], BOOK)
        if found["conclusion"] or not found["next"]:
            return path
        path.append({key: found["next"][0][key] for key in ("check", "quantities")})


@pytest.mark.parametrize("grade", GRADES)
def test_every_car_can_be_solved(grade: str) -> None:
    for car in range(1, CARS + 1):
        seed, _ = read_request({"car": car, "grade": grade})
        found = best_path(seed, grade, BOOK)[1]["conclusion"]
        assert found, (car, grade)
        assert is_right(found["fault"], hidden_car(seed, grade, BOOK)["fault"], BOOK), (car, grade)


@pytest.mark.parametrize("grade", GRADES)
def test_the_best_path_is_the_engines_own(grade: str) -> None:
    path = walk_as_told(7, grade)
    found = debrief({"car": 7, "grade": grade, "path": path, "named": "pump_worn"}, BOOK)
    assert [step["check"] for step in found["best"]["steps"]] == [row["check"] for row in path]
    assert found["minutes"] == found["best"]["minutes"] > 0
    assert found["intrusion"] == found["best"]["intrusion"]


def test_grades_are_what_they_say() -> None:
    cars = {grade: [hidden_car(seed, grade, BOOK) for seed in range(1, 80)] for grade in GRADES}
    assert {car["fault"] for car in cars["double"]} == set(PAIRS)
    assert all(car["severity"] >= 0.6 and car["fault"] != "no_pressure_fault" for car in cars["plain"])
    assert all(car["severity"] <= 0.3 for car in cars["faint"])
    assert len({car["fault"] for car in cars["usual"]}) > 12


def test_nothing_tells_the_fault_before_the_debrief() -> None:
    for grade in GRADES:
        case = look_at({"car": 3, "grade": grade, "path": []}, BOOK)["case"]
        assert set(case) == {"format", "id", "vehicle", "complaints", "codes", "readings", "not_measured"}
        assert case["readings"] == []
        seed, _ = read_request({"car": 3, "grade": grade})
        assert hidden_car(seed, grade, BOOK)["fault"] not in str(case)


def test_the_same_path_reads_the_same_and_a_second_go_differs() -> None:
    go = {"check": "battery", "quantities": ["cranking_speed"]}
    request = {"car": 5, "grade": "usual", "path": [go]}
    once, again = look_at(request, BOOK), look_at(request, BOOK)
    assert once == again
    twice = look_at({**request, "path": [go, go]}, BOOK)
    first, second = twice["case"]["readings"]
    assert first == once["case"]["readings"][0]
    assert first["value"] != second["value"]
    assert twice["minutes"] == 2 * once["minutes"]


def test_a_pump_named_in_vain_costs_and_a_worn_one_does_not() -> None:
    for car in range(1, CARS + 1):
        found = debrief({"car": car, "grade": "usual", "path": [], "named": "pump_worn"}, BOOK)
        assert found["right"] == (found["fault"] == "pump_worn")
        assert (found["pump_minutes"] > 0) == (found["fault"] != "pump_worn")
        assert found["minutes"] == 0


def test_the_gauge_comes_to_rest_where_the_pressure_is_read() -> None:
    for car in range(1, 20):
        request = {"car": car, "grade": "plain"}
        read = look_at({**request, "path": [{"check": "crank", "quantities": ["crank_pressure"]}]}, BOOK)
        reading = read["case"]["readings"][0]["value"]
        points = crank_curve(request, BOOK)["points"]
        late = [bar for t, bar in points if t > 4.0]
        assert sum(late) / len(late) == pytest.approx(reading, abs=max(30.0, 0.1 * reading)), car
        assert points[0][1] <= 40.0 or points[0][1] == pytest.approx(reading, abs=40.0)


def test_a_rise_timed_by_hand_is_the_learners_own() -> None:
    for car in range(1, CARS + 1):
        row = {"check": "crank", "quantities": ["crank_rise_time"], "timed_s": 1.23}
        readings = look_at({"car": car, "grade": "faint", "path": [row]}, BOOK)["case"]["readings"]
        assert readings == [] or (readings[0]["value"], readings[0]["instrument"]) == (1.23, "tap_timer")


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"car": 0}, "car"),
        ({"car": 1.5}, "car"),
        ({"car": "7"}, "car"),
        ({"grade": "hard"}, "grade"),
        ({"path": None}, "path"),
        ({"path": [{"check": "nonsense"}]}, "path[0].check"),
        ({"path": [{"check": "battery", "quantities": ["injector_return"]}]}, "path[0].quantities"),
        ({"path": [{"check": "battery", "quantities": [], "timed_s": -1}]}, "path[0].timed_s"),
        ({"named": "gremlins"}, "named"),
    ],
)
def test_refused_by_name(change: dict, field: str) -> None:
    request = {"car": 1, "grade": "plain", "path": [], "named": "pump_worn", **change}
    with pytest.raises(EngineError) as refused:
        debrief(request, BOOK)
    assert refused.value.problems[0].field == field
