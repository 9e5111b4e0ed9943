"""The `railcase` command as other programs use it: shapes, exit codes, one line per problem, flat memory."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.actors import Phone
from tests.engine.scenes import example_case
from webapp.app import create_app
from webapp.settings import load_settings

RAILCASE = [sys.executable, "-m", "webapp"]
CHECKOUT = Path(__file__).parents[1]


def run(*args: str, text: str | bytes = "", data: Path | None = None) -> subprocess.CompletedProcess:
    env = {**os.environ, **({"RAILCASE_DATA": str(data)} if data else {})}
    given = text if isinstance(text, bytes) else text.encode()
    return subprocess.run([*RAILCASE, *args], input=given, capture_output=True, cwd=CHECKOUT, env=env, timeout=120)


def test_judge_gives_the_documented_shape() -> None:
    done = run("judge", text=json.dumps(example_case()))
    assessment = json.loads(done.stdout)
    assert done.returncode == 0
    keys = {
        "format",
        "case",
        "engine",
        "limits",
        "verdicts",
        "suspects",
        "pump",
        "leak_budget",
        "next",
        "conclusion",
        "notes",
    }
    assert keys <= set(assessment)
    assert assessment["format"] == "railcase-assessment/1"
    first = next(v for v in assessment["verdicts"] if v["reading"] == "r1")
    assert {"quantity", "verdict", "close", "value", "unit", "low", "high", "standard_uncertainty", "probability_within",
            "rule", "basis", "reason"} <= set(first)  # fmt: skip
    assert (first["low"], first["basis"], first["rule"]) == (250, "maker's data sheet", "simple")
    psi = next(v for v in assessment["verdicts"] if v["reading"] == "r5")
    assert (psi["unit"], psi["value"]) == ("bar", pytest.approx(3.998959, abs=1e-6))
    assert psi["standard_uncertainty"] == pytest.approx(0.103421, abs=1e-6)
    assert {"check", "quantities", "bits", "minutes", "intrusion", "reason"} <= set(assessment["next"][0])
    assert {"status", "missing", "supports", "against"} <= set(assessment["pump"])


def test_bad_input_is_named_a_line_each_and_exits_2() -> None:
    case = example_case()
    case["readings"][0]["value"] = "292"
    case["vehicle"]["cylinders"] = -1
    done = run("judge", text=json.dumps(case))
    lines = done.stderr.decode().splitlines()
    assert done.returncode == 2
    assert done.stdout == b""
    assert [line.split(":")[0] for line in lines] == ["vehicle.cylinders", "readings[0].value"]


@pytest.mark.parametrize("text", ["", "{", "[1, 2", b"\xff\xfe{}", "null", "[" * 50_000], ids=range(6))
def test_no_traceback_for_any_text(text: str | bytes) -> None:
    done = run("judge", text=text)
    assert done.returncode == 2
    assert b"Traceback" not in done.stderr
    assert done.stderr.strip()


def test_a_missing_file_is_said_plainly() -> None:
    done = run("judge", "no-such-file.json")
    assert done.returncode == 2
    assert b"no-such-file.json" in done.stderr
    assert b"Traceback" not in done.stderr


def test_lines_go_on_after_a_bad_one() -> None:
    good = json.dumps(example_case())
    done = run("judge", "--lines", text=f"{good}\n{{oops\n\n{good}\n")
    rows = [json.loads(line) for line in done.stdout.splitlines()]
    assert done.returncode == 0
    assert [sorted(row)[0] for row in rows] == ["case", "error", "case"]
    assert rows[1]["error"][0]["field"] == "text"
    assert rows[0] == rows[2]


PROBE = """
import resource, sys
from webapp.cli import main
try: main(["judge", "--lines"], standalone_mode=False)
finally: print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, file=sys.stderr)
"""


def peak_kilobytes(cases: int) -> int:
    text = (json.dumps(example_case()) + "\n") * cases
    done = subprocess.run([sys.executable, "-c", PROBE], input=text.encode(), capture_output=True, cwd=CHECKOUT, timeout=300)
    assert done.stdout.count(b"\n") == cases
    return int(done.stderr.split()[-1])


def test_a_thousand_lines_stream_in_flat_memory() -> None:
    """The peak after 1,000 cases is that after 50, give or take 4 MB; 1,000 assessments kept would be some 20 MB."""
    assert peak_kilobytes(1000) - peak_kilobytes(50) < 4000


def make_entry(number: int, kind: str, body: dict) -> dict:
    return {
        "id": f"01910000-0000-7000-8000-00000000000{number}",
        "case": "01910000-0000-7000-8000-00000000000c",
        "device": "d",
        "seq": number,
        "clock": number,
        "at": "2026-05-04T10:00:00Z",
        "by": "p",
        "kind": kind,
        "body": body,
    }


def test_fold_takes_any_order_and_repeats() -> None:
    entry, other = make_entry(1, "note_added", {"text": "hello"}), make_entry(2, "codes_set", {"codes": ["P0087"]})
    one = run("fold", text="\n".join(map(json.dumps, [entry, other])))
    two = run("fold", text="\n".join(map(json.dumps, [other, entry, other])))
    assert one.returncode == 0
    assert json.loads(one.stdout) == json.loads(two.stdout)
    judged = run("judge", text=one.stdout)
    assert judged.returncode == 0


def test_fold_names_the_bad_entry() -> None:
    done = run("fold", text='{"id": 1}\n')
    assert done.returncode == 2
    assert b"entries[0].id" in done.stderr
    assert run("fold", text="nonsense\n").stderr.startswith(b"line 1:")


def test_catalogue_is_json() -> None:
    catalogue = json.loads(run("catalogue").stdout)
    assert len(catalogue["checks"]) == 19


def test_a_bad_setting_stops_the_start_with_its_name(tmp_path: Path) -> None:
    done = subprocess.run(
        [*RAILCASE, "migrate"], env={**os.environ, "RAILCASE_HTTPS": "perhaps"}, capture_output=True, cwd=CHECKOUT
    )
    assert done.returncode == 2
    assert b"RAILCASE_HTTPS" in done.stderr
    assert b"Traceback" not in done.stderr


def test_people_and_pairing(tmp_path: Path) -> None:
    words = ["person", "add", "--name", "Ada", "--login", "ada", "--role", "office", "--password", "a long enough one"]
    assert run(*words, data=tmp_path).returncode == 0
    assert b"login" in run(*words, data=tmp_path).stderr
    short = [*words[:-1], "short"]
    assert run(*short[:4], "--login", "bob", *short[6:], data=tmp_path).returncode == 2
    invited = run("pair", "ada", data=tmp_path)
    assert b"Code: " in invited.stdout
    assert run("pair", "nobody", data=tmp_path).returncode == 2


def test_a_phone_is_let_in_by_its_number(tmp_path: Path) -> None:
    run(
        "person",
        "add",
        "--name",
        "Ada",
        "--login",
        "ada",
        "--role",
        "office",
        "--password",
        "a long enough one",
        data=tmp_path,
    )
    app = create_app(load_settings({"RAILCASE_DATA": str(tmp_path)}))
    code = re.search(rb"Code: (\S+)", run("pair", "ada", data=tmp_path).stdout)
    phone = Phone(app, code[1].decode())
    assert phone.post_sync([]).status_code == 401
    wrong = run("let-in", "0000", data=tmp_path)
    assert (wrong.returncode, b"NUMBER" in wrong.stderr) == (2, True)
    number = phone.paired.json["number"]
    assert run("let-in", f"{number[:2]} {number[2:]}", data=tmp_path).returncode == 0
    assert phone.sync([])


def test_demo_and_rebuild(tmp_path: Path) -> None:
    assert run("demo", data=tmp_path).returncode == 0
    done = run("rebuild", data=tmp_path)
    assert done.returncode == 0
    assert int(done.stdout.split()[0]) >= 6


def test_a_data_folder_that_takes_nothing_stops_the_start_with_a_plain_line(tmp_path: Path) -> None:
    (tmp_path / "meters").write_text("in the way")
    done = run("serve", "--port", "8769", data=tmp_path)
    assert done.returncode == 2
    assert done.stderr.startswith(b"data: ")
    assert b"Traceback" not in done.stderr
