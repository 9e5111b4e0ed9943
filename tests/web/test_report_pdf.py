"""The report as PDF: tagged, searchable, on both papers, plain text whatever people write, and never an error."""

import hashlib
import io
import re
from xml.etree.ElementTree import fromstring

import pytest
from PIL import Image
from pypdf import PdfReader

from tests.web.test_photos import draw
from webapp.report import pdf
from webapp.report.content import lay_out_charts
from webapp.report.letters import BREAK
from webapp.report.pictures import MOST_PICTURES, shrink
from webapp.store import demo
from webapp.store.cases import list_cases
from webapp.store.people import add_person
from webapp.store.scope import find_workshop

PAPERS = [("", 595, 842), ("?paper=letter", 612, 792)]
HOSTILE = '#read("/etc/passwd") *bold* _it_ $x^2$ @ref <label> \\ ] #panic() <script>'


def ask(desk, case: str, query: str = "") -> PdfReader:
    answer = desk.get(f"/office/cases/{case}/report.pdf{query}")
    assert answer.status_code == 200, answer.text
    assert answer.content_type == "application/pdf"
    return PdfReader(io.BytesIO(answer.data))


def words(reader: PdfReader) -> str:
    text = " ".join(page.extract_text() for page in reader.pages)
    return re.sub(r"\s+", " ", text.replace(BREAK, ""))


def tags(reader: PdfReader) -> set[str]:
    """The kinds of everything in the tree that a screen reader walks, each with its alternative text where it has one."""
    found, left = set(), [reader.trailer["/Root"]["/StructTreeRoot"]]
    while left:
        node = left.pop()
        node = node.get_object() if hasattr(node, "get_object") else node
        if isinstance(node, list):
            left += node
        elif isinstance(node, dict):
            found |= {str(node.get("/S", "")), f"alt: {node['/Alt']}" if "/Alt" in node else ""}
            left += [node["/K"]] if "/K" in node else []
    return found


def start(technician, *entries: dict, **vehicle) -> str:
    technician.sync([*technician.opening(**vehicle), technician.reading("crank_pressure", 176, unit="bar"), *entries])
    return technician.case


@pytest.mark.parametrize(("query", "width", "height"), PAPERS)
def test_it_is_tagged_and_searchable_on_both_papers(technician, office, query, width, height):
    reader = ask(office, start(technician), query)
    assert [round(float(edge)) for edge in reader.pages[0].mediabox[2:]] == [width, height]
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en-GB"
    assert {"/H1", "/H2", "/Table", "/TH", "/TD", "/Figure"} <= tags(reader)
    assert any(
        tag.startswith("alt: The fuel circuit. Fuel in the tank") or "Pressure regulator: " in tag for tag in tags(reader)
    )
    assert reader.metadata.title == "Fuel pressure report: AB12 CDE"
    assert reader.metadata.author == "own"


def test_the_first_page_is_for_the_customer_and_the_rest_is_evidence(technician, office):
    reader = ask(office, start(technician))
    first, rest = reader.pages[0].extract_text(), words(reader).split("Technical part")[1]
    assert "What we found" in first
    assert "would be a guess" in first
    assert "A record, not a permission" in first
    assert "Technical part" not in first
    assert "176 bar ± " in rest
    assert "at least 285 bar common practice" in rest
    assert "Outside limits" in rest
    assert "technician of own, 24 Nov 2026, 09:00 UTC" in rest


def test_the_seal_is_the_last_of_the_log(technician, office):
    text = words(ask(office, start(technician)))
    page = office.get(f"/office/cases/{technician.case}").text
    seals = re.findall(r"<code>([0-9a-f]{64})</code>", page)
    assert seals[-1] in text
    assert f"seal of entry {len(seals)} in its log" in text


def test_an_unknown_paper_is_refused_by_name(technician, office):
    answer = office.get(f"/office/cases/{start(technician)}/report.pdf?paper=a3")
    assert answer.status_code == 422
    assert "paper: &#39;a3&#39; is not known; use a4 or letter" in answer.text


def test_it_is_a_download_with_a_plain_name(technician, office):
    case = start(technician, registration='Ä/../b c"')
    answer = office.get(f"/office/cases/{case}/report.pdf")
    assert answer.headers["Content-Disposition"] == 'attachment; filename="fuel-pressure-b-c.pdf"'


def test_the_same_record_gives_the_same_bytes(technician, office):
    address = f"/office/cases/{start(technician)}/report.pdf"
    assert office.get(address).data == office.get(address).data


def test_hostile_text_stays_text(technician, office):
    case = start(
        technician, technician.entry("note_added", {"text": HOSTILE}), registration=HOSTILE[:30], description=HOSTILE
    )
    text = words(ask(office, case))
    assert text.count(re.sub(r"\s+", " ", HOSTILE)) >= 2
    assert "root:" not in text


def test_scripts_without_letters_here_are_boxes_and_said_so(technician, office):
    reader = ask(office, start(technician, registration="中国 1", description="Фургон אבג"))
    first = reader.pages[0].extract_text()
    assert "□□ 1" in first
    assert "Фургон" in first
    assert "not in the fonts of this document" in words(reader)
    assert "not in the fonts" not in words(ask(office, start_other(technician)))


def start_other(technician) -> str:
    technician.case = technician.case[:-4] + "0000"
    return start(technician)


def test_a_very_long_word_does_not_run_off_the_page(technician, office):
    reader = ask(office, start(technician, technician.entry("note_added", {"text": "x" * 2000})))
    assert words(reader).replace(" ", "").count("x" * 1000) >= 1
    lines = [line for page in reader.pages for line in page.extract_text().splitlines() if "xxx" in line]
    assert max(len(line.replace(BREAK, "")) for line in lines) < 120, "it is broken into lines"


def test_without_photos_there_is_no_photo_part(technician, office):
    assert " Photos " not in words(ask(office, start(technician)))


def send_photo(technician, data: bytes, **body) -> dict:
    sha256 = hashlib.sha256(data).hexdigest()
    told = {"sha256": sha256, "type": "image/png", "size": len(data), "caption": "the seat", **body}
    return technician.entry("photo_added", told)


def count_pictures(reader: PdfReader) -> int:
    return sum(len(page.images) for page in reader.pages)


def test_a_photo_is_printed_with_its_words(technician, office):
    data = draw(size=(40, 30))
    entry = send_photo(technician, data)
    case = start(technician, entry)
    before = ask(office, case)
    assert "Still on the phone" in words(before)
    technician.put_photo(entry["body"]["sha256"], data)
    reader = ask(office, case)
    assert count_pictures(reader) == count_pictures(before) + 1
    assert "alt: Photo: the seat" in tags(reader)
    assert entry["body"]["sha256"] in words(reader)


@pytest.mark.parametrize(("spoil", "said"), [(None, "file is missing"), (b"no picture", "is damaged")])
def test_a_photo_lost_on_disk_is_said(technician, office, settings, spoil, said):
    data = draw()
    entry = send_photo(technician, data)
    case = start(technician, entry)
    technician.put_photo(entry["body"]["sha256"], data)
    for file in [path for path in (settings.data / "photos").rglob("*") if path.is_file()]:
        file.unlink() if spoil is None else file.write_bytes(spoil)
    assert said in words(ask(office, case))


def test_more_photos_than_fit_are_counted(technician, office):
    pictures = [send_photo(technician, draw(size=(4, 4 + i))) for i in range(MOST_PICTURES + 2)]
    assert "2 more in the record" in words(ask(office, start(technician, *pictures)))


def test_a_photo_is_made_small_and_upright():
    file = io.BytesIO()
    exif = Image.Exif()
    exif[0x0112] = 6  # turned by a quarter
    Image.new("RGB", (3000, 1500), "red").save(file, "JPEG", exif=exif)
    assert shrink(file.getvalue()).size == (600, 1200)
    assert shrink(b"\xff\xd8\xff") is None


def test_a_retest_stands_beside_what_was_before(technician, office):
    after = {"phase": "after_repair"}
    case = start(
        technician, technician.entry("repair_recorded", {"text": "regulator replaced"}),
        technician.reading("crank_pressure", 318, unit="bar", **after), technician.reading("crank_rise_time", 0.8, **after),
    )  # fmt: skip
    text = words(ask(office, case))
    assert "Before and after the repair" in text
    assert re.search(r"Rail pressure while cranking 176 bar ~?\s?Outside limits 318 bar\s?Within limits", text)
    assert "The retest has passed" in text


def test_charts_are_in_it_with_their_words(technician, office):
    points = [[0.1 * i, 18 + 283 * (1 - 0.8**i)] for i in range(30)]
    rise = {"source": "trace", "name": "yard.csv", "points": points, "start_s": 0.4, "start_from": "hand",
            "times": [[200, 0.61]], "warnings": ["Ripple is large."], "readings": []}  # fmt: skip
    returns = technician.reading("injector_return", [10, 11, 10, 58], unit="mL", duration_s=30, state="cranking")
    reader = ask(office, start(technician, technician.entry("rise_recorded", rise), returns))
    alts = [tag for tag in tags(reader) if tag.startswith("alt: ")]
    assert any("Recorded trace “yard.csv”: 200 bar after 0.61 s" in alt for alt in alts)
    assert any("cylinder 4 116 mL/min, outside" in alt for alt in alts)
    assert "Ripple is large." in words(reader)


def test_a_curve_that_cannot_be_drawn_leaves_the_words(technician, office):
    rise = {"source": "film", "points": [], "start_s": 0, "start_from": "hand", "times": [[200, 0.61]], "readings": []}
    assert "No curve that can be drawn" in words(ask(office, start(technician, technician.entry("rise_recorded", rise))))


@pytest.mark.parametrize("name", ["bell\a and \v", "<b> & \" '", "half \ud83d pair"], ids=["control", "markup", "surrogate"])
def test_a_curve_with_a_hostile_name_is_drawn(name):
    rise = {"source": "trace", "name": name, "points": [[0, 1], [1, 9]], "start_s": 0, "start_from": "hand", "times": [],
            "by": "me", "at": "2026-11-24T09:00:00Z"}  # fmt: skip
    [row] = lay_out_charts({"rises": [rise], "voided": [], "assessment": {}})
    assert "polyline" in row["svg"]
    assert fromstring(row["svg"]).tag.endswith("svg")
    assert name in row["caption"]


def test_a_case_without_readings_has_one_too(technician, office):
    technician.sync([technician.entry("case_opened", {})])
    assert "No reading yet." in words(ask(office, technician.case))


def test_a_log_that_was_altered_says_so_on_both_parts(technician, office, database):
    case = start(technician)
    with database.engine.begin() as connection:
        connection.exec_driver_sql("update entries set content = replace(content, '176', '177') where content like '%176%'")
    assert words(ask(office, case)).count("Do not rely on this report.") == 2


def test_a_text_the_standard_refuses_is_still_a_report(technician, office, monkeypatch):
    monkeypatch.setattr(pdf, "clean", lambda page, keep: page)
    assert "What we found" in words(ask(office, start(technician, description="中")))


@pytest.fixture
def demo_desk(app, database, office):
    """The office of the invented workshop, and its cases by registration."""
    with database.writing() as session:
        demo.fill_demo(session)
        workshop = find_workshop(session, "Invented Workshop (demo)")
        add_person(workshop, name="Reader", login="reader@demo", role="office", password="three plain words")
        cases = {row.registration: row.id for row in list_cases(workshop).cases}
    assert office.sign_in("reader@demo", "three plain words").status_code == 303
    return office, cases


def test_every_invented_case_keeps_the_customer_to_one_page(demo_desk):
    desk, cases = demo_desk
    for registration, case in cases.items():
        reader = ask(desk, case)
        assert "Technical part" in reader.pages[1].extract_text(), registration
        assert len(reader.pages) <= 7, registration
        assert f"page 1 of {len(reader.pages)}" in reader.pages[0].extract_text()
