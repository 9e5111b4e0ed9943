"""Properties that hold for any input: judging never raises, folding knows no order, units change nothing."""

import json
import math
import random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy import stats

from tests.engine.scenes import CATALOGUE, QUANTITIES, case_documents, example_case, make_case, read
from webapp.engine import limits, numeric, returns
from webapp.engine.book import open_book
from webapp.engine.calls import CALLS, Door
from webapp.engine.judge import judge_case
from webapp.engine.units import UNITS, convert

BOOK = open_book(CATALOGUE)
DOOR = Door(json.dumps(CATALOGUE))
RELAXED = settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))

JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=12),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=12,
)
IDS = st.sampled_from(
    ["crank_pressure", "injector_return", "fuel_present", "bar", "generic", "regulator-only", "railcase-case/1"]
)
ODD = JSON | IDS
REQUEST_KEYS = st.sampled_from(
    ["entries", "reading", "vehicle", "value", "from", "to", "vin", "taps", "own_sd_s", "expected"],
)


@st.composite
def damaged_cases(draw: st.DrawFn) -> object:
    """A case document with some of its places overwritten by anything."""
    case = draw(case_documents())
    for _ in range(draw(st.integers(1, 4))):
        place = case
        while isinstance(place, dict | list) and place:
            key = draw(st.sampled_from(sorted(place) if isinstance(place, dict) else range(len(place))))
            if draw(st.booleans()) or not isinstance(place[key], dict | list):
                place[key] = draw(ODD)
                break
            place = place[key]
    return case


def check_answer(text: str) -> dict:
    answer = json.loads(text)
    assert set(answer) in ({"ok"}, {"error"})
    for problem in answer.get("error", []):
        assert problem["field"]
        assert problem["text"]
        assert problem["code"]
    return answer


@RELAXED
@given(ODD | damaged_cases())
def test_judging_never_raises_and_every_refusal_names_its_field(given_json: object) -> None:
    check_answer(DOOR.call("judge", json.dumps(given_json)))


@RELAXED
@given(st.sampled_from(sorted(CALLS)), ODD | st.dictionaries(REQUEST_KEYS, ODD, max_size=5))
def test_no_call_raises(name: str, given_json: object) -> None:
    check_answer(DOOR.call(name, json.dumps(given_json)))


@RELAXED
@given(st.text(max_size=40))
def test_text_that_is_no_json_is_refused(text: str) -> None:
    check_answer(DOOR.call("judge", text))


def test_nesting_beyond_reason_is_refused() -> None:
    assert check_answer(DOOR.call("judge", "[" * 200_000))["error"][0]["code"] == "not_json"


@RELAXED
@given(case_documents())
def test_probabilities_and_shape(document: dict) -> None:
    assessment = judge_case(document, BOOK)
    assert sum(row["probability"] for row in assessment["suspects"]) == pytest.approx(1.0, abs=1e-9)
    assert all(0.0 <= v["probability_within"] <= 1.0 for v in assessment["verdicts"] if v["probability_within"] is not None)
    assert all(row["check"] in BOOK.checks for row in assessment["next"])
    for row in assessment["next"]:
        check = BOOK.checks[row["check"]]
        assert document["vehicle"]["layout"] in check["layouts"]
        assert document["vehicle"]["supply"] in check["supplies"]
    if assessment["pump"]["status"] == "condemned":
        assert assessment["pump"]["missing"] == []
    if assessment["conclusion"] and assessment["conclusion"]["fault"] == "pump_worn":
        assert assessment["pump"]["status"] == "condemned"


@RELAXED
@given(case_documents(), st.randoms(use_true_random=False))
def test_the_order_of_readings_of_different_quantities_changes_nothing(document: dict, chance: random.Random) -> None:
    latest = list({r["quantity"]: {**r, "id": r["quantity"]} for r in document["readings"]}.values())
    shuffled = list(latest)
    chance.shuffle(shuffled)
    first, second = (judge_case({**document, "readings": rows}, BOOK) for rows in (latest, shuffled))
    assert first == second


@RELAXED
@given(st.sampled_from([q for q in QUANTITIES.values() if q["kind"] == "number"]), st.data())
def test_the_unit_changes_nothing(quantity: dict, data: st.DataObject) -> None:
    value = data.draw(st.floats(quantity["plausible"]["low"], quantity["plausible"]["high"]))
    unit = data.draw(st.sampled_from(quantity["units"]))
    layout = quantity["layouts"][0]
    vehicle = {"layout": layout, "supply": quantity["supplies"][0], "cylinders": 4}
    plain = {**make_case(read(quantity["id"], value)), "vehicle": vehicle}
    other = {**make_case(read(quantity["id"], convert(value, quantity["unit"], unit), unit=unit)), "vehicle": vehicle}
    try:
        first, second = judge_case(plain, BOOK)["verdicts"], judge_case(other, BOOK)["verdicts"]
    except ValueError:  # the last bit of the conversion may step over the edge of the possible range
        assert value in (quantity["possible"]["low"], quantity["possible"]["high"])
        return
    assert second[0]["probability_within"] == pytest.approx(first[0]["probability_within"], rel=1e-6, abs=1e-9)


@RELAXED
@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e4), st.floats(-1e6, 1e6), st.floats(0, 1e6))
def test_conformance_equals_scipy(value: float, u: float, low: float, width: float) -> None:
    high = low + width
    expected = stats.norm.cdf((high - value) / u) - stats.norm.cdf((low - value) / u)
    assert limits.conformance_probability(value, u, low, high) == pytest.approx(expected, rel=1e-9, abs=1e-12)


@RELAXED
@given(st.floats(-50, 50), st.floats(0.5, 500))
def test_student_t_equals_scipy(t: float, dof: float) -> None:
    assert numeric.student_t_cdf(t, dof) == pytest.approx(stats.t.cdf(t, dof), rel=1e-9, abs=1e-13)


@RELAXED
@given(st.sampled_from(sorted(UNITS)), st.sampled_from(sorted(UNITS)), st.floats(-1e6, 1e6))
def test_units_there_and_back(unit: str, other: str, value: float) -> None:
    if UNITS[unit][0] == UNITS[other][0]:
        assert convert(convert(value, unit, other), other, unit) == pytest.approx(value, rel=1e-9, abs=1e-9)


@RELAXED
@given(st.lists(st.floats(0, 500), min_size=2, max_size=8), st.data())
def test_scaling_all_cylinders_changes_no_ratio(values: list[float], data: st.DataObject) -> None:
    index = data.draw(st.integers(0, len(values) - 1))
    plain, scaled = returns.ratio_to_others(values, index), returns.ratio_to_others([2 * v for v in values], index)
    assert plain == scaled


def test_a_reading_right_at_a_single_limit_has_even_odds() -> None:
    assert limits.conformance_probability(285, 5.8, 285, None) == 0.5
    assert math.isclose(limits.conformance_probability(285, 5.8, None, 285), 0.5)


FINE = {"quantity": "crank_pressure", "value": 290}
SWAPPED = {"low": 9, "high": 1, "reason": "x"}
REFUSALS = [
    ("vehicle.layout", "vehicle", {"layout": "twin", "supply": "electric", "cylinders": 4}),
    ("vehicle.cylinders", "vehicle", {"layout": "regulator-only", "supply": "electric", "cylinders": 0}),
    ("readings[0].quantity", "readings", [{"quantity": "oil", "value": 3}]),
    ("readings[0].value", "readings", [{"quantity": "crank_pressure", "value": "292"}]),
    ("readings[0].value", "readings", [{"quantity": "crank_pressure", "value": True}]),
    ("readings[0].value", "readings", [{"quantity": "crank_pressure", "value": float("nan")}]),
    ("readings[0].value", "readings", [{"quantity": "crank_pressure", "value": float("inf")}]),
    ("readings[0].value", "readings", [{"quantity": "crank_pressure", "value": 10**400}]),
    ("readings[0].value", "readings", [{"quantity": "crank_pressure", "value": -5}]),
    ("readings[0].value", "readings", [{"quantity": "crank_pressure"}]),
    ("readings[0].unit", "readings", [{"quantity": "crank_pressure", "value": 3, "unit": "V"}]),
    ("readings[0].unit", "readings", [{"quantity": "crank_pressure", "value": 3, "unit": "furlong"}]),
    ("readings[0].valeu", "readings", [{"quantity": "crank_pressure", "valeu": 3}]),
    ("readings[0].value", "readings", [{"quantity": "injector_return", "value": [1, 2, 3], "duration_s": 30}]),
    ("readings[0].value[1]", "readings", [{"quantity": "injector_return", "value": [1, "x", 3, 4], "duration_s": 30}]),
    ("readings[0].duration_s", "readings", [{"quantity": "injector_return", "value": [1, 2, 3, 4]}]),
    ("readings[0].standard_uncertainty", "readings", [{**FINE, "standard_uncertainty": float("nan")}]),
    ("readings[0].standard_uncertainty", "readings", [{**FINE, "standard_uncertainty": -1}]),
    ("readings[0].instrument", "readings", [{"quantity": "crank_pressure", "value": 290, "instrument": "crystal"}]),
    ("readings[0].value", "readings", [{"quantity": "fuel_condition", "value": "fine"}]),
    ("readings[1].id", "readings", [{"id": "a", "quantity": "fuel_present", "value": "yes"}] * 2),
    ("limits.profile", "limits", {"profile": "secret"}),
    ("limits.overrides.crank_pressure.reason", "limits", {"overrides": {"crank_pressure": {"low": 250}}}),
    ("limits.overrides.crank_pressure.low", "limits", {"overrides": {"crank_pressure": SWAPPED}}),
    ("codes[0]", "codes", ["Z9999"]),
    ("complaints[0]", "complaints", ["sad"]),
    ("not_measured[0].reason", "not_measured", [{"quantity": "spring_pressure"}]),
    ("colour", "colour", "blue"),
    ("format", "format", "railcase-case/9"),
]  # fmt: skip


@pytest.mark.parametrize("row", REFUSALS, ids=[f"{row[0]}-{i}" for i, row in enumerate(REFUSALS)])
def test_refusals_name_the_field(row: tuple) -> None:
    field, key, value = row
    answer = check_answer(DOOR.call("judge", json.dumps({**example_case(), key: value})))
    assert field in [problem["field"] for problem in answer["error"]]
