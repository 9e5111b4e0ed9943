"""The workshop's own instruments: entered, due, offered to phones, judged with, and told when one was overdue."""

import json
import re

import pytest

from tests.conftest import own_workshop
from webapp.store import cases, instruments

GAUGE = {
    "name": "Blue gauge", "serial": "G-17", "like": "rail_sensor", "accuracy_full_scale": "1.6", "full_scale": "400",
    "accuracy_reading": "0", "resolution": "5", "calibrated_on": "2026-01-10", "due_on": "2027-01-10", "note": "red box",
}  # fmt: skip


def add(office, **other):
    answer = office.post("/office/instruments", **{**GAUGE, **other})
    assert answer.status_code == 303, answer.text
    return answer


def tell(phone) -> dict:
    return phone.post_sync([], limits="").json["limits"]


def take(phone, instrument: str, at: str = "2026-11-24T09:00:00.000Z") -> str:
    answer = phone.sync(
        [*phone.opening(), phone.reading("crank_pressure", 292, instrument=instrument, unit="bar") | {"at": at}]
    )
    assert {row["status"] for row in answer["results"]} == {"stored"}, answer
    return phone.case


def test_phones_are_offered_it_and_its_figures_count(office, technician, database):
    add(office)
    told = tell(technician)
    (row,) = told["instruments"]
    assert (row["id"], row["name"]) == ("own-blue-gauge.1", "Blue gauge, no. G-17, calibration due 2027-01-10")
    assert not row["retired"]
    assert "crank_pressure" in row["quantities"]
    case = take(technician, row["id"])
    with database.reading() as session:
        verdict = cases.get_case(own_workshop(session), case).assessment["verdicts"][0]
    # 1.6 % of 400 bar as a half-width, and half a step of 5 bar, both rectangular (SOURCES section 2.1)
    assert verdict["standard_uncertainty"] == pytest.approx(((0.016 * 400 / 3**0.5) ** 2 + (2.5 / 3**0.5) ** 2) ** 0.5)
    assert "Blue gauge, no. G-17" in office.get(f"/office/cases/{case}").text
    assert len(json.dumps(told)) < 1024


def test_a_calibration_is_a_new_version_and_old_readings_stay_as_they_were_judged(office, technician, database):
    add(office)
    case = take(technician, "own-blue-gauge.1")
    with database.reading() as session:
        before = cases.get_case(own_workshop(session), case).assessment
    changed = {**GAUGE, "accuracy_full_scale": "10", "calibrated_on": "2026-06-01", "due_on": "2027-06-01", "seen": "1"}
    assert office.post("/office/instruments/blue-gauge", **changed).status_code == 303
    assert [(row["id"], row["retired"]) for row in tell(technician)["instruments"]] == [
        ("own-blue-gauge.1", True), ("own-blue-gauge.2", False),
    ]  # fmt: skip
    with database.writing() as session:
        workshop = own_workshop(session)
        cases.write_entry(workshop, case, "office", "note_added", {"text": "judged again"})
        assert cases.get_case(workshop, case).assessment["verdicts"] == before["verdicts"]
    stale = office.post("/office/instruments/blue-gauge", **changed)
    assert stale.status_code == 409
    assert "Somebody changed this instrument meanwhile" in stale.text


# name, day of the reading, whether the page warns
DAYS = [
    ("held", "2026-11-24", False), ("the last day", "2027-01-10", False), ("the day after", "2027-01-11", True),
    ("before it was calibrated", "2026-01-09", True), ("after the next one", "2027-02-20", False),
    ("between the two", "2027-01-20", True),
]  # fmt: skip


@pytest.mark.parametrize(("day", "warns"), [row[1:] for row in DAYS], ids=[row[0] for row in DAYS])
def test_the_case_warns_of_a_reading_taken_overdue(office, technician, database, monkeypatch, day, warns):
    monkeypatch.setattr(instruments, "now", lambda: "2027-03-01T00:00:00.000Z")
    add(office)
    seen = {**GAUGE, "calibrated_on": "2027-02-01", "due_on": "2028-02-01", "seen": "1"}
    assert office.post("/office/instruments/blue-gauge", **seen).status_code == 303
    case = take(technician, "own-blue-gauge.1", f"{day}T12:00:00.000Z")
    for page in (f"/office/cases/{case}", f"/office/cases/{case}/report"):
        assert ("Calibration overdue when it was read" in office.get(page).text) is warns
    assert office.get(f"/office/cases/{case}/report.pdf").status_code == 200


@pytest.mark.parametrize(("today", "state"), [("2027-01-11", "overdue"), ("2027-01-10", "soon"), ("2026-12-11", "soon"),
                                              ("2026-12-10", "fine")])  # fmt: skip
def test_the_list_says_what_is_due(office, monkeypatch, today, state):
    add(office)
    monkeypatch.setattr(instruments, "now", lambda: f"{today}T08:00:00.000Z")
    page = office.get("/office/instruments").text
    assert re.findall(r'data-instrument="blue-gauge" data-state="(\w+)"', page) == [state]


@pytest.mark.parametrize(("today", "reminds"), [("2027-01-11", True), ("2026-12-11", True), ("2026-12-10", False)])
def test_the_first_page_reminds(office, monkeypatch, today, reminds):
    add(office)
    monkeypatch.setattr(instruments, "now", lambda: f"{today}T08:00:00.000Z")
    assert ('href="/office/instruments/blue-gauge"' in office.get("/office/").text) is reminds
    office.post("/office/instruments/blue-gauge", **GAUGE, seen="1", retired="y")
    assert "Calibration due" not in office.get("/office/").text


def test_a_retired_one_is_offered_no_more_and_known_all_the_same(office, technician, database):
    add(office)
    assert office.post("/office/instruments/blue-gauge", **GAUGE, seen="1", retired="y").status_code == 303
    assert [row["retired"] for row in tell(technician)["instruments"]] == [True, True]
    case = take(technician, "own-blue-gauge.1")
    with database.reading() as session:
        assert len(cases.get_case(own_workshop(session), case).document["readings"]) == 1


# field, value, what is said
BAD = [
    ("name", "", "Write the name"), ("serial", " ", "Write the number"), ("like", "tap_timer", "Not a valid choice"),
    ("accuracy_full_scale", "101", "from 0 to 100"), ("accuracy_reading", "x", "Not a valid decimal"),
    ("full_scale", "", "needs the full scale"), ("resolution", "-1", "from 0 to"),
    ("accuracy_reading", "nan", "Write a number"),
    ("due_on", "2026-01-10", "is not after the calibration"), ("due_on", "soon", "Not a valid date"),
    ("calibrated_on", "2099-01-01", "in the future"), ("resolution", "1e400", "from 0 to"),
]  # fmt: skip


@pytest.mark.parametrize(("field", "value", "says"), BAD, ids=[f"{row[0]} {row[1]!r}" for row in BAD])
def test_what_cannot_be_is_refused_at_its_field(office, technician, field, value, says):
    other = {"due_on": "2100-01-01"} if field == "calibrated_on" else {}
    answer = office.post("/office/instruments", **{**GAUGE, **other, field: value})
    assert answer.status_code == 422
    assert says in answer.text
    assert tell(technician) is None


def test_two_with_one_number_are_refused(office):
    add(office)
    answer = office.post("/office/instruments", **{**GAUGE, "name": "Another"})
    assert (answer.status_code, "is the number of Blue gauge" in answer.text) == (422, True)
    add(office, serial="G-18")
    assert office.get("/office/instruments/blue-gauge-2").status_code == 200


def test_a_phone_that_names_an_unknown_one_is_told(technician):
    answer = technician.sync([*technician.opening(), technician.reading("crank_pressure", 292, instrument="own-none.1")])
    assert answer["results"][-1]["problems"][0]["field"] == "body.instrument"
