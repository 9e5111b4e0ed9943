"""`railcase trace` on every dialect, on bad files, and on long ones: columns, counts, times, refusals, flat memory."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from tests.trace.dialects import BAD_FILES, START_S, TARGETS, Dialect, make_dialects, true_seconds
from tests.trace.long import run_trace, write_long
from webapp.cli import main
from webapp.tracefile.dialect import choose_columns, read_dialect
from webapp.tracefile.rows import RowReader

DIALECTS = make_dialects()


def run(path: Path, *options: str) -> Result:
    return CliRunner().invoke(main, ["trace", str(path), *options])


def option_words(options: dict) -> list[str]:
    words = [f"--{name.replace('_', '-')}={value}" for name, value in options.items() if name != "sensor"]
    if "sensor" in options:
        words.append("--sensor=" + ",".join(f"{volts}:{bar}" for volts, bar in options["sensor"]))
    return words


@pytest.mark.parametrize("dialect", DIALECTS, ids=[d.name for d in DIALECTS])
def test_every_dialect_is_the_same_crank(dialect: Dialect, tmp_path: Path) -> None:
    path = tmp_path / "trace.csv"
    path.write_bytes(dialect.data)
    done = run(path, "--cylinders=4", *option_words(dialect.options))
    assert done.exit_code == 0, done.stderr
    found = json.loads(done.stdout)
    assert (found["samples"], found["dropped"]) == (dialect.samples, dialect.dropped)
    lag = found["start_s"] - dialect.origin_s - START_S
    assert (found["start_from"] == "battery_voltage") == dialect.has_battery
    if dialect.has_battery:
        assert abs(lag) < 2 * found["sample_interval_s"]
    for row, target in zip(found["time_to"], TARGETS, strict=True):
        assert row["seconds"] + lag == pytest.approx(true_seconds(target), abs=dialect.tolerance_s)


def test_standard_input_is_read_as_the_file_is(tmp_path: Path) -> None:
    path = tmp_path / "trace.csv"
    path.write_bytes(DIALECTS[0].data)
    options = ["--cylinders=4", *option_words(DIALECTS[0].options)]
    piped = CliRunner().invoke(main, ["trace", "-", *options], input=DIALECTS[0].data)
    assert piped.exit_code == 0, piped.stderr
    assert piped.stdout == run(path, *options).stdout
    bad = CliRunner().invoke(main, ["trace", "-"], input=b"nothing of the kind")
    assert (bad.exit_code, bad.stdout) == (2, "")
    assert "Traceback" not in bad.stderr


def test_at_least_twelve_dialects() -> None:
    assert len({dialect.name for dialect in DIALECTS}) >= 12


@pytest.mark.parametrize(("data", "words"), [b[1:] for b in BAD_FILES], ids=[b[0] for b in BAD_FILES])
def test_a_bad_file_is_refused_by_name(data: bytes, words: str, tmp_path: Path) -> None:
    path = tmp_path / "bad.csv"
    path.write_bytes(data)
    done = run(path)
    assert done.exit_code == 2
    assert words in done.stderr
    assert done.stdout == ""


PLAIN = next(d.data for d in DIALECTS if d.name == "comma")
WRONG = [
    (["--pressure=Boost"], "--pressure: there is no column 'Boost'; the file has 1 'Time (s)', 2"),
    (["--pressure=9"], "--pressure: there is no column '9'"),
    (["--pressure=1"], "--pressure: the column 'Time (s)' is a time"),
    (["--time=Battery voltage (V)"], "--time: the column 'Battery voltage (V)' is a voltage"),
    (["--pressure-unit=furlong"], "--pressure-unit: 'furlong' is not a unit of pressure"),
    (["--sensor=1:2:3"], "--sensor: [[1.0, 2.0, 3.0]]: give two points"),
    (["--sensor=0.5 to 4.5"], "--sensor: '0.5 to 4.5' is not two pairs"),
    (["--sensor=0.5:0,4.5:1800", "--pressure=2"], "the column 'Rail pressure (bar)' is a pressure"),
    (["--sensor=0.5:0,0.5:1800", "--pressure=3"], "--sensor: [[0.5, 0.0], [0.5, 1800.0]]: the two points must differ"),
    (["--target=-3"], "targets[0]: -3"),
]


@pytest.mark.parametrize(("options", "words"), WRONG, ids=[w[0][0] for w in WRONG])
def test_a_wrong_option_is_refused_by_name(options: list[str], words: str, tmp_path: Path) -> None:
    path = tmp_path / "trace.csv"
    path.write_bytes(PLAIN)
    done = run(path, *options)
    assert done.exit_code == 2
    assert words in done.stderr


def test_columns_by_name_number_and_unit(tmp_path: Path) -> None:
    path = tmp_path / "trace.csv"
    path.write_bytes(PLAIN)
    first = json.loads(run(path).stdout)
    for options in (["--pressure=rail pressure"], ["--pressure=2", "--time=1"], ["--pressure-unit=bar"]):
        assert json.loads(run(path, *options).stdout) == first
    in_psi = json.loads(run(path, "--pressure-unit=psi").stdout)
    assert in_psi["peak_bar"] == pytest.approx(first["peak_bar"] * 0.0689476, rel=1e-4)


def test_a_start_by_hand_takes_the_place_of_the_batterys(tmp_path: Path) -> None:
    path = tmp_path / "trace.csv"
    path.write_bytes(PLAIN)
    found = json.loads(run(path, "--start=0.3").stdout)
    assert (found["start_s"], found["start_from"]) == (0.3, "hand")
    assert found["time_to"][0]["seconds"] == pytest.approx(true_seconds(200) + START_S - 0.3, abs=0.002)


def test_one_bad_row_costs_one_row(tmp_path: Path) -> None:
    """The fast way for whole blocks and the slow way for flawed ones give the same rows."""
    path = tmp_path / "trace.csv"
    lines = PLAIN.split(b"\n")
    path.write_bytes(b"\n".join([*lines[:50], b"x,y,z", *lines[50:]]))
    flawed = json.loads(run(path).stdout)
    path.write_bytes(PLAIN)
    clean = json.loads(run(path).stdout)
    assert (flawed["samples"], flawed["dropped"]) == (clean["samples"], 1)
    assert flawed["time_to"] == clean["time_to"]


@pytest.mark.parametrize("row", [b"0.1,5", b"0.1,5,6,7", b"0.1,5,6,7,8,9"])
def test_rows_of_another_length_move_no_column(row: bytes, tmp_path: Path) -> None:
    """A short and a long row whose fields add up to two whole ones must not shift what lies between."""
    path = tmp_path / "trace.csv"
    lines = PLAIN.split(b"\n")
    path.write_bytes(b"\n".join([*lines[:60], row, *lines[60:90], row[:3], *lines[90:]]))
    found = json.loads(run(path).stdout)
    assert found["peak_bar"] == pytest.approx(301.2, abs=0.1)
    assert found["time_to"][0]["seconds"] == pytest.approx(true_seconds(200), abs=0.003)


def test_a_short_and_a_long_row_that_add_up_are_not_read_as_whole_ones() -> None:
    """Taken as one list of fields these four lines hold four rows of three, two of them wrong."""
    dialect = read_dialect(["Time (s),Rail pressure (bar),Speed (rpm)", "1,2,3", "2,3,4"])
    reader = RowReader(dialect, choose_columns(dialect.columns, {}))
    lines = [b"1,2,3", b"4,5", b"6,7,8,9", b"10,11,12"]
    assert reader.read_fast(lines) is None
    assert reader.read(lines, 2) == [[1.0, 4.0, 6.0, 10.0], [2.0, 5.0, 7.0, 11.0]]


def test_memory_does_not_grow_with_the_file(tmp_path: Path) -> None:
    """Four times the rows: 300,000 more kept as three floats would be some 25 MB."""
    peaks = []
    for rows in (100_000, 400_000):
        path = tmp_path / f"{rows}.csv"
        zero = write_long(path, rows)
        printed, peak = run_trace(path)
        peaks.append(peak)
        found = json.loads(printed)
        assert (found["samples"], found["dropped"]) == (rows, 0)
        assert found["start_s"] == pytest.approx(zero + START_S, abs=0.002)
        assert found["time_to"][1]["seconds"] == pytest.approx(true_seconds(285), abs=0.005)
    assert peaks[1] - peaks[0] < 8000
