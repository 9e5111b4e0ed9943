"""The commands that take cases out and in, and keep to how long they are kept."""

import sqlite3
from pathlib import Path

import pytest

from tests.test_cli import run
from webapp.store import archive


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with the invented workshop."""
    data = tmp_path_factory.mktemp("filled")
    assert run("demo", data=data).returncode == 0
    return data


def ask(data: Path, statement: str) -> list:
    with sqlite3.connect(data / "railcase.db") as connection:
        return connection.execute(statement).fetchall()


def test_a_case_goes_out_is_checked_and_comes_in_elsewhere(filled, tmp_path):
    case = ask(filled, "select id from cases order by id")[0][0]
    file = tmp_path / "case.zip"
    assert run("export", case, str(file), data=filled).returncode == 0
    checked = run("verify", str(file), data=tmp_path / "nowhere")
    assert checked.returncode == 0
    seal = ask(filled, f"select chain from entries where case_id = '{case}' order by position desc")[0][0]
    assert seal in checked.stdout.decode()
    elsewhere = tmp_path / "elsewhere"
    run("migrate", data=elsewhere)
    first, second = run("import", str(file), data=elsewhere), run("import", str(file), data=elsewhere)
    assert (first.returncode, second.returncode) == (0, 0), first.stderr
    assert b" 0 entries and 0 photos are new here" in second.stdout
    whole = run("verify", data=elsewhere)
    assert (whole.returncode, b"in 1 cases" in whole.stdout) == (0, True), whole.stderr


def test_an_altered_case_is_refused_by_name(filled, tmp_path):
    case = ask(filled, "select id from cases order by id")[0][0]
    file = tmp_path / "case.zip"
    run("export", case, str(file), data=filled)
    files = archive.unpack_zip(file.read_bytes())
    files["assessment.json"] = files["assessment.json"].replace(b"pass", b"fail")
    file.write_bytes(archive.pack_zip(files))
    for command in ("verify", "import"):
        done = run(command, str(file), data=filled)
        assert (done.returncode, done.stderr.count(b"\n")) == (2, 1)
        assert b"assessment.json: it was altered" in done.stderr
        assert b"Traceback" not in done.stderr


def test_an_unknown_case_is_told_plainly(filled, tmp_path):
    done = run("export", "no-such-case", str(tmp_path / "x.zip"), data=filled)
    assert (done.returncode, b"'no-such-case' is not here" in done.stderr) == (2, True)
    assert not (tmp_path / "x.zip").exists()


def test_retention_shows_and_then_erases(tmp_path):
    run("demo", data=tmp_path)
    with sqlite3.connect(tmp_path / "railcase.db") as connection:
        connection.execute("update workshops set retention_months = 1")
        connection.execute("update cases set updated_at = '2020-01-01T00:00:00.000Z'")
    shown = run("retention", data=tmp_path).stdout.decode()
    assert "kept for 1 month; " in shown
    assert "would be erased with --apply" in shown
    number = int(shown.partition("kept for 1 month; ")[2].split()[0])
    finished = ask(tmp_path, "select count(*) from cases where state != 'open'")[0][0]
    assert number == finished > 0
    assert f"{number} erased" in run("retention", "--apply", data=tmp_path).stdout.decode()
    assert ask(tmp_path, "select count(*) from cases where state != 'open' and registration != ''") == [(0,)]
    assert ask(tmp_path, "select count(*) from cases where state = 'open' and registration = ''") == [(0,)]
    run("rebuild", data=tmp_path)  # the days above are this test's, not the log's
    assert run("verify", data=tmp_path).returncode == 0
    assert run("retention", "--workshop", "none", data=tmp_path).returncode == 2
