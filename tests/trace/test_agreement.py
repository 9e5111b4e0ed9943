"""The phone's reader and the command's read the same files alike: rows, start, times, levels, refusals."""

import json
import subprocess
from pathlib import Path

import pytest

from tests.engine.scenes import CATALOGUE
from tests.node import find_node
from tests.trace.dialects import BAD_FILES, TARGETS, encode, make_dialects, moments, pressure_bar
from webapp.engine.calls import Door
from webapp.engine.problems import EngineError
from webapp.tracefile.reader import read_file

PROGRAM = Path(__file__).with_name("phone_reader.mjs")
DOOR = Door(json.dumps(CATALOGUE))
QUESTION = {"targets": TARGETS, "cylinders": 4}
EXACT = ("samples", "dropped", "start_from")
CLOSE = {
    "sample_interval_s": 1e-6,
    "start_s": 2e-3,
    "rest_bar": 0.3,
    "steady_bar": 0.3,
    "peak_bar": 1.0,
    "rise_10_90_s": 4e-3,
}


def rows(first: str, write, step_s: float = 0.002) -> list[str]:
    return [first, *(write(t, pressure_bar(t)) for t in moments(step_s))]


def odd_files() -> list[tuple[str, bytes, dict]]:
    """Lawful but rare ways to write numbers, lines and heads."""
    lines = rows("Time (s),Rail pressure (bar)", lambda t, p: f"{t:.3f},{p:.2f}")
    spaced = ["", "  Run 7  ", "", "Time (s) , Rail pressure (bar)", ""] + [f"  {line} " for line in lines[1:]] + ["", ""]
    again = lines[:600] + lines[:1] + lines[600:]
    backwards = lines[:900] + lines[300:310] + lines[900:]
    return [
        ("old line ends", encode(lines, end="\r"), {}),
        ("spaces and empty lines", encode(spaced, end="\r\n"), {}),
        ("powers of ten", encode(rows("Time (s),Rail pressure (bar)", lambda t, p: f"{t:.6e},+{p:.6E}")), {}),
        ("header again", encode(again), {}),
        ("time falls", encode(backwards), {}),
        ("no last line end", encode(lines)[:-1], {}),
        ("trailing separators", encode([f"{line},," for line in lines]), {}),
        ("by name", encode(lines), {"pressure": "rail pressure", "time": "TIME (s)"}),
        ("many digits", encode(rows("Time (s);Rail pressure (bar)", lambda t, p: f"{t:.17f};{p:.17f}")), {}),
        ("fast", encode(rows("Time (s),Rail pressure (bar)", lambda t, p: f"{t:.5f},{p:.2f}", 5e-5)), {}),
    ]


def files() -> list[tuple[str, bytes, dict]]:
    return [(d.name, d.data, d.options) for d in make_dialects()] + odd_files() + [(n, d, {}) for n, d, _ in BAD_FILES]


def ask_engine(request: dict) -> dict:
    return json.loads(DOOR.call("trace", json.dumps(request)))["ok"]


def run_phone(folder: Path, jobs: list[dict]) -> list[dict]:
    done = subprocess.run(
        [find_node(), PROGRAM, folder], input=json.dumps(jobs), capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.fixture(scope="module")
def phone(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict]:
    """What the phone makes of every file: {name: engine's answer or {"problem"}}, with a closer look where one is asked."""
    folder = tmp_path_factory.mktemp("traces")
    jobs = [
        {"name": name, "options": options} for name, data, options in files() if (folder / name).write_bytes(data) or True
    ]
    answers = run_phone(folder, jobs)
    found = {}
    for job, answer in zip(jobs, answers, strict=True):
        for _ in range(2):
            if "problem" in answer:
                break
            told = ask_engine({**answer["reduced"], **QUESTION})
            if told["look_closer"] is None:
                break
            answer = run_phone(folder, [{**job, "window": told["look_closer"]}])[0]
        found[job["name"]] = answer if "problem" in answer else told
    return found


@pytest.mark.parametrize(("name", "data", "options"), files(), ids=[row[0] for row in files()])
def test_both_readers_say_the_same(name: str, data: bytes, options: dict, phone: dict, tmp_path: Path) -> None:
    (tmp_path / "trace.csv").write_bytes(data)
    try:
        command = read_file(tmp_path / "trace.csv", {**QUESTION, **options}, ask_engine)
    except EngineError:
        assert "problem" in phone[name], "only the command refuses it"
        return
    found = phone[name]
    assert "problem" not in found, found
    assert {key: found[key] for key in EXACT} == {key: command[key] for key in EXACT}
    for key, allowed in CLOSE.items():
        assert found[key] == (None if command[key] is None else pytest.approx(command[key], abs=allowed)), key
    for mine, theirs in zip(found["time_to"], command["time_to"], strict=True):
        assert mine["seconds"] == pytest.approx(theirs["seconds"], abs=2e-3)
