"""The phone's own interpreter gives the server's answers: tables and whole cases, on the MicroPython that ships."""

import json
import subprocess
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

from tests.engine.scenes import case_documents
from tests.node import find_node
from webapp.engine.calls import Door
from webapp.library.loader import load_catalogue

HERE = Path(__file__).parent
CHECKOUT = HERE.parent.parent


def run_phone(program: str, *data: Path) -> list[str]:
    """Run a program of this folder on the phone's interpreter; return the lines that it prints."""
    command = [find_node(), HERE / "phone.mjs", CHECKOUT, HERE / program, *data]
    done = subprocess.run(command, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()


def test_tables_hold_on_the_phone() -> None:
    tables = sorted((HERE / "cases").glob("*.json"))
    rows = sum(len(json.loads(table.read_text())["rows"]) for table in tables)
    assert run_phone("phone_tables.py", *tables) == [f"CHECKED {rows}"]


def test_a_wrong_value_is_noticed_on_the_phone(tmp_path: Path) -> None:
    row = {"name": "wrong", "call": "numeric.normal_cdf", "args": [0.0], "expect": 0.51}
    (tmp_path / "wrong.json").write_text(json.dumps({"rows": [row]}))
    printed = run_phone("phone_tables.py", tmp_path / "wrong.json")
    assert printed[0].startswith("FAILED wrong.json wrong: numeric.normal_cdf gave 0.5")


def close_enough(phone: object, server: object) -> bool:
    """Equal, numbers within a relative 1e-12 (the two mathematical libraries differ in the last bit)."""
    if isinstance(server, dict):
        return (
            isinstance(phone, dict)
            and phone.keys() == server.keys()
            and all(close_enough(phone[k], server[k]) for k in server)
        )
    if isinstance(server, list):
        return isinstance(phone, list) and len(phone) == len(server) and all(map(close_enough, phone, server))
    if isinstance(server, float) and isinstance(phone, int | float):
        return phone == pytest.approx(server, rel=1e-12, abs=1e-14)
    return phone == server


def test_random_cases_are_judged_alike(tmp_path: Path) -> None:
    catalogue = json.dumps(load_catalogue())
    door = Door(catalogue)
    documents: list[dict] = []

    @settings(max_examples=120, derandomize=True, database=None, suppress_health_check=list(HealthCheck))
    @given(case_documents())
    def collect(document: dict) -> None:
        documents.append(document)

    collect()
    (tmp_path / "catalogue.json").write_text(catalogue)
    (tmp_path / "cases.json").write_text(json.dumps(documents))
    printed = run_phone("phone_judge.py", tmp_path / "catalogue.json", tmp_path / "cases.json")
    assert len(printed) == len(documents)
    for document, line in zip(documents, printed, strict=True):
        server = json.loads(door.call("judge", json.dumps(document)))
        assert close_enough(json.loads(line), server), document


def test_practice_cars_are_the_same_on_the_phone(tmp_path: Path) -> None:
    catalogue = json.dumps(load_catalogue())
    door = Door(catalogue)
    go = [{"check": "battery", "quantities": ["cranking_speed", "battery_voltage_rest"]}]
    calls = []
    for grade in ("plain", "usual", "faint", "double"):
        for car in (1, 23, 50):
            request = {"car": car, "grade": grade, "path": go, "named": "pump_worn"}
            calls += [[f"practice_{name}", request] for name in ("look", "curve", "debrief")]
    (tmp_path / "catalogue.json").write_text(catalogue)
    (tmp_path / "calls.json").write_text(json.dumps(calls))
    printed = run_phone("phone_calls.py", tmp_path / "catalogue.json", tmp_path / "calls.json")
    assert len(printed) == len(calls)
    for (name, request), line in zip(calls, printed, strict=True):
        server = json.loads(door.call(name, json.dumps(request)))
        assert "ok" in server, (name, request)
        assert close_enough(json.loads(line), server), (name, request)
