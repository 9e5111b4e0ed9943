"""The report: plain words first, no more than the evidence carries, then the technical part."""

import re

import pytest

from webapp.report.plain import explain
from webapp.store import demo
from webapp.store.cases import list_cases
from webapp.store.scope import find_workshop
from webapp.store.sheet import read_sheet


@pytest.fixture
def told(database):
    """Plain sentences of each invented case, by registration."""
    with database.writing() as session:
        demo.fill_demo(session)
        workshop = find_workshop(session, "Invented Workshop (demo)")
        rows = list_cases(workshop).cases
        return {row.registration: dict(explain(read_sheet(workshop, row.id))) for row in rows}


def test_a_fault_elsewhere_says_so_and_spares_the_pump(told):
    parts = told["DEMO 101"]
    assert parts["What we found"][0] == "It is confirmed: pressure regulator leaks."
    assert parts["The high-pressure pump"] == [
        "The fault lies elsewhere. Nothing that was measured speaks for replacing the high-pressure pump."
    ]
    assert parts["What was done"] == ["Pressure regulator replaced with new seals."]
    assert "within limits" in parts["After the repair"][0]


def test_a_condemned_pump_says_that_the_others_came_first(told):
    assert "The other parts" in told["DEMO 103"]["The high-pressure pump"][0]


def test_an_unfinished_search_warns_against_replacing_parts(told):
    parts = told["DEMO 105"]
    assert "No part should be replaced on what is known today." in parts["What we found"]
    assert "would be a guess" in parts["The high-pressure pump"][0]
    assert any("could not be measured" in line for line in parts["What this report does not say"])


def test_a_pump_that_makes_pressure_is_cleared(told):
    assert "is not at fault" in told["DEMO 104"]["The high-pressure pump"][0]


def test_a_doubtful_conclusion_carries_its_doubt(told):
    assert any("another result" in line for line in told["DEMO 107" if "DEMO 107" in told else "DEMO 170"]["What we found"])


def test_a_repair_without_a_retest_says_so(told):
    assert told["DEMO 106"]["After the repair"] == ["The tests have not been repeated after the repair yet."]


def test_the_page_has_both_parts_and_the_seal(technician, office):
    technician.sync([*technician.opening(), technician.reading("crank_pressure", 180, unit="bar")])
    page = office.get(f"/office/cases/{technician.case}/report").text
    words = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))
    assert words.index("What we found") < words.index("Technical part")
    assert "Outside limits" in words
    assert "common practice" in words
    assert re.search(r"<code>[0-9a-f]{64}</code>", page)


def test_a_case_without_readings_has_a_report_too(technician, office):
    technician.sync([technician.entry("case_opened", {})])
    answer = office.get(f"/office/cases/{technician.case}/report")
    assert answer.status_code == 200
    assert "0 readings" in answer.text
