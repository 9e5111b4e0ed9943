"""Personal data erased: what goes, what stays, that the log still proves itself, and that phones and files follow."""

import json

import pytest
from sqlalchemy import text

from tests.conftest import BOTH, everything, own_workshop
from tests.web.test_photos import draw, speak_of
from webapp.store import cases, erasure, log, projection, retention, search, verify
from webapp.store.models import Entry
from webapp.store.refusals import Conflict
from webapp.store.scope import new_id

DATABASES = BOTH
SECRETS = ("AB12", "blue van", "WVW", "Mrs Quill", "her son", "the yard", "Quill.csv", "her neighbour")


def fill(phone) -> tuple[str, bytes]:
    """A finished case with something personal in every place, and its photo."""
    data = draw()
    vehicle = {"description": "blue van of Mrs Quill", "vin": "WVWZZZ1JZXW000001"}
    answer = phone.sync([
        *phone.opening(**vehicle),
        phone.entry("complaint_set", {"complaints": ["no_start"]}),
        phone.reading("crank_pressure", 292),
        phone.entry("limits_set", {"overrides": {"crank_pressure": {"low": 250, "reason": "as Mrs Quill's sheet says"}}}),
        phone.entry("not_measured", {"quantity": "spring_pressure", "reason": "her son had the key"}),
        phone.entry("note_added", {"text": "stands in the yard"}),
        phone.entry("rise_recorded", {"source": "trace", "name": "Quill.csv", "start_s": 0.1, "start_from": "hand",
                                      "points": [[0, 1]], "times": [[200, 0.6]]}),
        phone.entry("reopened", {"reason": "her neighbour heard it"}),
        phone.entry("concluded", {"fault": "regulator_leaking", "text": "tell Mrs Quill"}),
    ])  # fmt: skip
    assert {row["status"] for row in answer["results"]} == {"stored"}, answer
    phone.put_photo(speak_of(phone, data), data)
    return phone.case, data


def erase(database, case: str) -> erasure.Erased:
    with database.writing() as session:
        workshop = own_workshop(session)
        done = erasure.erase_case(workshop, case, "office", "she asked for it")
    erasure.drop_photos(database, workshop.id)
    return done


def dump(database) -> str:
    with everything(database) as session:
        tables = ("entries", "cases", "case_documents", "case_words", "photos", "photo_refs")
        return json.dumps(
            [[str(cell) for row in session.execute(text(f"select * from {name}")) for cell in row] for name in tables]
        )


def test_nothing_personal_is_left_and_what_was_measured_stays(technician, database):
    case, _ = fill(technician)
    before = dump(database)
    assert all(word in before for word in SECRETS)
    assert erase(database, case).entries == 8
    after = dump(database)
    assert [word for word in (*SECRETS, "wvw", "quill", "yard") if word in after] == []
    assert database.photos.list_keys("") == []
    with database.reading() as session:
        found = cases.get_case(own_workshop(session), case)
        assert search.find_cases(own_workshop(session), "quill", [], None, 9).ids == []
    assert [row["value"] for row in found.document["readings"]] == [292]
    assert found.document["vehicle"]["layout"] == "regulator-and-metering"
    assert found.assessment["verdicts"][0]["low"] == 250
    assert erasure.list_erasures(found.log)[0]["reason"] == "she asked for it"


def test_the_log_still_follows_and_a_rebuild_gives_the_same(technician, database):
    case, _ = fill(technician)
    with database.reading() as session:
        chains = [row.chain for row in log.read_rows(own_workshop(session), case)]
    erase(database, case)
    with database.reading() as session:
        rows = log.read_rows(own_workshop(session), case)
        assert [row.chain for row in rows][: len(chains)] == chains
        assert log.verify_case(own_workshop(session), case) is None
    assert verify.verify(database).problems == []
    with database.writing() as session:
        projection.rebuild(own_workshop(session))
    assert verify.verify(database).problems == []


# what is done after the erasure, what verify says
SPOILT = [
    ("update entries set content = replace(content, '(erased)', 'a lie') where kind = 'note_added'", "altered since"),
    (
        "update entries set digest = replace(digest, substr(digest, 1, 4), 'aaaa') where kind = 'note_added'",
        "does not follow",
    ),
    ("update entries set content = replace(content, '292', '212') where kind = 'reading_taken'", "does not follow"),
    ("update entries set digest = chain, salt = null where kind = 'reading_taken'", "does not follow"),
    ("delete from entries where kind = 'personal_data_erased'", "no entry says who erased it"),
]


@pytest.mark.parametrize(("statement", "says"), SPOILT, ids=[row[1] for row in SPOILT])
def test_an_erased_log_that_was_altered_is_found(technician, database, statement, says):
    case, _ = fill(technician)
    erase(database, case)
    with everything(database) as session:
        session.execute(text(statement))
    assert any(says in problem for problem in verify.verify(database).problems)


def test_entries_from_before_there_were_salts_can_be_erased_too(technician, database):
    case, _ = fill(technician)
    with everything(database) as session:
        chain = log.CHAIN_START
        for row in session.query(Entry).order_by(Entry.position):
            row.salt, row.chain = None, log.next_chain(chain, row.content)
            chain = row.chain
    assert verify.verify(database).problems == []
    erase(database, case)
    assert verify.verify(database).problems == []
    assert "Quill" not in dump(database)


def test_a_second_time_there_is_nothing_left(technician, database):
    case, _ = fill(technician)
    erase(database, case)
    with pytest.raises(Conflict):
        erase(database, case)


def test_a_phone_that_sends_again_is_told_known_and_may_not_erase(technician, database):
    entry = technician.entry("note_added", {"text": "Mrs Quill"})
    technician.sync([*technician.opening(), entry])
    erase(database, technician.case)
    assert technician.sync([entry])["results"][0]["status"] == "known"
    body = {"reason": "x", "entries": 1, "sum": "0" * 64}
    refused = technician.sync([technician.entry("personal_data_erased", body)])["results"][0]
    assert (refused["status"], refused["problems"][0]["field"]) == ("refused", "kind")


def test_other_phones_hear_of_it_and_what_they_fetch_is_clean(technician, apprentice, database):
    case, _ = fill(technician)
    erase(database, case)
    told = apprentice.sync([])
    assert told["entries"][-1]["kind"] == "personal_data_erased"
    assert "Quill" not in json.dumps(told)
    assert told["photos_wanted"] == []
    assert technician.sync([])["photos_wanted"] == []


def test_a_photo_of_another_case_stays(technician, database):
    case, data = fill(technician)
    technician.case = case[:-4] + "beef"
    speak_of(technician, data)
    erase(database, case)
    assert len(database.photos.list_keys("")) == 2  # as it came, and as it is shown


def due(database, months, moment=None) -> list[str]:
    with database.reading() as session:
        return [row.id for row in retention.list_due(own_workshop(session), months, moment).cases]


def keep_one_month(database) -> str:
    """A month is kept from now on, and all cases have rested for longer; returns the workshop's id."""
    with database.writing() as session:
        retention.set_months(own_workshop(session), 1)
        workshop_id = own_workshop(session).id
    with everything(database) as session:
        session.execute(text("update cases set updated_at = '2020-01-01T00:00:00.000Z'"))
    return workshop_id


def test_retention_takes_finished_cases_that_rest_and_no_others(technician, database):
    case, _ = fill(technician)
    technician.case = case[:-4] + "beef"
    technician.sync(technician.opening("OP3N"))
    late = "2031-01-31T12:00:00.000Z"
    assert due(database, 12) == []
    assert due(database, None, late) == []
    assert due(database, 12, late) == [case]
    workshop_id = keep_one_month(database)
    assert retention.apply(database, workshop_id) == 1
    assert "Quill" not in dump(database)
    assert "OP3N" in dump(database)
    assert retention.apply(database, workshop_id) == 0


def test_more_than_are_shown_at_a_time_are_all_erased(technician, database, monkeypatch):
    monkeypatch.setattr(retention, "MOST_SHOWN", 2)
    for number in range(5):
        technician.case = new_id()
        technician.sync([*technician.opening(f"AA{number} AAA"), technician.entry("concluded", {"text": "x"})])
    workshop_id = keep_one_month(database)
    assert retention.apply(database, workshop_id) == 5
    assert "AAA" not in dump(database)


def test_a_duplicate_that_was_joined_counts_as_finished(technician, database):
    technician.sync(technician.opening("DUPL 1"))
    late = "2031-01-31T12:00:00.000Z"
    assert due(database, 12, late) == []
    with database.writing() as session:
        target = {"target": technician.case[:-4] + "beef"}
        cases.write_entry(own_workshop(session), technician.case, "office", "merged_into", target)
    assert due(database, 12, late) == [technician.case]


def test_what_comes_in_late_is_erased_with_the_next_run(technician, database):
    case, _ = fill(technician)
    erase(database, case)
    technician.sync([technician.entry("note_added", {"text": "Mrs Quill called"})])
    assert due(database, None) == [case]
    with database.reading() as session:
        workshop_id = own_workshop(session).id
    assert retention.apply(database, workshop_id) == 1
    assert "Quill" not in dump(database)
    assert verify.verify(database).problems == []


def test_a_run_that_was_cut_off_is_finished_by_the_next(technician, database):
    """The file of the photo still lies there: the row that names it does, too."""
    case, _ = fill(technician)
    with database.writing() as session:
        erasure.erase_case(own_workshop(session), case, "office", "asked")
        workshop_id = own_workshop(session).id
    assert len(database.photos.list_keys("")) == 2  # as it came, and as it is shown
    retention.apply(database, workshop_id)
    assert database.photos.list_keys("") == []


@pytest.mark.parametrize(("day", "months", "start"), [
    ("2027-03-31", 1, "2027-02-28"), ("2027-01-15", 1, "2026-12-15"), ("2027-12-05", 24, "2025-12-05"),
])  # fmt: skip
def test_months_are_those_of_the_calendar(day, months, start):
    found = retention.step_back(retention.read_moment(f"{day}T00:00:00Z"), months)
    assert found.date().isoformat() == start
