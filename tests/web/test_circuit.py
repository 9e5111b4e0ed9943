"""The circuit picture: the phone's lines, on pages and on paper, and a list for whoever hears the page."""

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from webapp.circuit import BACK, FLOW, PARTS, break_name, draw_circuit
from webapp.library.loader import load_catalogue
from webapp.wording import LEDGER

SCRIPT = (Path(__file__).parents[2] / "static/js/parts/circuit.js").read_text()
SVG = "{http://www.w3.org/2000/svg}"
COMPONENTS = load_catalogue()["components"]


def row(component: str, status: str = "open", name: str = "Pump & <parts>") -> dict:
    return {"component": component, "name": name, "status": status, "text": "Still open: needs fuel.", "by": [], "needs": []}


def parse(ledger: list[dict]) -> ElementTree.Element:
    return ElementTree.fromstring(str(draw_circuit(ledger)).replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1))


def items(picture: ElementTree.Element) -> list[ElementTree.Element]:
    return [node for node in picture.iter(f"{SVG}g") if node.get("role") == "listitem"]


def test_the_phone_draws_the_same() -> None:
    drawn = re.findall(r"\{ id: '(\w+)', flow: '(\w+)', back: '(\w+)', draw: html`(.*?)` \}", SCRIPT)
    assert [tuple(part) for part in PARTS] == drawn
    for table in (FLOW, BACK):
        for name, line in table.items():
            start, end = re.match(r"M\d+ (\d+)V(\d+)", line).groups()
            assert re.search(rf"{name}: \[{start}, {'ROW' if end == '72' else end}\]", SCRIPT)


def test_every_component_has_its_part() -> None:
    assert {part.id for part in PARTS} == {component["id"] for component in COMPONENTS}


def test_it_is_heard_as_a_list() -> None:
    picture = parse([row("pump", "locked"), row("fuel", "ruled_out")])
    assert (picture.get("role"), picture[0].tag, picture[1].tag) == ("list", f"{SVG}title", f"{SVG}desc")
    assert picture.get("aria-labelledby") == picture[0].get("id")
    assert picture.get("aria-describedby") == picture[1].get("id")
    assert [item.get("data-part") for item in items(picture)] == ["fuel", "pump"]
    assert items(picture)[1].get("aria-label") == "Pump & <parts>: locked. Still open: needs fuel."


@pytest.mark.parametrize("status", sorted(LEDGER))
def test_every_status_is_a_word_and_a_shape(status: str) -> None:
    (item,) = items(parse([row("pump", status)]))
    assert [node.text for node in item.iter(f"{SVG}text")] == ["Pump & <parts>", LEDGER[status]]
    assert [node for node in item.iter(f"{SVG}path") if "part-shape" in node.get("class", "")]
    assert (len([node for node in item.iter() if node.get("class") == "part-frame"]) == 1) == (status == "points_here")


def test_long_names_take_two_lines() -> None:
    assert break_name("Control unit and its signals") == ["Control unit", "and its signals"]
    assert break_name("High-pressure pump") == ["High-pressure pump"]
    assert all(len(line) <= 22 for component in COMPONENTS for line in break_name(component["name"]))


def test_nothing_is_drawn_without_a_ledger() -> None:
    assert draw_circuit(None) == draw_circuit([]) == ""


@pytest.mark.parametrize("page", ["", "/report"])
def test_it_is_on_the_page_and_needs_no_inline_style(technician, office, page) -> None:
    technician.sync(technician.opening())
    text = office.get(f"/office/cases/{technician.case}{page}").text
    picture = re.search(r'<svg class="circuit".*?</svg>', text, re.S)[0]
    assert picture.count('role="listitem"') == 10
    assert "style=" not in picture
    assert 'data-part="relief_valve"' not in picture
