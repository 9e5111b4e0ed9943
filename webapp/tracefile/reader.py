"""A recorded trace from a file to the engine's answer: one pass for the whole, a second for the part that matters.

Rules for this file: memory does not grow with the file; what is wrong is said with row and column; no judgement here.
"""

import codecs
import copy
import tempfile
from collections.abc import Iterator
from operator import sub
from pathlib import Path
from typing import IO, NamedTuple

from webapp.engine.problems import refuse, show
from webapp.engine.waveform import GAP_STEPS, usual_step

from .buckets import Buckets, merge
from .dialect import Choice, Dialect, choose_columns, read_dialect, rules
from .rows import Clock, RowReader

HEAD_BYTES, BLOCK_BYTES = 1 << 16, 1 << 18
LONGEST_LINE = 1 << 16
MARKS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
ROWS_FOR_INTERVAL = 2000
CLOSER_LOOKS = 2


class Place(NamedTuple):
    """Where a block begins: enough to read on from there."""

    offset: int
    row: int
    clock: Clock
    moment: float  # time of the last good row before


class Pass(NamedTuple):
    """What one pass over the file gave; points in s and the file's units."""

    points: list[list]
    samples: int
    dropped: int
    interval_s: float
    gaps: int
    places: list[Place]
    reader: RowReader


def find_coding(head: bytes) -> str:
    """Return the text's coding: see the rule 'Text'."""
    for mark, coding in MARKS:
        if head.startswith(mark):
            return coding
    try:
        head[: head.rfind(b"\n") + 1 or len(head)].decode("utf-8")
    except UnicodeDecodeError:
        return "latin-1"
    return "utf-8"


def open_plain(stream: IO[bytes]) -> tuple[IO[bytes], str]:
    """Return a stream whose coding keeps ASCII one byte a sign, and that coding; UTF-16 is rewritten to a temporary file."""
    head = stream.read(HEAD_BYTES)
    stream.seek(0)
    if not head:
        raise refuse("empty", "file", "is empty; give a table of time and pressure, saved as CSV")
    coding = find_coding(head)
    if coding != "utf-16":
        return stream, coding
    rewritten = tempfile.TemporaryFile()  # noqa: SIM115 - it closes with its last user
    text = codecs.getreader("utf-16")(stream, "replace")
    while piece := text.read(BLOCK_BYTES):
        rewritten.write(piece.encode())
    return rewritten, "utf-8"


def read_blocks(stream: IO[bytes], offset: int, row: int) -> Iterator[tuple[int, int, list[bytes]]]:
    """Give (offset, row, lines) of blocks of whole lines, from an offset on."""
    stream.seek(offset)
    kept = b""
    while True:
        data = stream.read(BLOCK_BYTES)
        block = kept + data
        cut = max(block.rfind(b"\n"), block.rfind(b"\r", 0, len(block) - 1)) + 1 if data else len(block)
        if data and not cut and len(block) > LONGEST_LINE:
            raise refuse("no_data", f"row {row + 1}", "is longer than any line of a table; give a CSV file")
        lines = block[:cut].splitlines()
        if lines:
            yield offset, row, lines
        offset, row, kept = offset + cut, row + len(lines), block[cut:]
        if not data:
            return


def read_head(stream: IO[bytes], coding: str) -> Dialect:
    stream.seek(0)
    lines = stream.read(HEAD_BYTES).decode(coding, "replace").splitlines()
    return read_dialect(lines[: rules()["head_lines"]])


def count_gaps(times: list[float], before: float | None, longest: float) -> int:
    """Return how many steps are longer than `longest`, the step from the block before among them."""
    gaps = 1 if before is not None and times[0] - before > longest else 0
    steps = list(map(sub, times[1:], times))
    return gaps + (sum(1 for step in steps if step > longest) if steps and max(steps) > longest else 0)


def run_pass(
    stream: IO[bytes],
    reader: RowReader,
    begin: Place,
    skip: int,
    window: tuple[float, float] | None = None,
    most: int = 8000,
) -> Pass:
    """Read from a place on, all of it or a window of time, into points."""
    reader.clock = copy.copy(begin.clock)
    buckets = Buckets(2 + len(reader.others), most)
    places, interval_s, gaps, last = [], 0.0, 0, None
    for offset, row, lines in read_blocks(stream, begin.offset, begin.row):
        places.append(Place(offset, row, copy.copy(reader.clock), reader.clock.last))
        lines, row, skip = lines[skip:], row + min(skip, len(lines)), max(skip - len(lines), 0)
        columns = reader.read(lines, row + 1) if lines else [[], []]
        if not columns[0]:
            continue
        interval_s = interval_s or usual_step(columns[0][:ROWS_FOR_INTERVAL])
        gaps, last = gaps + count_gaps(columns[0], last, GAP_STEPS * interval_s), columns[0][-1]
        if window is not None:
            if columns[0][0] > window[1]:
                break
            keep = [i for i, t in enumerate(columns[0]) if window[0] <= t <= window[1]]
            columns = [column[keep[0] : keep[-1] + 1] for column in columns] if keep else [[] for _ in columns]
        if columns[0]:
            buckets.add(columns)
    return Pass(buckets.finish(), buckets.samples, reader.dropped, interval_s, gaps, places, reader)


def check_flaws(found: Pass) -> None:
    """Refuse a file of which more than half cannot be read, naming the first bad row and its column."""
    flaw = found.reader.first_flaw
    if flaw is not None and found.dropped > found.samples:
        cell = "" if flaw.cell is None else f": {show(flaw.cell)}"
        counted = f"{found.dropped} of {found.dropped + found.samples} rows cannot be read"
        raise refuse("unreadable", f"row {flaw.row}, column {show(flaw.column)}{cell}", f"{flaw.why}; {counted}")


def request_of(points: list[list], found: Pass, choice: Choice, options: dict) -> dict:
    """Return the engine's request for the points of one or two passes."""
    factor = choice.pressure.factor
    values = points[1] if factor == 1.0 else [v * factor for v in points[1]]
    request = {
        "t": points[0], "samples": found.samples, "dropped": found.dropped, "sample_interval_s": found.interval_s,
        "gaps": found.gaps, "targets": options["targets"], "cylinders": options.get("cylinders"),
        "start_s": options.get("start_s"),
    }  # fmt: skip
    request |= {"volts": values, "sensor": options["sensor"]} if options.get("sensor") else {"p": values}
    places = iter(points[2:])
    for name, column in (("battery_v", choice.battery), ("current_a", choice.current)):
        if column is not None:
            request[name] = [None if v is None else v * column.factor for v in next(places)]
    return request


def reader_warnings(reader: RowReader) -> list[str]:
    assumed = "The time column does not say its unit; it was taken as seconds."
    return [assumed] if reader.clock.assumed else []


def read_points(stream: IO[bytes], options: dict, look: object) -> tuple[dict, Choice, RowReader]:
    """Read a stream and ask `look` (request -> answer), again with a closer look where the answer asks for one."""
    plain, coding = open_plain(stream)
    dialect = read_head(plain, coding)
    choice = choose_columns(dialect.columns, options)
    reader = RowReader(dialect, choice)
    whole = run_pass(
        plain, reader, Place(len(MARKS[0][0]) if coding == "utf-8-sig" else 0, 0, reader.clock, 0.0), dialect.first_line
    )
    check_flaws(whole)
    points = whole.points
    answer = look(request_of(points, whole, choice, options))  # type: ignore[operator]
    for _ in range(CLOSER_LOOKS):
        if not answer.get("look_closer"):
            break
        begin, end = answer["look_closer"]
        place = [p for p in whole.places if p.moment < begin][-1:] or whole.places[:1]
        again = RowReader(dialect, choice)
        skip = dialect.first_line if place[0].row == 0 else 0
        inner = run_pass(plain, again, place[0], skip, (begin, end))
        points = merge(points, inner.points, begin, end)
        answer = look(request_of(points, whole, choice, options))  # type: ignore[operator]
    return answer, choice, reader


def read_file(path: Path, options: dict, look: object) -> dict:
    """Return the engine's answer for a file, with the columns that were used."""
    with path.open("rb") as stream:
        answer, choice, reader = read_points(stream, options, look)
    used = {name: column.header for name, column in choice._asdict().items() if column is not None}
    return {**answer, "columns": used, "warnings": reader_warnings(reader) + answer["warnings"]}
