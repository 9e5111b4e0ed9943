"""Limits proposed from vehicles that were confirmed to be sound, by profile and quantity; a person takes them over or not.

Sound: the outcome is confirmed, and it was that rail pressure is in order, or there was a repair whose retest did not
fail - then the readings after the repair count. One vehicle counts once a quantity, with its latest job.
"""

import math
from collections import Counter, defaultdict
from collections.abc import Iterable
from typing import NamedTuple

from webapp.store import judging
from webapp.store.insights_jobs import AFTER, BEFORE, Job, Measured
from webapp.store.insights_tolerance import Bounds, tolerance_bounds

SOUND = "no_pressure_fault"


class Proposal(NamedTuple):
    """`low`, `high` are rounded outwards to what the quantity is read to; both None when too few vehicles support them.
    `now` are the limits by which most of these readings were judged; `values` sorted."""

    profile: str
    quantity: str
    unit: str
    now: tuple[float | None, float | None]
    low: float | None
    high: float | None
    bounds: Bounds
    values: list[float]


def list_sound(job: Job) -> list[Measured]:
    """The readings of a job that were taken on a vehicle confirmed to be sound."""
    if job.state != "confirmed":
        return []
    if job.outcome == SOUND:
        phase = BEFORE
    elif job.outcome and job.retest in ("passed", "unclear"):
        phase = AFTER
    else:
        return []
    return [row for row in job.readings if row.phase == phase and row.is_last]


def is_comparable(row: Measured) -> bool:
    """Not what is judged beside another reading, nor a rise timed to a pressure of somebody's own."""
    limit = judging.book().limits["generic"].get(row.quantity)
    return row.target_bar is None and bool(limit) and limit["scaled_by"] is None and (row.low, row.high) != (None, None)


def round_outwards(value: float | None, decimals: int, upwards: bool) -> float | None:
    if value is None:
        return None
    turn = math.ceil if upwards else math.floor
    return turn(round(value * 10**decimals, 9)) / 10**decimals


def keep_possible(value: float | None, possible: dict) -> float | None:
    return None if value is None else min(max(value, possible["low"]), possible["high"])


def propose(profile: str, name: str, rows: list[Measured]) -> Proposal:
    quantity = judging.book().quantities[name]
    now = Counter((row.low, row.high) for row in rows).most_common(1)[0][0]
    values = sorted(row.value for row in rows)
    bounds = tolerance_bounds(values, now[0] is not None, now[1] is not None)
    low, high = (keep_possible(value, quantity["possible"]) for value in bounds[:2])
    low = round_outwards(low, quantity["decimals"], False)
    high = round_outwards(high, quantity["decimals"], True)
    return Proposal(profile, name, quantity["unit"], now, low, high, bounds, values)


def propose_limits(jobs: Iterable[Job]) -> list[Proposal]:
    """One row a profile and quantity that was read on a sound vehicle, in the catalogue's order. `jobs` newest first."""
    found: dict[tuple[str, str], dict[str, Measured]] = defaultdict(dict)
    for job in jobs:
        for row in filter(is_comparable, list_sound(job)):
            found[job.profile, row.quantity].setdefault(job.vehicle or job.id, row)
    order = {name: place for place, name in enumerate(judging.book().quantity_order)}
    keys = sorted(found, key=lambda key: (key[0], order[key[1]]))
    return [propose(*key, list(found[key].values())) for key in keys]
