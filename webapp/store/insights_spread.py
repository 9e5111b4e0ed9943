"""How far readings of one thing differ when they are taken again: by the same hands, by others, with another instrument.

Method: readings of one quantity in the same phase of a case form a group. Same person and same instrument: the pooled
standard deviation of one reading (repeatability). Other person or other instrument: half the mean squared difference of
all pairs of that kind, which holds repeatability and what the change adds.
Source: ISO 5725-2 for the words repeatability and reproducibility - from memory; the estimates are textbook.
"""

import math
from collections import defaultdict
from collections.abc import Iterable
from itertools import combinations
from typing import NamedTuple

from webapp.store import judging
from webapp.store.insights_jobs import Job, Measured


class Spread(NamedTuple):
    """Standard deviations of one reading in the quantity's unit, None where nothing was repeated so. `again` is the number
    of readings beyond the first, `by_pairs` and `with_pairs` are pairs; `assumed`: the mean standard uncertainty of the
    readings."""

    quantity: str
    unit: str
    same: float | None
    again: int
    by_other: float | None
    by_pairs: int
    with_other: float | None
    with_pairs: int
    assumed: float


def group_repeats(jobs: Iterable[Job]) -> dict[str, list[list[Measured]]]:
    """Groups of two readings or more by quantity. Rises timed to different pressures are different things."""
    found: dict[tuple, list[Measured]] = defaultdict(list)
    for job in jobs:
        for row in job.readings:
            found[job.id, row.phase, row.quantity, row.target_bar].append(row)
    groups = defaultdict(list)
    for key, rows in found.items():
        if len(rows) > 1:
            groups[key[2]].append(rows)
    return groups


def square_of_pairs(groups: list[list[Measured]], changes: str, stays: str) -> tuple[float | None, int]:
    """Half the mean squared difference of pairs in which one thing changes and the other stays, and their number."""
    pairs = [
        pair
        for rows in groups
        for pair in combinations(rows, 2)
        if getattr(pair[0], stays) == getattr(pair[1], stays) and getattr(pair[0], changes) != getattr(pair[1], changes)
        and getattr(pair[0], changes) and getattr(pair[1], changes)
    ]  # fmt: skip
    total = sum((first.value - other.value) ** 2 for first, other in pairs)
    return (math.sqrt(total / 2 / len(pairs)) if pairs else None), len(pairs)


def pool_same(groups: list[list[Measured]]) -> tuple[float | None, int]:
    """The pooled standard deviation within same person and same instrument, and its degrees of freedom."""
    squares, freedom = 0.0, 0
    for rows in groups:
        cells = defaultdict(list)
        for row in rows:
            cells[row.by, row.instrument].append(row.value)
        for values in cells.values():
            mean = sum(values) / len(values)
            squares += sum((value - mean) ** 2 for value in values)
            freedom += len(values) - 1
    return (math.sqrt(squares / freedom) if freedom else None), freedom


def measure_spread(jobs: Iterable[Job]) -> list[Spread]:
    """One row a quantity that was ever read again, in the catalogue's order."""
    groups = group_repeats(jobs)
    rows = []
    for name in judging.book().quantity_order:
        if name in groups:
            readings = [row for group in groups[name] for row in group]
            assumed = sum(row.uncertainty for row in readings) / len(readings)
            by_other = square_of_pairs(groups[name], "by", "instrument")
            with_other = square_of_pairs(groups[name], "instrument", "by")
            unit = judging.book().quantities[name]["unit"]
            rows.append(Spread(name, unit, *pool_same(groups[name]), *by_other, *with_other, assumed))
    return rows
