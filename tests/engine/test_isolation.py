"""The reasoning against brute force, published-style vectors, and what a technician would expect of it."""

import itertools
import json

import pytest
from hypothesis import HealthCheck, given, settings

from tests.engine.scenes import CATALOGUE, case_documents, make_case, read
from webapp.engine.book import open_book
from webapp.engine.document import read_case
from webapp.engine.isolation import (
    OTHER,
    ClassRow,
    Model,
    by_fault,
    evidence_of,
    open_model,
    outcome_names,
    prior_weight,
    weigh,
)
from webapp.engine.judge import judge_case
from webapp.engine.limits import resolve_limits
from webapp.engine.planning import entropy, expected_information, quantity_information
from webapp.engine.verdicts import judge_phase, latest_readings

BOOK = open_book(CATALOGUE)
INJECTORS = ("injector_return_high", "pump_and_injectors")
RELAXED = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))


def chance(name: str, weights: dict, table: list, is_other: bool, limits: dict) -> float:
    """P(reading | class), written again from the definition."""
    names = outcome_names(BOOK.quantities[name], limits[name])
    plain = sum(share * table[names.index(outcome)] / 1000 for outcome, share in weights.items())
    plain = 0.5 * plain + 0.5 / len(names) if is_other else plain
    slip = BOOK.quantities[name]["slip"]
    return (1 - slip) * plain + slip / len(names)


def brute_force(document: dict) -> tuple[list[float], list[float]]:
    """Return the posterior by fault: by enumeration of every class, and by the engine."""
    case = read_case(document, BOOK)
    findings, _ = judge_phase(case, "before", BOOK)
    # the return per bar is tested by itself; here each reading speaks alone
    findings = [f for f in findings if f.quantity != "injector_return"]
    limits = resolve_limits(case.chosen, latest_readings(case.readings, "before"), BOOK)
    model = open_model(case, BOOK)
    tables = BOOK.signatures["layouts"][case.vehicle["layout"]]
    totals = []
    for fault in model.faults:
        row = tables["faults"].get(fault["id"], {"shares": [1000], "classes": [{}]})
        total = 0.0
        for share, own in zip(row["shares"], row["classes"], strict=True):
            weight = prior_weight(fault, case, BOOK) * share / 1000
            for f in findings:
                if f.weights is not None:
                    table = own.get(f.quantity, tables["base"][f.quantity])
                    weight *= chance(f.quantity, f.weights, table, fault["id"] == OTHER, limits)
            total += weight
        totals.append(total)
    weights = weigh(model, evidence_of(findings, limits, model, BOOK))
    return [t / sum(totals) for t in totals], by_fault(model, weights)


@RELAXED
@given(case_documents())
def test_the_posterior_is_bayes_rule(document: dict) -> None:
    expected, found = brute_force(document)
    assert found == pytest.approx(expected, rel=1e-9, abs=1e-12)


def full_tables(name: str, weights: list, model: Model) -> list[dict]:
    """Return {outcome: P(outcome | fault)} of each fault, averaged over its classes."""
    count, tables = len(model.base[name]), []
    for number in range(len(model.faults)):
        rows = [(row, w) for row, w in zip(model.rows, weights, strict=True) if row.fault == number]
        total = sum(w for _, w in rows)
        slip = model.slips[name]
        table = {}
        for i in range(count):
            parts = [w * ((row.tables or {}).get(name, model.base[name]))[i] / 1000 for row, w in rows]
            table[str(i)] = (1 - slip) * sum(parts) / total + slip / count if total else 1 / count
        tables.append(table)
    return tables


@pytest.mark.parametrize("name", ["crank_pressure", "injector_return", "fuel_condition", "regulator_return_flow"])
def test_information_is_mutual_information(name: str) -> None:
    case = read_case(make_case(read("crank_rise_time", 2.2), complaints=["hard_start"]), BOOK)
    model = open_model(case, BOOK)
    weights = weigh(model, [])
    probabilities = by_fault(model, weights)
    names = [str(i) for i in range(len(model.base[name]))]
    expected = expected_information(probabilities, full_tables(name, weights, model), names)
    assert quantity_information(name, weights, probabilities, model) == pytest.approx(expected, rel=1e-3)
    assert expected <= entropy(probabilities)


def toy_model() -> Model:
    """The five-fault network of our own whose posteriors were computed with pgmpy 1.1.2 and numpy."""
    prior, first, second = [0.25, 0.30, 0.20, 0.15, 0.10], [0.20, 0.90, 0.15, 0.10, 0.10], [0.85, 0.30, 0.20, 0.40, 0.05]
    rows = [ClassRow(i, prior[i], {"t1": [first[i]], "t2": [second[i]]}) for i in range(5)]
    return Model([{"id": name} for name in ("pump", "injector", "regulator", "metering", "sensor")], rows, {}, {})


def test_posterior_vectors() -> None:
    model = toy_model()
    likelihoods = {name: [row.tables[name][0] for row in model.rows] for name in ("t1", "t2")}
    not_first = [1 - p for p in likelihoods["t1"]]
    post = by_fault(model, weigh(model, [(None, likelihoods["t1"])]))
    assert post == pytest.approx([0.1333333333, 0.72, 0.08, 0.04, 0.0266666667], abs=1e-9)
    assert entropy(post) == pytest.approx(1.3455137762, abs=1e-9)
    assert entropy(by_fault(model, weigh(model, [(None, not_first)]))) == pytest.approx(2.1273743008, abs=1e-9)
    both = by_fault(model, weigh(model, [(None, likelihoods["t1"]), (None, likelihoods["t2"])]))
    assert both == pytest.approx([0.3125, 0.5955882, 0.0441176, 0.0441176, 0.0036765], abs=1e-6)
    assert entropy([row.weight for row in model.rows]) == pytest.approx(2.2282129458, abs=1e-9)


@RELAXED
@given(case_documents())
def test_reading_the_same_thing_again_is_not_a_second_proof(document: dict) -> None:
    """Every reading entered twice, the very same: belief stays, but for what agreement does to doubts."""
    first = judge_case(document, BOOK)
    if any(v["doubt"] for v in first["verdicts"]):
        return
    twice = {**document, "readings": [dict(r, id=f"{n}-{i}") for i, r in enumerate(document["readings"]) for n in "ab"]}
    before = {s["fault"]: s["probability"] for s in first["suspects"]}
    latest = [
        r
        for i, r in enumerate(document["readings"])
        if r["quantity"] not in {q["quantity"] for q in document["readings"][i + 1 :]}
    ]
    if len(latest) == len(document["readings"]):  # repeats that differ widen the uncertainty, as they should
        assert {s["fault"]: s["probability"] for s in judge_case(twice, BOOK)["suspects"]} == pytest.approx(before, abs=1e-9)


def sound(*readings: dict) -> dict:
    """A sound engine's readings with some of them replaced."""
    good = {
        "battery_voltage_rest": 12.6, "battery_voltage_cranking": 10.6, "cranking_speed": 230, "fuel_present": "yes",
        "fuel_condition": "clean", "external_leak": "none", "sensor_reference_voltage": 5.0, "sensor_signal_voltage": 0.5,
        "rest_pressure": 18, "supply_pressure": 4.0, "air_in_supply": "none", "commanded_pressure": 325, "crank_sync": "yes",
        "crank_pressure": 318, "crank_rise_time": 0.9,
    }  # fmt: skip
    names = {r["quantity"] for r in readings}
    return make_case(*[read(name, value) for name, value in good.items() if name not in names], *readings)


def test_a_slipped_digit_is_seen_against_the_rest() -> None:
    """31.8 bar instead of 318, with a rise in 0.9 s: possible and plausible by itself, not beside the rest."""
    found = judge_case(sound(read("crank_pressure", 31.8)), BOOK)
    doubts = {v["quantity"]: v["doubt"] for v in found["verdicts"] if v["doubt"]}
    assert sorted(doubts) == ["crank_pressure", "crank_rise_time"]  # one of the two must be wrong, and nobody knows which
    assert "digit" in doubts["crank_pressure"]
    assert found["suspects"][0]["fault"] != "pump_worn"
    assert found["pump"]["status"] != "condemned"
    assert any("crank_pressure" in r["quantities"] for r in found["next"])


def test_magnitude_matters() -> None:
    """40 bar and 250 bar are both low; only the first speaks for a control unit that asks for nothing."""

    def belief(bar: float) -> float:
        suspects = judge_case(make_case(read("crank_pressure", bar)), BOOK)["suspects"]
        return next(s["probability"] for s in suspects if s["fault"] == "control_inhibited")

    assert belief(40) > 3 * belief(250)


def test_three_pressures_of_one_weak_pump_are_not_three_proofs() -> None:
    """Once the cranking pressure is known, the same pressure with the regulator held adds less than it would alone."""

    def odds(*readings: dict) -> float:
        suspects = {s["fault"]: s["probability"] for s in judge_case(make_case(*readings), BOOK)["suspects"]}
        return suspects["pump_worn"] / suspects["injector_return_high"]

    nothing, crank, held = odds(), odds(read("crank_pressure", 150)), odds(read("held_pressure", 150))
    both = odds(read("crank_pressure", 150), read("held_pressure", 150))
    assert both < 1.5 * max(crank, held) * max(1.0, min(crank, held) / nothing)


def test_all_injectors_leaking_alike_are_seen_by_the_return_per_bar() -> None:
    alike = [read("crank_pressure", 120), read("injector_return", [40, 41, 40, 41], state="cranking")]
    few = [read("crank_pressure", 120), read("injector_return", [7, 7.5, 7, 7.2], state="cranking")]
    beliefs = []
    for rows in (alike, few):
        suspects = judge_case(make_case(*rows), BOOK)["suspects"]
        beliefs.append(sum(s["probability"] for s in suspects if s["fault"] in INJECTORS))
    assert beliefs[0] > 0.5 > 0.2 > beliefs[1]


def test_probability_over_cost_orders_single_fault_repairs() -> None:
    """P-over-C (Kadane and Simon 1977, as quoted by a later abstract): the vector of expected cost, by brute force too."""
    p, cost = [0.25, 0.30, 0.20, 0.15, 0.10], [180, 45, 60, 30, 15]

    def expected_cost(order: tuple) -> float:
        left, total = 1.0, 0.0
        for i in order:
            total += left * cost[i]
            left -= p[i]
        return total

    best = tuple(sorted(range(5), key=lambda i: (-p[i] / cost[i], i)))
    assert expected_cost(best) == pytest.approx(145.5)
    assert min(map(expected_cost, itertools.permutations(range(5)))) == pytest.approx(145.5)


def test_tables_are_distributions() -> None:
    rows = BOOK.signatures["layouts"]
    tables = [t for layout in rows.values() for f in layout["faults"].values() for c in f["classes"] for t in c.values()]
    assert len(tables) > 1000
    assert max(abs(sum(t) - 1000) for t in tables) <= 12
    assert json.dumps(rows).count("NaN") == 0
