"""Folding: a pure function of the set of entries."""

import random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.engine.scenes import CATALOGUE
from webapp.engine.book import open_book
from webapp.engine.entries import BODIES, check_entry, fold_entries, fold_log
from webapp.engine.judge import judge_folded
from webapp.engine.problems import EngineError

BOOK = open_book(CATALOGUE)
CASE = "01910000-0000-7000-8000-00000000000c"
RELAXED = settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))


def make_id(number: int) -> str:
    return f"01910000-0000-7000-8000-{number:012x}"


def entry(number: int, kind: str, body: dict, *, clock: int | None = None, device: str = "phone-a") -> dict:
    return {"id": make_id(number), "case": CASE, "device": device, "seq": number, "clock": clock or number,
            "at": "2026-05-04T10:00:00Z", "by": "technician", "kind": kind, "body": body}  # fmt: skip


BODIES_OF = {
    "case_opened": st.just({}),
    "vehicle_set": st.fixed_dictionaries({}, optional={
        "layout": st.sampled_from(BOOK.layouts), "supply": st.sampled_from(BOOK.supplies), "cylinders": st.integers(1, 8),
        "description": st.text(max_size=5), "assumed": st.lists(st.sampled_from(["layout", "supply"]), max_size=2)}),
    "complaint_set": st.fixed_dictionaries({"complaints": st.lists(st.sampled_from(BOOK.complaints), max_size=2)}),
    "codes_set": st.fixed_dictionaries({"codes": st.lists(st.sampled_from(["P0087", "P0191"]), max_size=2)}),
    "circumstances_set": st.fixed_dictionaries({}, optional={
        "lacking": st.lists(st.sampled_from(BOOK.equipment), max_size=2), "fuel_temperature_c": st.integers(-20, 90)}),
    "limits_set": st.fixed_dictionaries({"rule": st.sampled_from(["simple", "guarded"])}),
    "step_ticked": st.fixed_dictionaries(
        {"check": st.just("crank"), "step": st.sampled_from("ab"), "ticked": st.booleans()}),
    "reading_taken": st.fixed_dictionaries({"quantity": st.just("crank_pressure"), "value": st.integers(0, 400)})
    | st.fixed_dictionaries({"quantity": st.just("injector_return"), "duration_s": st.just(30),
                             "value": st.lists(st.integers(0, 80), min_size=1, max_size=6)}),
    "not_measured": st.fixed_dictionaries({"quantity": st.just("crank_pressure"), "reason": st.just("no signal")}),
    "reading_voided": st.fixed_dictionaries({"reading": st.integers(1, 30).map(make_id), "reason": st.just("slip")}),
    "note_added": st.fixed_dictionaries({"text": st.text(max_size=5)}),
    "photo_added": st.just({"sha256": "ab" * 32, "type": "image/jpeg", "size": 10}),
    "rise_recorded": st.fixed_dictionaries(
        {"source": st.sampled_from(["trace", "film"]), "start_s": st.floats(0, 9), "start_from": st.just("hand"),
         "points": st.lists(st.tuples(st.floats(0, 9), st.integers(0, 400)).map(list), max_size=3),
         "times": st.just([[200, 0.61], [285, None]])}),
    "caution_acknowledged": st.just({"caution": "jets"}),
    "signed_off": st.just({"role": "mentor"}),
    "gate_overridden": st.fixed_dictionaries({"reason": st.sampled_from(["seen it before", "owner insists"])}),
    "concluded": st.just({"fault": None, "text": "open"}),
    "repair_recorded": st.just({"text": "replaced"}),
    "outcome_confirmed": st.just({"fault": "pump_worn"}),
    "reopened": st.just({"reason": "came back"}),
    "job_assigned": st.fixed_dictionaries({"to": st.sampled_from(["tarek", "ada"]), "note": st.just("rings at noon")}),
    "job_seen": st.just({}),
    "comment_added": st.fixed_dictionaries({"text": st.just("which plug?")}, optional={
        "question": st.booleans(), "to": st.just("tarek"), "answers": st.integers(1, 30).map(make_id)}),
    "reviewed": st.fixed_dictionaries({"seen": st.integers(1, 8)}),
    "merged_into": st.fixed_dictionaries({}, optional={"target": st.just(make_id(99))}),
    "case_joined": st.fixed_dictionaries({"duplicate": st.just(make_id(98)), "readings": st.just([make_id(3)])}),
    "personal_data_erased": st.just({"reason": "asked for", "entries": 2, "sum": "ab" * 32}),
    "kind_of_the_future": st.just({"anything": [1, 2]}),
}  # fmt: skip


@st.composite
def logs(draw: st.DrawFn) -> list[dict]:
    """A log of up to 30 entries by two devices whose clocks may coincide."""
    made = []
    for number in range(1, draw(st.integers(2, 30))):
        kind = draw(st.sampled_from(sorted(BODIES_OF)))
        device = draw(st.sampled_from(["phone-a", "phone-b"]))
        made.append(entry(number, kind, draw(BODIES_OF[kind]), clock=draw(st.integers(1, 12)), device=device))
    return made


def test_every_known_kind_is_tried() -> None:
    assert set(BODIES) < set(BODIES_OF)


@RELAXED
@given(logs(), st.randoms(use_true_random=False), st.integers(0, 5))
def test_order_and_repeats_change_nothing(log: list[dict], chance: random.Random, repeats: int) -> None:
    assert [problem for row in log for problem in check_entry(row, BOOK)] == []
    shuffled = log + [dict(chance.choice(log)) for _ in range(repeats)]
    chance.shuffle(shuffled)
    assert fold_entries(shuffled, BOOK) == fold_entries(log, BOOK)


@RELAXED
@given(logs(), st.integers(0, 30))
def test_merging_is_union(log: list[dict], cut: int) -> None:
    assert fold_entries(log[cut:] + log, BOOK) == fold_entries(log, BOOK)


@RELAXED
@given(logs())
def test_every_log_can_be_judged(log: list[dict]) -> None:
    document = fold_log(log, BOOK)
    assert judge_folded(document, BOOK)["case"] == CASE
    assert document["entries"] == len(log)


def test_the_greatest_clock_wins_and_the_wall_clock_does_not() -> None:
    early = {**entry(1, "vehicle_set", {"cylinders": 4}, clock=9, device="phone-b"), "at": "1970-01-01T00:00:00Z"}
    late = {**entry(2, "vehicle_set", {"cylinders": 6}, clock=3), "at": "2099-01-01T00:00:00Z"}
    document = fold_entries([late, early], BOOK)
    assert document["vehicle"]["cylinders"] == 4
    assert [row["value"] for row in document["conflicts"][0]["values"]] == [6, 4]


def test_a_voided_reading_leaves_the_readings_and_stays_in_the_case() -> None:
    log = [
        entry(1, "reading_taken", {"quantity": "crank_pressure", "value": 2920}),
        entry(2, "reading_voided", {"reading": make_id(1), "reason": "typing slip"}),
        entry(3, "reading_taken", {"quantity": "crank_pressure", "value": 292}),
    ]
    document = fold_entries(log, BOOK)
    assert [r["value"] for r in document["readings"]] == [292]
    assert [(r["value"], r["reason"]) for r in document["voided"]] == [(2920, "typing slip")]


def test_a_recorded_rise_is_kept_whole_and_says_who_recorded_it() -> None:
    log = [entry(1, "rise_recorded", {**RISE, "readings": [make_id(9)]})]
    assert check_entry(log[0], BOOK) == []
    row = fold_entries(log, BOOK)["rises"][0]
    assert (row["points"], row["entry"], row["by"]) == (RISE["points"], make_id(1), "technician")


def test_a_reading_that_no_longer_fits_is_set_aside_by_name() -> None:
    log = [
        entry(1, "reading_taken", {"quantity": "injector_return", "value": [1, 2, 3, 4], "duration_s": 30}),
        entry(2, "vehicle_set", {"layout": "regulator-only", "supply": "electric", "cylinders": 6}),
    ]
    assessment = judge_folded(fold_log(log, BOOK), BOOK)
    assert assessment["verdicts"] == []
    assert "4 values for 6 cylinders" in assessment["notes"][0]


def test_one_unreadable_entry_is_set_aside_and_the_rest_makes_the_case() -> None:
    odd = entry(2, "reading_taken", {"quantity": "crank_pressure", "value": 292, "colour": "blue"})
    log = [entry(1, "complaint_set", {"complaints": ["no_start"]}), odd, entry(3, "note_added", {"text": "fine"})]
    document = fold_log(log, BOOK)
    assert (document["complaints"], document["readings"], len(document["notes"])) == (["no_start"], [], 1)
    assert document["set_aside"][0]["entry"] == odd["id"]
    assert "body.colour" in judge_folded(document, BOOK)["notes"][0]
    with pytest.raises(EngineError):
        fold_log([odd], BOOK)


def test_assumed_fields_are_named_until_somebody_sets_them() -> None:
    log = [
        entry(1, "case_opened", {}),
        entry(2, "vehicle_set", {"layout": BOOK.safe_layout, "assumed": ["layout"], "cylinders": 4}),
    ]
    assert fold_entries(log, BOOK)["vehicle"]["assumed"] == ["supply", "layout"]
    log.append(entry(3, "vehicle_set", {"layout": "metering-only"}))
    assert fold_entries(log, BOOK)["vehicle"]["assumed"] == ["supply"]


def test_not_measured_belongs_to_its_phase() -> None:
    """What could not be read before the repair is asked for again after it, and the other way round."""
    missed = {"quantity": "crank_rise_time", "reason": "not reached"}
    log = [entry(1, "not_measured", missed), entry(2, "repair_recorded", {"text": "injector 4 replaced"})]
    assert judge_folded(fold_log(log, BOOK), BOOK)["next"][0]["quantities"] == ["crank_pressure", "crank_rise_time"]
    log.append(entry(3, "not_measured", {**missed, "phase": "after_repair"}))
    document = fold_log(log, BOOK)
    assert [row["phase"] for row in document["not_measured"]] == ["before", "after_repair"]
    assert judge_folded(document, BOOK)["next"][0]["quantities"] == ["crank_pressure"]
    log.append(entry(4, "reading_taken", {"quantity": "crank_rise_time", "value": 1.1, "phase": "after_repair"}))
    assert [row["phase"] for row in fold_log(log, BOOK)["not_measured"]] == ["before"]


def test_the_state_follows_the_last_word() -> None:
    log = [entry(1, "concluded", {"fault": "pump_worn"}), entry(2, "repair_recorded", {"text": "new pump"})]
    assert fold_entries(log, BOOK)["state"] == "repaired"
    log.append(entry(3, "reopened", {"reason": "still no start"}))
    assert fold_entries(log, BOOK)["state"] == "open"


RISE = {"source": "trace", "start_s": 0.4, "start_from": "hand", "points": [[0.0, 18], [1.0, 301]], "times": [[285, 0.9]]}
BAD_ENTRIES = [
    ("id", {"id": "r1"}), ("case", {"case": CASE.upper()}), ("seq", {"seq": 0}), ("clock", {"clock": True}),
    ("body", {"body": []}), ("colour", {"colour": "blue"}), ("by", {"by": 7}),
    ("body.value", {"kind": "reading_taken", "body": {"quantity": "crank_pressure", "value": "x"}}),
    ("body.quantity", {"kind": "reading_taken", "body": {"quantity": "oil", "value": 1}}),
    ("body.layout", {"kind": "vehicle_set", "body": {"layout": "twin"}}),
    ("body.cylinders", {"kind": "vehicle_set", "body": {"cylinders": 99}}),
    ("body.reason", {"kind": "reading_voided", "body": {"reading": make_id(1)}}),
    ("body.sha256", {"kind": "photo_added", "body": {"sha256": "../x", "type": "image/jpeg", "size": 1}}),
    ("body.type", {"kind": "photo_added", "body": {"sha256": "ab" * 32, "type": "image/svg+xml", "size": 1}}),
    ("body.source", {"kind": "rise_recorded", "body": {**RISE, "source": "rumour"}}),
    ("body.start_s", {"kind": "rise_recorded", "body": {**RISE, "start_s": "0.4"}}),
    ("body.points", {"kind": "rise_recorded", "body": {**RISE, "points": [[0, 1]] * 1201}}),
    ("body.points[1]", {"kind": "rise_recorded", "body": {**RISE, "points": [[0, 1], [2]]}}),
    ("body.times[0][1]", {"kind": "rise_recorded", "body": {**RISE, "times": [[285, "soon"]]}}),
    ("body.ticked", {"kind": "step_ticked", "body": {"check": "crank", "step": "a", "ticked": 1}}),
    ("body.tick", {"kind": "step_ticked", "body": {"check": "crank", "step": "a", "ticked": True, "tick": 1}}),
    ("body.overrides.crank_pressure.reason", {"kind": "limits_set", "body": {"overrides": {"crank_pressure": {"low": 1}}}}),
]  # fmt: skip


@pytest.mark.parametrize("row", BAD_ENTRIES, ids=[f"{row[0]}-{i}" for i, row in enumerate(BAD_ENTRIES)])
def test_a_bad_entry_is_refused_by_field(row: tuple) -> None:
    field, change = row
    found = check_entry({**entry(1, "note_added", {"text": "x"}), **change}, BOOK)
    assert field in [problem.field for problem in found]
