"""Office pages: the list, one case with its verdicts, and what may be written at a desk."""

import re

import pytest

from tests.conftest import everything, own_workshop
from webapp.store import cases, log, sheet
from webapp.store.models import Entry


@pytest.fixture
def case(technician) -> str:
    """A case with readings inside and outside their limits."""
    technician.sync([
        *technician.opening(description="blue van", vin="VF1 INVENTED 00123456"),
        technician.entry("complaint_set", {"complaints": ["no_start"]}),
        technician.reading("crank_pressure", 180, unit="bar", instrument="rail_sensor"),
        technician.reading("fuel_present", "yes"),
        technician.reading("supply_pressure", 58, unit="psi"),
        technician.entry("not_measured", {"quantity": "spring_pressure", "reason": "plug out of reach"}),
        technician.entry("note_added", {"text": "smells of petrol <b>"}),
        technician.entry("caution_acknowledged", {"caution": "jets"}),
        technician.entry("step_ticked", {"check": "intake", "step": first_step("intake"), "ticked": True}),
    ])  # fmt: skip
    return technician.case


def first_step(check: str) -> str:
    return next(key for key in sheet.names()["steps"] if key.startswith(f"{check}/")).split("/")[1]


def words(page) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.text))


def test_the_list_shows_the_case(office, case):
    page = words(office.get("/office/"))
    assert "AB12 CDE blue van" in page
    assert "No conclusion yet" in page
    assert "Pump not judged: evidence is missing" in page


def test_the_list_is_empty_at_first(office):
    assert "No case yet" in words(office.get("/office/"))


@pytest.mark.parametrize(
    "text", ["ab12", "AB12CDE", "cde", "blue", "van bl", "VF1INVENTED00123456", "123456", "petrol", "BLÜE"]
)
def test_it_is_found(office, case, text):
    assert f"/office/cases/{case}" in office.get(f"/office/?q={text}").text


@pytest.mark.parametrize("text", ["green", "blue green", "b12", "%", "'", "_", "ab12 zz"])
def test_it_is_not_found_by_other_words(office, case, text):
    answer = office.client.get("/office/", query_string={"q": text})
    assert f"/office/cases/{case}" not in answer.text
    assert "No case matches" in answer.text


def test_states_narrow_the_list(office, case):
    assert case in office.get("/office/?state=open").text
    assert case not in office.get("/office/?state=confirmed").text
    assert case in office.get("/office/?state=open&q=blue").text
    assert case not in office.get("/office/?state=repaired&q=blue").text
    assert office.get("/office/?state=nonsense").status_code == 404


@pytest.mark.parametrize("after", ["x", "~", "2026~x", "~" * 100, "é~é"])
def test_a_spoilt_page_mark_does_no_harm(office, case, after):
    for query in ({"after": after}, {"after": after, "q": "blue"}):
        assert office.client.get("/office/", query_string=query).status_code == 200


def test_the_case_page_shows_verdicts_as_words(office, case):
    page = words(office.get(f"/office/cases/{case}"))
    assert "Rail pressure while cranking 180 bar ±" in page
    assert "at least 285 bar" in page
    assert "Outside limits" in page
    assert "Within limits" in page
    assert "58 psi" in page
    assert "Fuel present Yes" in page


def test_the_case_page_shows_what_is_open_and_why_the_pump_is_not_blamed(office, case):
    page = words(office.get(f"/office/cases/{case}"))
    assert "Nothing is concluded yet. Next:" in page
    assert "Still missing before the pump may be blamed:" in page
    assert "High-pressure pump Locked" in page
    assert "Fuel in the tank" in page


def test_the_case_page_shows_the_rest_of_the_record(office, case):
    page = words(office.get(f"/office/cases/{case}"))
    assert "plug out of reach" in page
    assert "smells of petrol" in page
    assert "<b>" not in office.get(f"/office/cases/{case}").text
    assert "Caution acknowledged:" in page
    assert "1 step ticked" in page
    assert "technician of own" in page
    assert "10 entries; each seal covers all entries before it" in page


def test_close_is_a_word(office, technician):
    technician.sync([*technician.opening(), technician.reading("crank_pressure", 287, unit="bar")])
    assert "Within limits, close" in words(office.get(f"/office/cases/{technician.case}"))


def conclude(technician, **other):
    body = {"fault": None, "text": "near enough", "verdicts": [], "limits": {"profile": "generic", "version": 1}} | other
    return technician.entry("concluded", body)


def test_the_office_sees_where_the_phone_answered_differently(office, technician):
    reading = technician.reading("crank_pressure", 180, unit="bar")
    verdicts = [{"reading": reading["id"], "verdict": "pass"}]
    said = conclude(technician, fault="no_pressure_fault", pump="cleared", engine="0.0.1", verdicts=verdicts)
    technician.sync([*technician.opening(), reading, said])
    page = words(office.get(f"/office/cases/{technician.case}"))
    assert "The phone answered differently" in page
    assert "Phone: Within limits Server: Outside limits" in page
    assert "Phone: Pump cleared Server: Pump not judged" in page
    assert "Phone: Rail pressure is in order Server: nothing concluded yet" in page
    assert "Phone: 0.0.1" in page
    assert "phone and server differ" in words(office.get("/office/"))


def test_agreement_is_not_reported_as_a_difference(office, technician):
    reading = technician.reading("crank_pressure", 180, unit="bar")
    said = conclude(technician, verdicts=[{"reading": reading["id"], "verdict": "fail"}], pump="open")
    technician.sync([*technician.opening(), reading, said])
    assert "answered differently" not in office.get(f"/office/cases/{technician.case}").text


@pytest.mark.parametrize("limits", [5, "x", [], {"profile": 3}])
@pytest.mark.parametrize("verdicts", [5, "x", [1], [{"reading": 1}], {"reading": 2}])
def test_an_odd_conclusion_does_not_break_the_page(office, technician, limits, verdicts):
    technician.sync([*technician.opening(), conclude(technician, fault="pump_worn", limits=limits, verdicts=verdicts)])
    assert office.get(f"/office/cases/{technician.case}").status_code == 200
    assert office.get(f"/office/cases/{technician.case}/report").status_code == 200


def test_a_conflict_is_shown_with_both_values(office, technician, apprentice):
    technician.sync(technician.opening())
    apprentice.case = technician.case
    apprentice.sync([apprentice.entry("vehicle_set", {"registration": "ZZ99"}, clock=9)])
    page = words(office.get(f"/office/cases/{technician.case}"))
    assert "AB12 CDE; then ZZ99" in page


def test_a_note_from_the_office_reaches_the_phone(office, technician, case):
    cursor = technician.sync([])["cursor"]
    assert office.post(f"/office/cases/{case}/notes", text="customer called").status_code == 303
    sent = technician.sync([], cursor)["entries"]
    assert [(entry["kind"], entry["body"], entry["device"]) for entry in sent] == [
        ("note_added", {"text": "customer called"}, "office")
    ]
    assert sent[0]["clock"] > 10
    assert "customer called office of own" in words(office.get(f"/office/cases/{case}"))


def test_notes_from_the_office_are_numbered(office, database, case):
    for text in ("one", "two"):
        office.post(f"/office/cases/{case}/notes", text=text)
    with database.reading() as session:
        workshop = own_workshop(session)
        assert log.next_seq(workshop, "office") == 3
        assert log.verify_case(workshop, case) is None


def test_an_outcome_can_be_confirmed_and_taken_back(office, case):
    assert office.post(f"/office/cases/{case}/outcome", fault="regulator_leaking", text="ran for a week").status_code == 303
    assert "Confirmed" in words(office.get("/office/"))
    assert "ran for a week" in office.get(f"/office/cases/{case}").text
    assert office.post(f"/office/cases/{case}/reopen", reason="came back").status_code == 303
    assert case in office.get("/office/?state=open").text


BAD_FORMS = [
    ("empty note", "notes", {"text": ""}, "Write the note."),
    ("outcome without a reason", "outcome", {"fault": "pump_worn", "text": ""}, "Write how this is known."),
    ("outcome of an unknown fault", "outcome", {"fault": "gremlins", "text": "x"}, "Not a valid choice"),
    ("reopened without a reason", "reopen", {"reason": ""}, "Write why."),
]


@pytest.mark.parametrize(("name", "part", "form", "told"), BAD_FORMS, ids=[row[0] for row in BAD_FORMS])
def test_a_bad_form_names_the_field_and_writes_nothing(office, database, case, name, part, form, told):
    if part == "reopen":
        office.post(f"/office/cases/{case}/outcome", fault="pump_worn", text="x")
    with everything(database) as session:
        before = session.query(Entry).count()
    answer = office.post(f"/office/cases/{case}/{part}", **form)
    assert answer.status_code == 422
    assert told in answer.text
    assert 'aria-invalid="true"' in answer.text
    with everything(database) as session:
        assert session.query(Entry).count() == before


def test_an_altered_log_is_told_on_the_page(office, database, case):
    with everything(database) as session:
        row = session.query(Entry).filter(Entry.position == 4).one()
        row.content = row.content.replace("180", "300")
    page = words(office.get(f"/office/cases/{case}"))
    assert "does not hold together from entry 4 on" in page
    assert "altered from entry 4 on" in words(office.get(f"/office/cases/{case}/report"))


def test_every_page_has_a_caution_and_the_injury_card(office, nobody, case):
    for desk, address in [
        (office, "/office/"), (office, f"/office/cases/{case}"), (office, f"/office/cases/{case}/report"),
        (office, "/office/people"), (office, "/office/devices"), (office, "/account/password"),
        (nobody, "/account/sign-in"), (nobody, "/injury"), (nobody, "/office/nothing"), (nobody, "/nothing"),
    ]:  # fmt: skip
        page = desk.get(address).text
        assert 'class="caution"' in page, address
        assert 'href="/injury"' in page, address


def test_the_injury_card_needs_no_sign_in(nobody):
    page = words(nobody.get("/injury"))
    assert "Stop the engine." in page
    assert "Never squeeze" in page


def test_the_list_pages_through_all_cases_once(office, technician, database, monkeypatch):
    monkeypatch.setattr(cases.list_cases, "__kwdefaults__", {**cases.list_cases.__kwdefaults__, "limit": 3})
    seen = []
    for number in range(8):
        technician.case = sheet_id(number)
        technician.sync(technician.opening(f"AA {number}"))
    for query in ("/office/", "/office/?q=aa"):
        seen, address = [], query
        while address and len(seen) < 20:
            page = office.get(address).text
            seen += re.findall(r'href="/office/cases/([^"]+)"', page)
            found = re.search(r'href="([^"]+)">Older cases', page)
            address = found[1].replace("&amp;", "&") if found else None
        assert seen == [sheet_id(number) for number in reversed(range(8))]


def sheet_id(number: int) -> str:
    return f"01900000-0000-7000-8000-00000000000{number}"


ADDRESSES_WITH_NUL = ["/office/?q=%00", "/office/?after=%00~%00", "/office/cases/%00", "/office/people/a%00b"]


@pytest.mark.parametrize("address", ADDRESSES_WITH_NUL)
def test_a_nul_is_refused_before_any_database_sees_it(office, address):
    assert office.get(address).status_code == 422


def test_a_nul_in_a_form_is_refused_by_name(office, nobody):
    assert "login: it holds a NUL" in nobody.sign_in("office\0@own").text
    assert "name: it holds a NUL" in office.post("/office/people", name="a\0b", role="office").text
