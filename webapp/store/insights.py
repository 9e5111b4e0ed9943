"""What the workshop's finished jobs teach, put together for one page."""

from collections import Counter
from collections.abc import Iterable
from datetime import timedelta
from statistics import median
from typing import NamedTuple

from webapp.store.insights_jobs import Job, read_jobs
from webapp.store.insights_learning import (
    STRENGTH,
    Calibration,
    Concluded,
    Weight,
    check_conclusions,
    check_leading,
    list_confirmed,
    update_weights,
)
from webapp.store.insights_limits import Proposal, propose_limits
from webapp.store.insights_spread import Spread, measure_spread
from webapp.store.moments import read_moment
from webapp.store.scope import Workshop

PUMP_FAULT = "pump_worn"
MONTHS_SHOWN = 12
BACK_WITHIN_DAYS = 90  # judgement


class Month(NamedTuple):
    """Jobs by the month they were opened in, as the phone's clock told it. `cleared`: pump shown to be sound before anybody
    took it off; `unproven`: named short of proof; `wrong_pumps`: named, and it was something else; `minutes`: the median."""

    name: str
    jobs: int
    finished: int
    cleared: int
    condemned: int
    unproven: int
    wrong_pumps: int
    returned: int
    minutes: float | None


class Insights(NamedTuple):
    jobs: int
    confirmed: int
    is_cut: bool
    proposals: list[Proposal]
    weights: list[Weight]
    calibration: Calibration
    concluded: Concluded
    spreads: list[Spread]
    months: list[Month]
    total: Month


def find_returned(jobs: Iterable[Job]) -> set[str]:
    """Ids of finished jobs that were opened again, or whose vehicle came back within BACK_WITHIN_DAYS of the outcome."""
    jobs = list(jobs)
    returned = {job.id for job in jobs if job.reopened}
    opened: dict[str, list[str]] = {}
    for job in jobs:
        if job.vehicle:
            opened.setdefault(job.vehicle, []).append(job.opened_at)
    for job in jobs:
        if job.confirmed_at and any(is_soon_after(job.confirmed_at, later) for later in opened.get(job.vehicle, [])):
            returned.add(job.id)
    return returned


def is_soon_after(first: str, later: str) -> bool:
    """False also for a label that is no moment."""
    try:
        gap = read_moment(later) - read_moment(first)
    except ValueError:
        return False
    return timedelta(0) < gap <= timedelta(days=BACK_WITHIN_DAYS)


def sum_up(name: str, jobs: list[Job], returned: set[str]) -> Month:
    pumps = Counter(job.pump for job in jobs if job.state != "open")
    wrong = [job for job in jobs if job.concluded == PUMP_FAULT and job.outcome not in (None, PUMP_FAULT)]
    minutes = [job.minutes for job in jobs if job.minutes is not None]
    return Month(
        name=name,
        jobs=len(jobs),
        finished=sum(job.state != "open" for job in jobs),
        cleared=pumps["cleared"],
        condemned=pumps["condemned"],
        unproven=sum(job.unproven_pump for job in jobs),
        wrong_pumps=len(wrong),
        returned=sum(job.id in returned for job in jobs),
        minutes=median(minutes) if minutes else None,
    )


def sum_up_months(jobs: list[Job], returned: set[str]) -> list[Month]:
    """The last MONTHS_SHOWN months in which a job was opened, the oldest first."""
    by_month: dict[str, list[Job]] = {}
    for job in jobs:
        by_month.setdefault(job.opened_at[:7], []).append(job)
    return [sum_up(name, by_month[name], returned) for name in sorted(by_month)[-MONTHS_SHOWN:]]


def draw_insights(jobs: list[Job], strength: float = STRENGTH, is_cut: bool = False) -> Insights:
    """`jobs` the newest first."""
    returned = find_returned(jobs)
    return Insights(
        jobs=len(jobs),
        confirmed=len(list_confirmed(jobs)),
        is_cut=is_cut,
        proposals=propose_limits(jobs),
        weights=update_weights(jobs, strength),
        calibration=check_leading(jobs),
        concluded=check_conclusions(jobs),
        spreads=measure_spread(jobs),
        months=sum_up_months(jobs, returned),
        total=sum_up("all", jobs, returned),
    )


def find_proposal(workshop: Workshop, profile: str, quantity: str) -> Proposal | None:
    """What sound vehicles propose for one limit of a profile; None while they are too few."""
    rows = propose_limits(read_jobs(workshop).rows)
    mine = [row for row in rows if (row.profile, row.quantity) == (profile, quantity) and row.bounds.method]
    return mine[0] if mine else None


def read_insights(workshop: Workshop, strength: float = STRENGTH) -> Insights:
    found = read_jobs(workshop)
    return draw_insights(found.rows, strength, found.is_cut)
