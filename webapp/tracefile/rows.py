"""Lines into numbers, block by block: the fast way for a block without a flaw, row by row for one that has any.

Rules for this file: see `rules` in library/trace_columns.json. A row is good when time and pressure are finite numbers and
the time is not below that of the good row before.
"""

import math
from collections.abc import Iterator
from typing import NamedTuple

from .dialect import Choice, Column, Dialect, read_clock, read_number, rules, split_line

HALF_DAY_S, DAY_S = 43200.0, 86400.0
BIGGEST = 1e12  # the engine takes no more, of anything


class Flaw(NamedTuple):
    row: int  # line of the file, the first being 1
    column: str
    cell: str | None  # None: the row has no such field
    why: str


class Clock:
    """Times as one running count of seconds: relative, of day, or since 1970. State carries over from block to block."""

    def __init__(self, column: Column) -> None:
        self.factor, self.has_unit = column.factor, column.dimension is not None
        self.origin: float | None = None  # taken off clock times and epoch numbers
        self.day, self.last_of_day = 0.0, None
        self.absolute = self.assumed = False
        self.last = -math.inf  # time of the good row before, s

    def settle(self, first: float) -> None:
        """Decide from the first number whether it counts from 1970, and in what."""
        if self.origin is not None:
            return
        for least, factor in rules()["epoch"]:
            if first >= least and not self.has_unit:
                self.factor, self.absolute = factor, True
        self.assumed = not self.has_unit and not self.absolute
        self.origin = first if self.absolute else 0.0

    def of_number(self, value: float) -> float:
        self.settle(value)
        return (value - self.origin) * self.factor  # type: ignore[operator]

    def of_day(self, seconds: float) -> float:
        if self.last_of_day is not None and seconds < self.last_of_day - HALF_DAY_S:  # type: ignore[unreachable]
            self.day += DAY_S
        self.last_of_day = seconds  # type: ignore[assignment]
        if self.origin is None:
            self.origin, self.absolute = seconds, True
        return self.day + seconds - self.origin


class RowReader:
    """Turns blocks of lines into columns [t, p, battery, current]; counts and remembers what could not be read."""

    def __init__(self, dialect: Dialect, choice: Choice) -> None:
        self.dialect, self.choice = dialect, choice
        self.clock = Clock(choice.time)
        self.others = [c for c in (choice.battery, choice.current) if c is not None]
        self.samples = self.dropped = 0
        self.first_flaw: Flaw | None = None

    def read_fast(self, lines: list[bytes]) -> list[list] | None:
        """Return the columns of a block without any flaw, None when there is one."""
        block = b"\n".join(lines)
        if b'"' in block or b"_" in block or b":" in block:
            return None
        if self.dialect.decimal == ",":
            block = block.replace(b",", b".")
        mark = self.dialect.separator.encode()
        # one flat list instead of one list a row, with a field "\n" after each row, which must stand where rows end
        fields = block.replace(b"\n", mark + b"\n" + mark).split(mark)
        width = (len(fields) + 1) // len(lines)
        if fields[width - 1 :: width].count(b"\n") != len(lines) - 1 or len(fields) != width * len(lines) - 1:
            return None
        places = [self.choice.time.place, self.choice.pressure.place] + [c.place for c in self.others]
        if max(places) >= width - 1:
            return None
        try:
            columns: list[list] = [list(map(float, fields[place::width])) for place in places]
        except ValueError:
            return None
        if not all(math.isfinite(sum(column)) and max(max(column), -min(column)) <= BIGGEST for column in columns[1:]):
            return None
        self.clock.settle(columns[0][0])
        shift, factor = self.clock.origin or 0.0, self.clock.factor
        columns[0] = [(t - shift) * factor for t in columns[0]] if shift or factor != 1.0 else columns[0]
        times = columns[0]
        if (
            not math.isfinite(sum(times))
            or times[0] < self.clock.last
            or max(times[-1], -times[0]) > BIGGEST
            or times != sorted(times)
        ):
            return None
        self.clock.last = columns[0][-1]
        return columns

    def drop(self, flaw: Flaw) -> None:
        self.dropped += 1
        self.first_flaw = self.first_flaw or flaw

    def read_time(self, cell: str) -> float | None:
        number = read_number(cell, self.dialect.decimal)
        if number is not None:
            return self.clock.of_number(number)
        second = read_clock(cell)
        return None if second is None else self.clock.of_day(second)

    def read_cell(self, fields: list[str], column: Column) -> float | None:
        return read_number(fields[column.place], self.dialect.decimal) if column.place < len(fields) else None

    def read_row(self, fields: list[str], row: int) -> list | None:
        """Return one row [t, p, ...], None when it is dropped."""
        time, pressure = self.choice.time, self.choice.pressure
        short = next((c for c in (time, pressure) if c.place >= len(fields)), None)
        if short is not None:
            self.drop(Flaw(row, short.header, None, "is missing"))
            return None
        moment, value = self.read_time(fields[time.place]), self.read_cell(fields, pressure)
        if moment is None:
            self.drop(Flaw(row, time.header, fields[time.place], "is not a time"))
        elif value is None:
            self.drop(Flaw(row, pressure.header, fields[pressure.place], "is not a number"))
        elif abs(value) > BIGGEST or abs(moment) > BIGGEST:
            column = pressure if abs(value) > BIGGEST else time
            self.drop(Flaw(row, column.header, fields[column.place], "cannot be"))
        elif moment < self.clock.last:
            self.drop(Flaw(row, time.header, fields[time.place], "goes back in time"))
        else:
            self.clock.last = moment
            others = [self.read_cell(fields, column) for column in self.others]
            return [moment, value] + [None if v is None or abs(v) > BIGGEST else v for v in others]
        return None

    def read_slow(self, lines: list[bytes], first_row: int) -> list[list]:
        """Return the columns of the good rows of a block; flaws are counted."""
        text = [line.decode("utf-8", "replace") for line in lines]
        mark = self.dialect.separator
        fields: Iterator[list[str]] = (split_line(line, mark) if line.strip() else [] for line in text)
        found = [self.read_row(row, first_row + i) for i, row in enumerate(fields) if row and any(row)]
        good = [row for row in found if row is not None]
        return [list(column) for column in zip(*good, strict=True)] or [[] for _ in range(2 + len(self.others))]

    def read(self, lines: list[bytes], first_row: int) -> list[list]:
        """Return the columns of a block of lines, in s and the file's units; first_row is the line number of the first."""
        columns = self.read_fast(lines) or self.read_slow(lines, first_row)
        self.samples += len(columns[0])
        return columns
