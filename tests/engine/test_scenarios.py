"""Invented jobs, told as stories (tests/scenarios): what is said next, what the ledger shows, what is concluded.

Each expectation was read as prose and agreed with before it was written down; a change here is a change in what a
technician is told.
"""

import json
from pathlib import Path

import pytest

from tests.engine.scenes import CATALOGUE
from webapp.engine.book import open_book
from webapp.engine.judge import judge_case

BOOK = open_book(CATALOGUE)
STORIES = sorted((Path(__file__).parents[1] / "scenarios").glob("*.json"))


def summary(assessment: dict) -> dict:
    conclusion = assessment["conclusion"] or {}
    return {
        "next": assessment["next"][0]["check"] if assessment["next"] else None,
        "conclusion": conclusion.get("fault"),
        "cylinders": conclusion.get("detail", {}).get("cylinders", []),
        "pump": assessment["pump"]["status"],
        "retest": assessment["retest"]["status"],
        "ledger": {row["component"]: row["status"] for row in assessment["ledger"]},
        "doubted": sorted(v["quantity"] for v in assessment["verdicts"] if v["doubt"]),
    }


def test_there_are_ten() -> None:
    assert len(STORIES) >= 10


@pytest.mark.parametrize("path", STORIES, ids=lambda path: path.stem)
def test_story(path: Path) -> None:
    scenario = json.loads(path.read_text())
    assert "Invented" in scenario["story"]
    assert summary(judge_case(scenario["case"], BOOK)) == scenario["expect"]
    assert judge_case(scenario["case"], BOOK)["ledger"][-1]["component"] == "pump"


@pytest.mark.parametrize("path", STORIES, ids=lambda path: path.stem)
def test_every_sentence_is_whole(path: Path) -> None:
    """What people read ends in a full stop, and no id shows through."""
    found = judge_case(json.loads(path.read_text())["case"], BOOK)
    texts = [row["text"] for row in found["ledger"]] + [v["text"] for v in found["verdicts"]] + found["notes"]
    texts += [found["conclusion"]["text"]] if found["conclusion"] else []
    texts += [row["reason"] for row in found["next"]] + found["leak_budget"].get("text", [])
    assert [text for text in texts if not text.endswith(".") or "_" in text] == []
