"""The door: what is read only when it is asked for, and that it answers whatever comes."""

import json
import subprocess
import sys

import pytest

from webapp.engine.calls import CALLS, Door
from webapp.library.loader import load_catalogue

LATER = ["timing", "hearing", "film", "trace", "scan", "electrics"]


@pytest.fixture(scope="module")
def door() -> Door:
    return Door(json.dumps(load_catalogue()))


def test_what_few_visits_need_is_not_read_at_the_start() -> None:
    program = (
        "import sys, webapp.engine.calls; print(sorted(n.split('.')[-1] for n in sys.modules if 'webapp.engine.' in n))"
    )
    read = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True).stdout
    assert [name for name in LATER if f"'{name}'" in read] == []


@pytest.mark.parametrize("name", sorted(CALLS))
@pytest.mark.parametrize("text", ["{}", "[]", "null", "7", '"text"', "{", ""])
def test_every_call_answers_whatever_comes(door: Door, name: str, text: str) -> None:
    answer = json.loads(door.call(name, text))
    assert ("ok" in answer) != ("error" in answer)
    assert all(problem["text"] for problem in answer.get("error", []))
