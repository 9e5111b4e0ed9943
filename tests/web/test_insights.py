"""The page of insights: empty, one job, many, long names, and what is asked wrongly."""

import re
from html import unescape
from xml.etree import ElementTree

import pytest

from tests.actors import Desk
from tests.conftest import own_workshop
from tests.store.test_insights import make_job, many, measure
from webapp.office import insights_charts
from webapp.office.insights import explain, write_limits
from webapp.store import insights, limits, people
from webapp.store.insights_jobs import Jobs
from webapp.store.insights_learning import Weight
from webapp.store.insights_limits import propose_limits
from webapp.store.scope import new_id

SVG = re.compile(r'<svg class="chart".*?</svg>', re.DOTALL)


def show(monkeypatch, office, jobs, address="/office/insights", is_cut=False):
    monkeypatch.setattr(insights, "read_jobs", lambda workshop: Jobs(jobs, is_cut))
    return office.get(address)


def drawings(page: str) -> list[ElementTree.Element]:
    return [ElementTree.fromstring(text) for text in SVG.findall(page)]


def row_of(page: str, mark: str) -> str:
    """The words of the row that holds a data attribute."""
    found = re.search(rf"<(tr|li) [^>]*{mark}[^>]*>(.*?)</\1>", page, re.DOTALL)
    assert found, mark
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", re.sub(r"<svg.*?</svg>", "", found[2], flags=re.DOTALL))).split())


def test_an_empty_workshop_is_told_how_the_page_fills(office):
    page = office.get("/office/insights")
    assert page.status_code == 200
    assert "No job yet" in page.text
    assert not drawings(page.text)
    assert "<table" not in page.text


def test_a_job_that_a_phone_sent_is_on_the_page(technician, office):
    entries = [
        *technician.opening(),
        technician.entry("repair_recorded", {"text": "seal"}),
        technician.reading("crank_pressure", 310, phase="after_repair"),
        technician.entry("outcome_confirmed", {"fault": "external_leak", "text": "seen"}),
    ]
    technician.sync(entries)
    page = office.get("/office/insights").text
    assert "From 1 job, 1 of them with a confirmed outcome." in " ".join(page.split())
    assert "Nothing is proposed before 20 vehicles." in row_of(page, 'data-quantity="crank_pressure"')
    assert "1 of 1" in row_of(page, 'data-fault="external_leak"')
    assert "0 of 0" in row_of(page, 'data-fault="relief_valve_leaking"')
    assert "No reading was taken twice yet" in page


def test_versions_of_a_profile_are_one_and_go_by_its_name(database, monkeypatch, technician, office):
    with database.writing() as session:
        workshop = own_workshop(session)
        person = next(row for row in people.list_people(workshop) if row.role == "office")
        profile = limits.add_profile(workshop, "Vans 2.0", "family", "generic", person.id).profile
        change = {**limits.library_limits()["crank_pressure"], "low": 250, "basis": "judgement", "note": "seen"}
        limits.publish(workshop, profile, 1, {"crank_pressure": change}, "try", person.id, person.name)
    for version, bar in ((1, 300), (2, 290)):
        technician.case = new_id()
        sound = technician.entry("outcome_confirmed", {"fault": "no_pressure_fault", "text": "x"})
        opening = technician.opening(f"AB{version}")
        chosen = technician.entry("limits_set", {"profile": f"{profile}.{version}"})
        technician.sync([*opening, chosen, technician.reading("crank_pressure", bar), sound])
    page = office.get("/office/insights").text
    row = row_of(page, 'data-quantity="crank_pressure"')
    assert "Vans 2.0, 2 vehicles" in row
    assert "Read 290 to 300 bar." in row
    assert page.count('data-quantity="crank_pressure"') == 1
    assert "edit/crank_pressure" not in page  # nothing is proposed from two
    enough = [job._replace(profile=name) for name in (profile, "generic") for job in many(20)]
    page = show(monkeypatch, office, enough).text
    assert f'href="/office/limits/{profile}/edit/crank_pressure?learnt=yes"' in page
    assert 'href="/office/limits">Begin' in page
    assert "Enter it" not in show(monkeypatch, Desk(office.client.application, "technician@own"), enough).text


def test_one_open_job_asks_for_an_outcome(monkeypatch, office):
    page = show(monkeypatch, office, [make_job(None, state="open", confirmed_at=None)]).text
    assert "No outcome is confirmed yet" in page
    assert "No vehicle is confirmed to be sound yet" in page
    assert [drawing.find("title").text for drawing in drawings(page)] == ["Jobs and cleared pumps by month"]


def everything() -> list:
    """Thirty sound vehicles, some repeats, leading suspects right and wrong."""
    jobs = [job._replace(leading=("no_pressure_fault", 0.6 + 0.013 * place)) for place, job in enumerate(many(30))]
    jobs.append(make_job("pump_worn", measure(200), measure(204), measure(210, by="bob"), leading=("pump_worn", 1.0)))
    jobs.append(make_job("sensor_offset", concluded="pump_worn", leading=("pump_worn", 0.4), minutes=30.0, pump="cleared"))
    return jobs


def test_a_full_page_shows_tables_and_drawings_with_words(monkeypatch, office):
    page = show(monkeypatch, office, everything(), is_cut=True).text
    assert "Older jobs are not counted" in page
    row = row_of(page, 'data-quantity="crank_pressure"')
    assert "30 vehicles Now: at least 285 bar Proposed: at least 289 bar" in row
    assert re.search(r"Could be normal \(Shapiro-Wilk test, p = 0\.\d{3}\)\. Limits by mean and standard deviation", row)
    assert "Standard deviation of one reading" in page
    assert "2.8 bar 1 again 5.8 bar 2 pairs none 5 bar" in row_of(page, 'data-spread="crank_pressure"')
    assert "0 of 1 right" in page
    drawn = drawings(page)
    assert len(drawn) == 4
    ids = [element.get("id") for drawing in drawn for element in drawing.iter() if element.get("id")]
    assert len(ids) == len(set(ids)) == 8
    for drawing in drawn:
        assert drawing.get("aria-labelledby") == drawing.find("title").get("id")
        assert drawing.get("aria-describedby") == drawing.find("desc").get("id")


def test_the_strength_of_the_weights_is_asked_for(monkeypatch, office):
    weak = row_of(show(monkeypatch, office, everything(), "/office/insights?strength=1").text, 'data-fault="pump_worn"')
    strong = row_of(show(monkeypatch, office, everything(), "/office/insights?strength=1000").text, 'data-fault="pump_worn"')
    shares = [float(re.search(r"([\d.]+) %$", row)[1]) for row in (weak, strong)]
    assert shares[0] < 5 < shares[1]  # 1 of 32 seen; 11 % as it comes


@pytest.mark.parametrize("strength", ["0", "1001", "many", "", "1.5", "9" * 400])
def test_a_strength_that_is_none_is_refused_beside_its_field(monkeypatch, office, strength):
    page = show(monkeypatch, office, everything(), f"/office/insights?strength={strength}")
    assert page.status_code == 422
    assert 'id="strength-error"' in page.text
    assert "hole number" in page.text
    assert "30 vehicles" in page.text


def test_names_are_words_never_markup(monkeypatch, office):
    name = '<b>"Fleet & Sons"</b>' * 12
    page = show(monkeypatch, office, [job._replace(profile=name) for job in many(20)]).text
    assert "<b>" not in page
    assert "&lt;b&gt;" in page
    long = insights_charts.draw_weights([Weight("f", 0.1, 1, 1, 0.2)], {"f": "<i>" + 40 * "long "})
    assert "<i>" not in long
    assert ElementTree.fromstring(long).find("text").text.endswith("…")


def test_a_reading_that_never_varies_is_drawn_and_explained():
    (row,) = propose_limits([make_job("no_pressure_fault", measure(300)) for _ in range(58)])
    assert explain(row) == (
        "Nothing is proposed before 59 vehicles. All read alike, or too few to tell how they are spread."
    )
    (row,) = propose_limits([make_job("no_pressure_fault", measure(300)) for _ in range(59)])
    assert explain(row).endswith("Limits by the order of the readings.")
    assert ElementTree.fromstring(insights_charts.draw_strip(row, "s")).find("title") is not None


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [(2.5, 6, "2.50 to 6.00 bar"), (0, None, "at least 0.00 bar"), (None, 0, "at most 0.00 bar"), (None, None, "")],
)
def test_limits_in_words(low, high, words):
    assert write_limits("supply_pressure", low, high) == words


def take(office, **other):
    return office.post(
        "/office/insights/weights", **{"strength": "50", "repairs": "20", "newest": "0", "note": "why", **other}
    )


def test_weights_are_taken_over_by_a_person_and_shown_in_use(monkeypatch, office):
    monkeypatch.setattr("webapp.office.insights.read_jobs", lambda _workshop: Jobs(many(20), False))
    page = show(monkeypatch, office, many(20)).text
    assert "the weights that come with the program" in page
    assert re.search(r'name="repairs" [^>]*value="20"', page)
    answer = take(office)
    assert answer.status_code == 303, answer.text
    page = office.get("/office/insights").text
    assert "version 1, from 20 confirmed repairs" in page
    assert '<th scope="col">In use</th>' in page
    assert "by now; look at the weights again" in take(office).text
    again = take(office, newest="1")
    assert (again.status_code, "in use already" in again.text) == (422, True)


@pytest.mark.parametrize(("field", "value"), [("note", ""), ("strength", "0"), ("strength", "x"), ("repairs", "")])
def test_weights_are_not_taken_over_by_half(monkeypatch, office, field, value):
    monkeypatch.setattr("webapp.office.insights.read_jobs", lambda _workshop: Jobs(many(20), False))
    show(monkeypatch, office, many(20))
    assert take(office, **{field: value}).status_code == 422
    assert "version 1" not in office.get("/office/insights").text


def test_a_proposed_limit_is_handed_over_filled_in(database, monkeypatch, office):
    with database.writing() as session:
        workshop = own_workshop(session)
        person = next(row for row in people.list_people(workshop) if row.role == "office")
        limits.add_profile(workshop, "Vans", "family", "generic", person.id)
    jobs = [job._replace(profile="vans") for job in many(20)]
    monkeypatch.setattr("webapp.store.insights.read_jobs", lambda _workshop: Jobs(jobs, False))
    (proposal,) = [row for row in insights.draw_insights(jobs).proposals if row.quantity == "crank_pressure"]
    page = office.get("/office/limits/vans/edit/crank_pressure?learnt=yes").text
    assert f'name="low" type="text" value="{proposal.low:g}"' in page
    assert "Learnt from 20 confirmed sound vehicles." in page
    assert "readings on 20 confirmed sound vehicles" in page
    assert office.get("/office/limits/vans/edit/idle_pressure_error?learnt=yes").status_code == 404
    assert f'value="{proposal.low:g}"' not in office.get("/office/limits/vans/edit/crank_pressure").text
