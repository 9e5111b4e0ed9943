"""The tables of expected values (tests/engine/cases), on the server's Python; test_phone.py runs them on the phone's."""

import importlib
import json
from pathlib import Path

import pytest

from tests.engine.replay import replay_row

CASES = Path(__file__).parent / "cases"


def load_rows() -> list[tuple[str, dict]]:
    return [(path.stem, row) for path in sorted(CASES.glob("*.json")) for row in json.loads(path.read_text())["rows"]]


ROWS = load_rows()
MODULES = {name: importlib.import_module(f"webapp.engine.{name}") for name in {row["call"].split(".")[0] for _, row in ROWS}}


@pytest.mark.parametrize("row", [row for _, row in ROWS], ids=[f"{table}-{row['name']}" for table, row in ROWS])
def test_row(row: dict) -> None:
    assert replay_row(row, MODULES) == ""


def test_every_row_names_its_source_and_itself() -> None:
    names = [(table, row["name"]) for table, row in ROWS]
    assert len(set(names)) == len(names)
    assert [row["name"] for _, row in ROWS if not row["source"].strip()] == []


def test_a_wrong_value_is_noticed() -> None:
    wrong = dict(ROWS[0][1])
    wrong["expect"] = 0.123 if isinstance(wrong["expect"], float) else "wrong"
    assert replay_row(wrong, MODULES) != ""
