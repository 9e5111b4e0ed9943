"""The invented workshop: marked as such, the same each time, and a look at every kind of case."""

import shutil
from dataclasses import replace

import pytest

from tests.conftest import BOTH, everything
from webapp.store import cases, demo, log
from webapp.store.db import Database
from webapp.store.models import Entry
from webapp.store.refusals import Conflict
from webapp.store.scope import find_workshop

DATABASES = BOTH

NAME = "Invented Workshop (demo)"


def fill(database):
    with database.writing() as session:
        return demo.fill_demo(session)


def read_cases(database):
    with database.reading() as session:
        workshop = find_workshop(session, NAME)
        return [cases.get_case(workshop, row.id) for row in cases.list_cases(workshop).cases]


def test_everything_is_marked_as_invented(database):
    fill(database)
    found = read_cases(database)
    assert len(found) == 8
    assert all("Invented" in case.row.description and "DEMO" in case.row.registration for case in found)


def test_every_case_can_be_judged_and_all_states_are_there(database):
    fill(database)
    found = read_cases(database)
    assert [case.row.problem for case in found] == [None] * 8
    assert {case.row.state for case in found} == set(cases.STATES)
    assert {case.row.pump for case in found} >= {"cleared", "open", "condemned"}
    assert sum(case.row.differs for case in found) == 1
    assert sum(case.row.conflicts for case in found) == 1


def test_conclusions_of_the_phone_are_those_of_the_server(database):
    fill(database)
    agreeing = [case for case in read_cases(database) if case.document["concluded"] and not case.row.differs]
    assert {case.assessment["conclusion"]["fault"] for case in agreeing} == {
        "regulator_leaking", "injector_return_high", "pump_worn", "air_in_supply",
    }  # fmt: skip


def read_contents(database):
    with everything(database) as session:
        return [(row.id, row.content) for row in session.query(Entry).order_by(Entry.feed)]


def test_it_is_the_same_each_time_but_for_the_passwords(database, prepared, settings):
    shutil.copy(prepared, settings.data / "second.db")
    second = Database(replace(settings, database_url=f"sqlite:///{settings.data / 'second.db'}"))
    lines, again = fill(database), fill(second)
    assert read_contents(database) == read_contents(second) != []
    assert lines[0] == again[0]
    assert lines != again


def test_twice_is_refused(database):
    fill(database)
    with pytest.raises(Conflict, match="there already"):
        fill(database)


def test_the_logs_hold_together(database):
    fill(database)
    with database.reading() as session:
        workshop = find_workshop(session, NAME)
        assert [log.verify_case(workshop, case_id) for case_id in log.list_case_ids(workshop)] == [None] * 8
