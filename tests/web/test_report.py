"""The report: plain words first, no more than the evidence carries, then the technical part."""

import re

import pytest

from webapp.report.plain import explain, explain_advice
from webapp.store import demo
from webapp.store.cases import list_cases
from webapp.store.models import Case
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


REASON = "metal in the tank, seen with the owner"


def name_the_pump(technician, *, answers: bool) -> list[dict]:
    override = [technician.entry("gate_overridden", {"reason": REASON})] if answers else []
    said = technician.entry("concluded", {"fault": "pump_worn", "text": "The pump.", "pump": "open", "verdicts": []})
    return [*technician.opening(), technician.reading("crank_pressure", 150), *override, said]


@pytest.mark.parametrize("page", ["", "/report"])
def test_a_pump_named_all_the_same_says_who_answers(technician, office, page):
    technician.sync(name_the_pump(technician, answers=True))
    text = words(office.get(f"/office/cases/{technician.case}{page}"))
    assert REASON in text
    assert "technician of own" in text
    assert "24 Nov 2026, 09:00 UTC" in text
    assert "although evidence is missing" not in text
    assert "answered differently" not in text
    assert "guess" in text


@pytest.mark.parametrize("page", ["", "/report"])
def test_a_pump_named_without_evidence_is_a_warning(technician, office, page):
    technician.sync(name_the_pump(technician, answers=False))
    text = words(office.get(f"/office/cases/{technician.case}{page}"))
    assert "Warning. The pump was named although evidence is missing: cranking speed" in text


RETESTS = [("320", "The retest has passed, within limits"), ("150", "The retest has failed, outside limits")]


@pytest.mark.parametrize(("pressure", "standing"), RETESTS)
def test_before_and_after_stand_side_by_side(technician, office, pressure, standing):
    after = {"phase": "after_repair"}
    technician.sync([
        *technician.opening(), technician.reading("crank_pressure", 165, unit="bar"),
        technician.entry("repair_recorded", {"text": "injector 4 replaced"}),
        technician.reading("crank_pressure", int(pressure), unit="bar", **after),
        technician.reading("crank_rise_time", 0.8, **after),
    ])  # fmt: skip
    case = words(office.get(f"/office/cases/{technician.case}"))
    assert standing in case
    for text in (case, words(office.get(f"/office/cases/{technician.case}/report"))):
        word = "Within limits" if pressure == "320" else "Outside limits"
        assert f"Rail pressure while cranking 165 bar Outside limits {pressure} bar {word}" in text
        assert "Not measured 0.8 s Within limits" in text


def test_a_second_repair_does_not_inherit_the_retest(technician, office):
    technician.sync([
        *technician.opening(), technician.entry("repair_recorded", {"text": "one"}),
        technician.reading("crank_pressure", 150, phase="after_repair"),
        technician.entry("repair_recorded", {"text": "two"}),
    ])  # fmt: skip
    assert "The tests have not been repeated after the repair yet." in words(
        office.get(f"/office/cases/{technician.case}/report")
    )
    page = words(office.get(f"/office/cases/{technician.case}"))
    assert "The retest is due, still to be read after the repair: rail pressure while cranking, time for" in page
    assert "Before and after" not in page


def test_an_opened_case_warns_of_readings_from_before_the_repair(technician, office):
    technician.sync([
        *technician.opening(), technician.entry("repair_recorded", {"text": "one"}),
        technician.entry("reopened", {"reason": "came back"}),
    ])  # fmt: skip
    assert "the readings from before it still count" in words(office.get(f"/office/cases/{technician.case}"))


def words(page) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.text))


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


def rise(**change) -> dict:
    points = [[0.1 * i, 18 + 283 * (1 - 0.8**i)] for i in range(30)]
    body = {"source": "trace", "name": "yard <b>.csv", "points": points, "start_s": 0.4, "start_from": "hand",
            "found_start_s": 0.31, "times": [[200, 0.61], [285, None]],
            "warnings": ["Ripple is large."], "readings": []}  # fmt: skip
    return {**body, **change}


def test_a_recorded_rise_is_drawn_and_told(technician, office):
    technician.sync([*technician.opening(), technician.entry("rise_recorded", rise())])
    page = office.get(f"/office/cases/{technician.case}/report")
    curve = re.search(r'<polyline class="curve" points="([^"]+)"', page.text)[1].split()
    assert len(curve) == 30
    assert float(curve[0].split(",")[1]) > float(curve[-1].split(",")[1]), "up is more pressure"
    assert page.text.count('class="target"') == 2
    text = words(page)
    assert (
        "200 bar after 0.61 s, 285 bar not reached. Start of cranking set by hand, 0.09 s from where it was found." in text
    )
    assert "Ripple is large." in text
    assert "<b>" not in page.text
    assert "struck out" not in text


def test_a_curve_whose_reading_was_struck_out_says_so(technician, office):
    reading = technician.reading("crank_rise_time", 0.61)
    technician.sync([
        *technician.opening(), reading, technician.entry("rise_recorded", rise(readings=[reading["id"]])),
        technician.entry("reading_voided", {"reading": reading["id"], "reason": "wrong vehicle"}),
    ])  # fmt: skip
    assert "A reading taken from this curve was struck out." in words(office.get(f"/office/cases/{technician.case}/report"))


@pytest.mark.parametrize(
    "points", [[], [[0, 1]], [[0, None], [1, None]], [[0, 1e300], [1, -1e300]], [[1e300, 1], [-1e300, 2]]]
)
def test_a_curve_that_cannot_be_drawn_leaves_the_words(technician, office, points):
    technician.sync([*technician.opening(), technician.entry("rise_recorded", rise(points=points))])
    answer = office.get(f"/office/cases/{technician.case}/report")
    assert answer.status_code == 200
    assert "polyline" not in answer.text
    assert "200 bar after 0.61 s" in words(answer)


def test_a_finding_is_proven_by_its_readings_and_by_what_was_ruled_out(told):
    parts = told["DEMO 102"]
    assert len(parts["How it was proven"]) == 1
    assert "cylinder 4 is 5.5 times the others" in parts["How it was proven"][0]
    assert parts["What was ruled out"][0].startswith(
        "Tested and not the cause: battery, cables and starter; fuel in the tank"
    )
    assert "injectors" not in parts["What was ruled out"][0]
    assert parts["What we advise"][0].startswith("Replace or overhaul the injectors named")


def test_without_a_conclusion_nothing_is_proven_and_the_next_check_is_advised(told):
    parts = told["DEMO 105"]
    assert "How it was proven" not in parts
    assert parts["What we advise"][0].startswith("Next: battery and cranking, about 6 minutes.")


def test_a_doubtful_conclusion_is_followed_by_no_part(told):
    assert "How it was proven" not in told["DEMO 170"]
    assert "What we advise" not in told["DEMO 170"]


def test_a_pressure_in_order_is_proven_by_readings_within_limits(told):
    assert told["DEMO 104"]["How it was proven"] == ["Every reading that was judged lies within its limits."]


def test_after_a_passed_retest_nothing_more_is_advised(told):
    assert told["DEMO 101"]["What we advise"] == ["Nothing more is asked for by this record."]


def test_after_a_repair_the_retest_is_advised_and_not_the_part(told):
    assert told["DEMO 106"]["What we advise"] == [
        "Next: after-repair retest, about 15 minutes. Repeat the tests after the repair."
    ]


@pytest.mark.parametrize("standing", ["differences", "repairs"])
def test_a_part_is_advised_once_and_only_where_the_answers_agree(standing):
    found = {"assessment": {"conclusion": {"action": "Replace it."}}, "differences": [], "repairs": [],
             "retest": {"status": "not_due"}, "row": Case(state="concluded")}  # fmt: skip
    assert explain_advice(found) == ["Replace it."]
    assert explain_advice({**found, standing: [{}]}) == []


def test_a_changed_limit_rests_on_its_reason_and_the_others_on_the_catalogue(technician, office):
    override = {"profile": "generic", "overrides": {"crank_pressure": {"low": 250, "reason": "data sheet of the engine"}}}
    technician.sync([
        *technician.opening(), technician.entry("limits_set", override),
        technician.reading("crank_pressure", 260, unit="bar"), technician.reading("fuel_present", "yes"),
        technician.reading("fuel_present", "yes", instrument="eye", phase="after_repair"),
    ])  # fmt: skip
    text = words(office.get(f"/office/cases/{technician.case}/report"))
    part = text.split("Where each limit comes from")[1].split("Seal")[0]
    assert re.search(r"at least 250 bar: data sheet of the engine Fuel present", part)
    assert "should be yes: common practice . Without fuel at the filter" in part
    assert part.count("Fuel present") == 1
    assert "Seen by eye (1 reading)." in part
