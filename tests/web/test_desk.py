"""The office works with the phones from its pages: jobs, questions, countersigning, duplicates, filters that stay in the
address, saved views. What they do to a case is tried in tests/store/test_desk.py."""

import re

import pytest

from tests.conftest import own_workshop
from tests.web.test_office import words
from tests.web.test_report_pdf import ask
from tests.web.test_report_pdf import words as words_of_pdf
from webapp.store import cases, people

ARABIC = "شاحنة زرقاء"


@pytest.fixture
def staff(database) -> dict[str, str]:
    with database.reading() as session:
        return {person.role: person.id for person in people.list_people(own_workshop(session))}


@pytest.fixture
def finished(technician) -> str:
    technician.sync([*technician.opening(), technician.entry("concluded", {"fault": None, "text": "near enough"})])
    return technician.case


def where(answer) -> str:
    assert answer.status_code == 303, words(answer)
    return answer.headers["Location"]


def test_a_job_is_opened_and_says_that_no_phone_has_it_yet(office, technician, staff):
    form = {"person": staff["technician"], "registration": "AB12 CDE", "complaints": "no_start", "note": "behind the barn"}
    page = words(office.get(where(office.post("/office/jobs", **form))))
    assert "Given to technician of own by office of own" in page
    assert "Not seen on a phone yet. behind the barn" in page
    assert len(technician.sync([])["entries"]) == 4
    assert "Job of technician of own" in words(office.get("/office/"))


@pytest.mark.parametrize(
    ("form", "told"),
    [({}, "Choose who does it."), ({"person": "x"}, "Not a valid choice"), ({"complaints": "loud"}, "not a valid choice")],
)
def test_a_job_without_sense_is_refused_and_keeps_what_was_written(office, form, told):
    answer = office.post("/office/jobs", note="behind the barn", **form)
    assert answer.status_code == 422
    assert told in words(answer)
    assert "behind the barn" in answer.text
    assert "Write something by which the vehicle is known" in words(answer)


def test_who_has_no_phone_is_said_where_a_job_is_given(office, technician):
    page = words(office.get("/office/jobs/new"))
    assert "technician of own office of own (no phone paired)" in re.sub(r"apprentice of own \(no phone paired\) ", "", page)


def test_a_question_goes_to_the_phone_and_its_answer_comes_back(office, technician, staff):
    technician.sync(technician.opening())
    case = f"/office/cases/{technician.case}"
    where(office.post(f"{case}/comments", text="Which plug?", to=staff["technician"], question="y"))
    question = technician.sync([])["entries"][0]
    assert question["body"] == {"text": "Which plug?", "to": staff["technician"], "question": True}
    assert "1 open question" in words(office.get("/office/"))
    technician.sync([technician.entry("comment_added", {"text": "the grey one", "answers": question["id"]}, clock=9)])
    page = words(office.get(case))
    assert "Which plug? office of own to technician of own" in page
    assert "Answer: the grey one technician of own" in page
    assert "open question" not in words(office.get("/office/"))


def test_an_empty_answer_keeps_its_question_open(office, technician):
    technician.sync(technician.opening())
    case = f"/office/cases/{technician.case}"
    office.post(f"{case}/comments", text="Which plug?", question="y")
    found = re.search(r'data-question="([^"]+)"', office.get(case).text)
    answer = office.post(f"{case}/answers", question=found[1], text=" ")
    assert (answer.status_code, "Write the answer." in words(answer)) == (422, True)
    assert where(office.post(f"{case}/answers", question=found[1], text="both")) == case
    assert "Answer: both office of own" in words(office.get(case))


def countersign(office, case: str, **form):
    seen = re.search(r'name="seen" value="(\d+)"', office.get(f"/office/cases/{case}").text)
    return office.post(f"/office/cases/{case}/review", seen=seen[1], **form)


def test_a_countersigned_case_says_so_on_page_list_and_report(office, finished):
    assert "needs review" in words(office.get("/office/"))
    assert "It was finished, and nobody has countersigned it." in words(office.get(f"/office/cases/{finished}"))
    where(countersign(office, finished, text="Seen and agreed."))
    assert "needs review" not in words(office.get("/office/"))
    for page in (words(office.get(f"/office/cases/{finished}")), words(office.get(f"/office/cases/{finished}/report"))):
        assert re.search(r"Countersigned By office of own , .*? UTC\. Seen and agreed\.", page), page
    assert re.search("By office of own, .*Seen and agreed[.]", words_of_pdf(ask(office, finished)))


def test_a_case_that_grew_is_not_countersigned(office, technician, finished):
    page = office.get(f"/office/cases/{finished}").text
    technician.sync([technician.reading("crank_pressure", 180, unit="bar")])
    seen = re.search(r'name="seen" value="(\d+)"', page)[1]
    answer = office.post(f"/office/cases/{finished}/review", seen=seen)
    assert (answer.status_code, "changed since you looked" in words(answer)) == (409, True)


def test_why_a_case_was_opened_again_stays_to_be_read(office, finished):
    case = f"/office/cases/{finished}"
    assert office.post(f"{case}/reopen", reason="").status_code == 422
    where(office.post(f"{case}/reopen", reason="The customer rang: it still stalls."))
    assert re.search("Opened again by office of own .*: The customer rang: it still stalls.", words(office.get(case)))


def test_cases_are_joined_from_the_page_and_separated_again(office, technician, apprentice):
    for phone in (technician, apprentice):
        phone.sync(phone.opening())
    duplicate, target = apprentice.case, technician.case
    offered = office.get(f"/office/cases/{duplicate}/merge").text
    assert f'value="{target}"' in offered
    assert f'value="{duplicate}"' not in offered
    assert where(office.post(f"/office/cases/{duplicate}/merge", target=target, readings="yes")).endswith(target)
    assert f"/office/cases/{duplicate}" in office.get(f"/office/cases/{target}").text
    assert "This is a duplicate" in words(office.get(f"/office/cases/{duplicate}"))
    assert duplicate not in office.get("/office/").text
    assert duplicate in office.get("/office/?merged=1").text
    where(office.post(f"/office/cases/{duplicate}/separate"))
    assert duplicate in office.get("/office/").text
    assert office.post(f"/office/cases/{duplicate}/merge").status_code == 422


FILTERS = ["state=needs_review", "complaint=no_start", "pump=open", "fault=pump_worn", "since=2020-01-01", "questions=1"]


@pytest.mark.parametrize("query", ["&".join(FILTERS), *FILTERS])
def test_filters_stay_in_the_address(office, technician, query, monkeypatch):
    monkeypatch.setattr(cases.list_cases, "__kwdefaults__", {**cases.list_cases.__kwdefaults__, "limit": 1})
    for number in range(2):
        technician.case = f"01900000-0000-7000-8000-00000000000{number}"
        technician.sync([
            *technician.opening(), technician.entry("complaint_set", {"complaints": ["no_start"]}),
            technician.entry("comment_added", {"text": "?", "question": True}),
            technician.entry("concluded", {"fault": "pump_worn", "text": "x"}),
        ])  # fmt: skip
    page = office.get(f"/office/?{query}&q=ab12").text
    older = re.search(r'href="([^"]+)">Older cases', page)[1].replace("&amp;", "&")
    assert all(part in older for part in query.split("&"))
    assert 'name="state"' in page
    assert office.get(older).text.count('href="/office/cases/') == 1


@pytest.mark.parametrize("query", ["pump=x", "fault=x", "complaint=x", "state=x"])
def test_filters_that_are_none_are_not_found(office, query):
    assert office.get(f"/office/?{query}").status_code == 404


def test_a_day_that_is_none_is_named(office):
    answer = office.get("/office/?since=yesterday")
    assert (answer.status_code, "is not a day; write it like" in words(answer)) == (422, True)


def test_a_view_is_saved_used_and_deleted_by_its_person(office, technician):
    page = office.get(where(office.post("/office/views", view=f"Offen {ARABIC}", state="open", photos="1", colour="blue")))
    address = re.search(r'<nav class="views".*?href="([^"]+)"', page.text, re.DOTALL)[1].replace("&amp;", "&")
    assert address == "/office/?state=open&photos=1"
    assert ARABIC in page.text
    assert 'aria-current="true"' in office.get(address).text
    view = re.search(r"/office/views/([^/]+)/delete", page.text)[1]
    where(office.post(f"/office/views/{view}/delete"))
    assert ARABIC not in office.get("/office/").text


def test_names_in_any_script_are_kept_apart_from_the_words_around_them(office, technician, staff):
    technician.sync(technician.opening(ARABIC, description="x" * 180))
    office.post(f"/office/cases/{technician.case}/comments", text=ARABIC, question="y")
    assert f'<strong dir="auto">{ARABIC}</strong>' in office.get("/office/").text
    assert f'<span dir="auto">{ARABIC}</span>' in office.get(f"/office/cases/{technician.case}").text
    assert technician.case in office.client.get("/office/", query_string={"q": "زرقاء"}).text
