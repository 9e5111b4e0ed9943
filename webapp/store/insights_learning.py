"""What confirmed outcomes say about the starting weights of faults, and about how far probabilities could be believed.

Sources: Dirichlet and multinomial - textbook, from memory; Brier score, G. W. Brier 1950, and expected calibration
error - from memory; Wilson's interval from scipy.
"""

from collections import Counter
from collections.abc import Iterable
from itertools import pairwise
from typing import NamedTuple

from webapp.store import judging
from webapp.store.insights_jobs import Job
from webapp.store.insights_tolerance import scipy

STRENGTH = 50  # judgement: the weights that come with the program count like so many confirmed repairs
EDGES = (0.0, 0.5, 0.8, 0.95, 1.0)  # judgement: guess, lead, strong, conclusion


class Weight(NamedTuple):
    """A fault's share before anything is read: `before` as it comes, `after` with `seen` of `possible` confirmed repairs."""

    fault: str
    before: float
    seen: int
    possible: int
    after: float


class Bin(NamedTuple):
    """Probabilities of at least `low` and below `high`; `low_share`, `high_share` a 95 % interval round hits / jobs."""

    low: float
    high: float
    jobs: int
    hits: int
    stated: float | None
    low_share: float | None
    high_share: float | None


class Calibration(NamedTuple):
    """`brier` and `gap` (expected calibration error) are None without a single confirmed job."""

    bins: list[Bin]
    jobs: int
    brier: float | None
    gap: float | None


class Concluded(NamedTuple):
    """Jobs with a confirmed outcome: how many conclusions were right, those of people and those that the evidence proves."""

    by_people: int
    people_right: int
    proven: int
    proven_right: int


def list_confirmed(jobs: Iterable[Job]) -> list[Job]:
    known = {row["id"] for row in judging.book().faults}
    return [job for job in jobs if job.state == "confirmed" and job.outcome in known]


def update_weights(jobs: Iterable[Job], strength: float = STRENGTH) -> list[Weight]:
    """The mean of the Dirichlet distribution whose parameters are `strength` times the shares as they come, after the
    confirmed outcomes. A fault that some layouts cannot have is counted among the vehicles that can: there its row is the
    beta distribution that the Dirichlet has for one fault, so a workshop that never sees a layout unlearns nothing of it."""
    faults = judging.book().faults
    confirmed = list_confirmed(jobs)
    seen = Counter(job.outcome for job in confirmed)
    layouts = Counter(job.layout for job in confirmed)
    total = sum(fault["prior"] for fault in faults)
    rows = []
    for fault in faults:
        share = fault["prior"] / total
        possible = max(sum(layouts[name] for name in fault["layouts"]), seen[fault["id"]])
        after = (strength * share + seen[fault["id"]]) / (strength + possible)
        rows.append(Weight(fault["id"], share, seen[fault["id"]], possible, after))
    scale = sum(row.after for row in rows)
    return [row._replace(after=row.after / scale) for row in rows]


def fill_bin(low: float, high: float, said: list[tuple[float, bool]]) -> Bin:
    """The last bin holds 1 as well."""
    mine = [row for row in said if low <= row[0] < high or (row[0] == high == EDGES[-1])]
    hits = sum(hit for _, hit in mine)
    if not mine:
        return Bin(low, high, 0, 0, None, None, None)
    interval = scipy("stats").binomtest(hits, len(mine)).proportion_ci(method="wilson")
    return Bin(low, high, len(mine), hits, sum(p for p, _ in mine) / len(mine), float(interval.low), float(interval.high))


def calibrate(said: list[tuple[float, bool]]) -> Calibration:
    """`said`: the probability that was given, and whether it came true."""
    bins = [fill_bin(low, high, said) for low, high in pairwise(EDGES)]
    if not said:
        return Calibration(bins, 0, None, None)
    brier = sum((probability - hit) ** 2 for probability, hit in said) / len(said)
    gap = sum(row.jobs * abs(row.stated - row.hits / row.jobs) for row in bins if row.stated is not None) / len(said)
    return Calibration(bins, len(said), brier, gap)


def check_leading(jobs: Iterable[Job]) -> Calibration:
    """The leading suspect of each confirmed job beside what it was."""
    return calibrate([(job.leading[1], job.leading[0] == job.outcome) for job in list_confirmed(jobs) if job.leading])


def means(named: str | None, outcome: str | None) -> bool:
    """True when a conclusion asks for the repair that was right: the fault itself, or a pair with the same part."""
    faults = {row["id"]: row for row in judging.book().faults}
    first, other = faults.get(named or ""), faults.get(outcome or "")
    if first is None or other is None:
        return False
    same_part = first["component"] == other["component"]
    return named == outcome or (same_part and (named in other["like"] or outcome in first["like"]))


def check_conclusions(jobs: Iterable[Job]) -> Concluded:
    confirmed = list_confirmed(jobs)
    people = [job for job in confirmed if job.concluded]
    proven = [job for job in confirmed if job.conclusion]
    return Concluded(
        len(people),
        sum(means(job.concluded, job.outcome) for job in people),
        len(proven),
        sum(means(job.conclusion, job.outcome) for job in proven),
    )
