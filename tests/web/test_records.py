"""What leaves the office: one case as a zip, the list as files; what is held on a customer, and erasing it."""

import csv
import io
import json
import zipfile

import pytest
from pypdf import PdfReader

from tests.conftest import everything
from tests.store.test_erasure import SECRETS, dump, fill
from webapp.store import archive
from webapp.store.case_files import guard_cell
from webapp.store.models import Case, WorkshopRow


def test_a_case_as_a_zip_proves_itself_and_holds_the_report(technician, office):
    case, photo = fill(technician)
    answer = office.get(f"/office/cases/{case}/archive.zip")
    assert answer.content_type == "application/zip"
    assert ".zip" in answer.headers["Content-Disposition"]
    found = archive.read_archive(answer.data)
    assert (found.case_id, list(found.photos.values())) == (case, [photo])
    with zipfile.ZipFile(io.BytesIO(answer.data)) as packed:
        assert "AB12 CDE" in PdfReader(io.BytesIO(packed.read("report.pdf"))).pages[0].extract_text()


def add_cases(phone, rows: list[str]) -> None:
    for number, registration in enumerate(rows):
        phone.case = f"0190000{number}" + phone.case[8:]
        phone.sync(phone.opening(registration))


def read_csv(answer) -> list[dict]:
    return list(csv.DictReader(io.StringIO(answer.data.decode("utf-8-sig"))))


HARMFUL = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", " =1", "＝1"]


def test_the_list_as_csv_runs_nothing_in_a_spreadsheet(technician, office):
    add_cases(technician, [*HARMFUL, "AB12 CDE", 'a "b", c'])
    rows = read_csv(office.get("/office/export?as=csv"))
    found = {row["registration"] for row in rows}
    assert {"AB12 CDE", 'a "b", c'} < found
    assert not [text for text in found if text.strip().startswith(tuple("=+-@＝"))]
    assert len(rows) == len(HARMFUL) + 2


@pytest.mark.parametrize("cell", [*HARMFUL, "\r=1", "\n=1", "＋1", "－1", "＠x"])
def test_no_cell_is_run(cell):
    """Blanks in front too: whoever opens the file may have them taken off."""
    assert guard_cell(cell) == f"'{cell}"


@pytest.mark.parametrize("cell", ["", "AB-12", "a=b", None, 7, -7, True])
def test_other_cells_stay_as_they_are(cell):
    assert guard_cell(cell) is cell


def test_the_list_as_files_is_filtered_as_the_list_is(technician, office):
    case, _ = fill(technician)
    add_cases(technician, ["ZZ99 ZZZ"])
    assert [row["id"] for row in read_csv(office.get("/office/export?as=csv&state=concluded"))] == [case]
    assert [row["id"] for row in read_csv(office.get("/office/export?as=csv&q=quill"))] == [case]
    lines = [json.loads(line) for line in office.get("/office/export?as=jsonl&q=quill").text.splitlines()]
    assert [(row["row"]["id"], row["case"]["readings"][0]["value"]) for row in lines] == [(case, 292)]
    assert lines[0]["assessment"]["verdicts"]
    assert office.get("/office/export?as=xls").status_code == 404
    assert office.get("/office/export?state=none").status_code == 404


def test_all_pages_of_the_list_are_in_the_file(technician, office, monkeypatch):
    monkeypatch.setattr("webapp.store.case_files.ROWS_AT_ONCE", 2)
    add_cases(technician, [f"AA{number} AAA" for number in range(5)])
    assert len(read_csv(office.get("/office/export"))) == 5


def test_what_is_held_is_shown_handed_out_and_erased(technician, office, database):
    case, _ = fill(technician)
    add_cases(technician, ["ZZ99 ZZZ"])
    page = office.get("/office/privacy?q=quill").text
    assert "1 case holds these words" in page
    with zipfile.ZipFile(io.BytesIO(office.get("/office/privacy/export?q=quill").data)) as packed:
        assert [archive.read_archive(packed.read(name)).case_id for name in packed.namelist()] == [case]
    answer = office.post("/office/privacy/erase", q="quill", cases=[case], reason="she asked for it")
    assert answer.status_code == 303
    left = dump(database)
    assert [word for word in SECRETS if word in left] == []
    assert "ZZ99" in left
    assert "No case holds all these words" in office.get("/office/privacy?q=quill").text
    shown = office.get(f"/office/cases/{case}").text
    assert "Personal data were erased" in shown
    assert "she asked for it" in shown
    report = office.get(f"/office/cases/{case}/report.pdf")
    assert report.status_code == 200
    assert office.get(f"/office/cases/{case}/report").status_code == 200


@pytest.mark.parametrize(("form", "says"), [({"reason": "x"}, "Tick the cases"), ({"cases": ["x"]}, "Write why")])
def test_an_erasure_needs_cases_and_a_reason(technician, office, database, form, says):
    fill(technician)
    before = dump(database)
    answer = office.post("/office/privacy/erase", q="quill", **form)
    assert answer.status_code == 422
    assert says in answer.text
    assert dump(database) == before


def test_retention_is_shown_before_it_holds(technician, office, database):
    case, _ = fill(technician)
    with everything(database) as session:
        session.query(Case).update({"updated_at": "2020-01-01T00:00:00.000Z"})
    shown = office.post("/office/privacy/retention", months="12")
    assert "1 case would be erased now" in shown.text
    with everything(database) as session:
        assert session.query(WorkshopRow).filter(WorkshopRow.name == "own").one().retention_months is None
    assert office.post("/office/privacy/retention", months="12", go="yes").status_code == 303
    assert f"/office/cases/{case}" in office.get("/office/privacy").text
    assert "Quill" in dump(database)
    assert office.post("/office/privacy/due").status_code == 303
    assert "Quill" not in dump(database)
    assert "Nothing is due" in office.get("/office/privacy").text
    assert office.post("/office/privacy/retention", months="", go="yes").status_code == 303
    assert "Cases are kept for good" in office.get("/office/privacy").text


@pytest.mark.parametrize("months", ["0", "-1", "241", "a year", "9" * 200])
def test_months_that_cannot_be_are_refused(office, months):
    answer = office.post("/office/privacy/retention", months=months, go="yes")
    assert answer.status_code == 422
