"""Weights of the faults taken over from confirmed repairs: versions, what they do to new cases, what they leave alone."""

import json

import pytest

from tests.conftest import BOTH, own_workshop
from webapp.store import cases, insights_jobs, insights_learning, jobs, limits, people, weights
from webapp.store.judging import book
from webapp.store.refusals import Conflict, Refusal

DATABASES = BOTH
LEARNT = "regulator_leaking"


def confirm(phone, number: int, fault: str = LEARNT) -> None:
    for _ in range(number):
        phone.case = cases.new_id()
        phone.sync([*phone.opening(), phone.entry("outcome_confirmed", {"fault": fault, "text": "seen"})])


def accept(database, seen: tuple[int, int], strength: int = 50):
    with database.writing() as session:
        workshop = own_workshop(session)
        return weights.accept(workshop, insights_jobs.read_jobs(workshop).rows, strength, seen, "for the test", "office")


def judge(phone, database, key: str | None) -> dict:
    phone.case = cases.new_id()
    chosen = [phone.entry("limits_set", {"weights": key})] if key else []
    answer = phone.sync([*phone.opening(), *chosen, phone.entry("complaint_set", {"complaints": ["no_start"]})])
    assert {row["status"] for row in answer["results"]} == {"stored"}, answer
    return read(database, phone.case)


def read(database, case: str) -> dict:
    with database.reading() as session:
        return cases.get_case(own_workshop(session), case).assessment


def share(assessment: dict, fault: str = LEARNT) -> float:
    return next(row["probability"] for row in assessment["suspects"] if row["fault"] == fault)


def test_a_new_case_is_judged_by_them_and_says_so_and_others_are_not(technician, database):
    confirm(technician, 30)
    old = judge(technician, database, None)
    case = technician.case
    assert accept(database, (30, 0)).version == 1
    new = judge(technician, database, "learnt.1")
    assert new["limits"]["weights"] == "learnt.1"
    assert share(new) > 2 * share(old)
    assert sum(row["probability"] for row in new["suspects"]) == pytest.approx(1, abs=1e-9)
    assert read(database, case) == old


def test_the_shares_are_those_of_the_dirichlet(technician, database):
    """By hand: (strength * share + seen) / (strength + possible), then scaled to 1 (SOURCES section 15 for the rest)."""
    confirm(technician, 10)
    row = accept(database, (10, 0), strength=20)
    kept = json.loads(row.weights)
    faults = {fault["id"]: fault for fault in book().faults}
    total = sum(fault["prior"] for fault in faults.values())
    layout = "regulator-and-metering"
    raw = {
        name: (20 * fault["prior"] / total + (10 if name == LEARNT else 0))
        / (20 + (10 if layout in fault["layouts"] else 0))
        for name, fault in faults.items()
    }
    assert kept == {name: pytest.approx(max(value / sum(raw.values()), 1e-6), abs=1e-6) for name, value in raw.items()}
    assert sum(kept.values()) == pytest.approx(1, abs=1e-4)


def test_a_version_stays_and_the_next_begins_with_what_is_delivered(technician, database):
    confirm(technician, 10)
    accept(database, (10, 0))
    first = judge(technician, database, "learnt.1")
    case = technician.case
    confirm(technician, 5)
    second = accept(database, (15, 1))
    with database.reading() as session:
        jobs = insights_jobs.read_jobs(own_workshop(session)).rows
    assert json.loads(second.weights) == weights.round_weights(insights_learning.update_weights(jobs, 50))
    assert read(database, case) == first


@pytest.mark.parametrize("seen", [(9, 0), (10, 1)])
def test_what_was_not_looked_at_is_not_taken_over(technician, database, seen):
    confirm(technician, 10)
    with pytest.raises(Conflict):
        accept(database, seen)


def test_nothing_learnt_and_nothing_new_are_refused(technician, database):
    with pytest.raises(Refusal, match="nothing to take over"):
        accept(database, (0, 0))
    confirm(technician, 3)
    accept(database, (3, 0))
    with pytest.raises(Refusal, match="in use already"):
        accept(database, (3, 1))


def test_phones_learn_them_in_a_kilobyte_or_so_and_only_once(technician, database):
    confirm(technician, 10)
    accept(database, (10, 0))
    told = technician.post_sync([], limits="").json["limits"]
    assert [row["id"] for row in told["weights"]] == ["learnt.1"]
    assert len(json.dumps(told)) < 2_000
    assert technician.post_sync([], limits=told["mark"]).json["limits"] is None
    with database.reading() as session:
        assert limits.open_workshop_book(own_workshop(session)).weights["learnt.1"] == told["weights"][0]["weights"]


def test_a_job_of_the_office_is_judged_as_one_of_a_phone_would_be(technician, database):
    confirm(technician, 3)
    with database.writing() as session:
        workshop = own_workshop(session)
        worker = people.list_people(workshop)[0].id
        plain = jobs.open_job(workshop, worker, worker, {"description": "van"}, [], "")
        limits.add_profile(workshop, "All our vans", "workshop", "generic", "office")
        limits.add_profile(workshop, "A family", "family", "generic", "office")
        changed = {"crank_pressure": {**limits.library_limits()["crank_pressure"], "low": 320, "note": "seen"}}
        limits.publish(workshop, "all-our-vans", 1, changed, "why", "office", "Olga")
    accept(database, (3, 0))
    accept(database, (3, 1), strength=20)
    with database.writing() as session:
        ours = jobs.open_job(own_workshop(session), worker, worker, {"description": "van"}, [], "")
    assert read(database, plain)["limits"] == {"profile": "generic", "version": 1, "weights": None}
    assert read(database, ours)["limits"] == {"profile": "all-our-vans.2", "version": 2, "weights": "learnt.2"}


def test_unknown_weights_are_refused_by_name(technician):
    answer = technician.sync([*technician.opening(), technician.entry("limits_set", {"weights": "learnt.9"})])
    assert answer["results"][-1]["problems"][0]["field"] == "body.weights"
