"""Weights of the faults that a workshop took over from its confirmed repairs: versions that stay, as with limits.

A version is always made anew from the weights that come with the program and all confirmed repairs, so nothing is learnt
twice. New jobs take the newest; a case that names a version is judged by it until somebody moves it.
"""

import json

from webapp.store.insights_jobs import Job
from webapp.store.insights_learning import Weight, list_confirmed, update_weights
from webapp.store.limits import make_weights_key
from webapp.store.models import WeightVersion
from webapp.store.moments import now
from webapp.store.refusals import Conflict, Refusal
from webapp.store.scope import Workshop

DELIVERED = ""  # what a case names when it is judged by the weights that come with the program
DELIVERED_NAME = "Weights that come with the program"
DIGITS = 6


def write_name(row: WeightVersion) -> str:
    return (
        f"Learnt weights, version {row.version}, from {row.repairs} confirmed {'repair' if row.repairs == 1 else 'repairs'}"
    )


def list_versions(workshop: Workshop) -> list[WeightVersion]:
    """The newest first."""
    return workshop.all(workshop.select(WeightVersion).order_by(WeightVersion.version.desc()))


def name_all(workshop: Workshop) -> dict[str, str]:
    """Names by key, of all that a case can be judged by; the newest first after those that come with the program."""
    return {DELIVERED: DELIVERED_NAME} | {make_weights_key(row.version): write_name(row) for row in list_versions(workshop)}


def round_weights(rows: list[Weight]) -> dict[str, float]:
    """Shares, rounded so that phones carry a hundred bytes and not a thousand; none becomes impossible."""
    return {row.fault: max(round(row.after, DIGITS), 10.0**-DIGITS) for row in rows}


def accept(
    workshop: Workshop, jobs: list[Job], strength: int, seen: tuple[int, int], note: str, person_id: str
) -> WeightVersion:
    """Make the next version. `seen`: the number of confirmed repairs and the newest version on the page that was looked at.

    *Refuses* with Conflict when either has changed since, with Refusal when there is nothing to learn from or nothing new.
    """
    workshop.lock()
    versions = list_versions(workshop)
    newest = versions[0].version if versions else 0
    repairs = len(list_confirmed(jobs))
    if (repairs, newest) != seen:
        text = f"There are {repairs} confirmed repairs and {newest} versions by now; look at the weights again."
        raise Conflict("stale", "seen", text)
    if not repairs:
        raise Refusal("nothing_learnt", "repairs", "No outcome is confirmed yet; there is nothing to take over.")
    weights = json.dumps(round_weights(update_weights(jobs, strength)), sort_keys=True)
    if versions and versions[0].weights == weights:
        raise Refusal("nothing_changed", "weights", "These are the weights in use already.")
    row = WeightVersion(
        version=newest + 1, weights=weights, strength=strength, repairs=repairs, note=note, by=person_id, at=now()
    )
    workshop.add(row)
    workshop.session.flush()
    return row
