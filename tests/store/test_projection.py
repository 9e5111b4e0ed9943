"""Cases wait to be judged after the answer was sent: whoever looks meanwhile sees the newest state all the same."""

import pytest

from tests.conftest import BOTH, own_workshop
from tests.store.test_rebuild import dump
from webapp.store import cases, judging, log, projection
from webapp.store.models import Waiting

DATABASES = BOTH


@pytest.fixture
def hurried(technician, monkeypatch):
    """A phone whose server is interrupted right after each answer."""
    monkeypatch.setattr(projection, "catch_up_quietly", lambda *_: None)
    return technician


def count_waiting(database) -> int:
    with database.reading() as session:
        return len(projection.list_waiting(own_workshop(session)))


def read(database, case_id):
    with database.reading() as session:
        return cases.get_case(own_workshop(session), case_id)


def test_after_the_answer_nothing_waits(technician, database):
    technician.sync(technician.opening())
    assert count_waiting(database) == 0
    assert dump(database)["cases"]


def test_what_waits_is_seen_as_it_is_now(hurried, database):
    hurried.sync(hurried.opening("FIRST"))
    assert (count_waiting(database), dump(database)["cases"]) == (1, [])
    assert read(database, hurried.case).row.registration == "FIRST"
    hurried.sync([hurried.entry("vehicle_set", {"registration": "SECOND"})])
    found = read(database, hurried.case)
    assert (found.row.registration, found.row.entries, found.document["vehicle"]["registration"]) == ("SECOND", 3, "SECOND")


def test_a_row_that_is_behind_is_not_shown(technician, database, monkeypatch):
    technician.sync(technician.opening("FIRST"))
    monkeypatch.setattr(projection, "catch_up_quietly", lambda *_: None)
    technician.sync([technician.entry("vehicle_set", {"registration": "SECOND"})])
    assert dump(database)["cases"][0][3] == "FIRST"
    assert read(database, technician.case).row.registration == "SECOND"


def test_the_list_catches_up_before_it_is_read(technician, office, database, monkeypatch):
    with monkeypatch.context() as patch:
        patch.setattr(projection, "catch_up_quietly", lambda *_: None)
        technician.sync(technician.opening("AB12 CDE"))
    assert "AB12 CDE" in office.get("/office/?q=ab12").text
    assert count_waiting(database) == 0


def test_catching_up_gives_what_judging_at_once_gives(hurried, database):
    hurried.sync([*hurried.opening(), hurried.reading("crank_pressure", 180)])
    with database.reading() as session:
        workshop_id = own_workshop(session).id
    assert projection.catch_up(database, workshop_id) == 0
    late = dump(database)
    with database.writing() as session:
        projection.rebuild(own_workshop(session))
    assert dump(database) == late
    assert count_waiting(database) == 0


def test_a_case_that_grows_while_it_is_judged_waits_on(hurried, database, monkeypatch):
    hurried.sync(hurried.opening())
    real = judging.fold_and_judge

    def grow_meanwhile(entries, book):
        monkeypatch.setattr(judging, "fold_and_judge", real)
        hurried.sync([hurried.entry("note_added", {"text": "meanwhile"})])
        return real(entries, book)

    monkeypatch.setattr(judging, "fold_and_judge", grow_meanwhile)
    with database.reading() as session:
        workshop_id = own_workshop(session).id
    projection.catch_up(database, workshop_id)
    assert (count_waiting(database), dump(database)["cases"]) == (1, [])
    projection.catch_up(database, workshop_id)
    assert (count_waiting(database), len(dump(database)["cases"])) == (0, 1)


def test_there_is_an_end_to_catching_up(hurried, database):
    for _ in range(3):
        hurried.sync([hurried.entry("case_opened", {}, case=log.next_chain("", str(_))[:8] + hurried.case[8:])])
    with database.reading() as session:
        workshop_id = own_workshop(session).id
    assert projection.catch_up(database, workshop_id, limit_s=-1) == 3
    assert count_waiting(database) == 3


def test_a_failure_after_the_answer_is_nobodys_trouble(technician, database, monkeypatch):
    monkeypatch.setattr(projection, "keep", lambda *_: 1 / 0)
    technician.sync(technician.opening())
    assert count_waiting(database) == 1
    monkeypatch.undo()
    technician.sync([technician.entry("note_added", {"text": "x"})])
    assert count_waiting(database) == 0


def test_waiting_names_each_case_once(hurried, database):
    for number in range(3):
        hurried.sync([hurried.entry("note_added", {"text": str(number)})])
    with database.reading() as session:
        workshop = own_workshop(session)
        assert workshop.all(workshop.select(Waiting, Waiting.case_id)) == [hurried.case]
