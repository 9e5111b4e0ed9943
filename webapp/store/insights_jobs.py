"""Jobs as the insights read them: what each case said, boiled down from its document and assessment.

Rules for this file: nothing is judged anew; an answer that a case does not give is None.
"""

import json
from collections.abc import Iterator
from datetime import datetime
from itertools import pairwise
from typing import NamedTuple

from webapp.engine.problems import EngineError
from webapp.engine.quantity import PHASES, phase_of, read_reading
from webapp.store import judging
from webapp.store.limits import profile_of
from webapp.store.models import Case, CaseDocument, Entry
from webapp.store.moments import read_moment
from webapp.store.scope import Workshop

MOST_READ = 3000  # the last changed; a page that reads more would keep people waiting
LONGEST_GAP_S = 1800  # judgement: whoever enters nothing for half an hour does something else
BEFORE, AFTER = PHASES


class Measured(NamedTuple):
    """A number read, in the canonical unit. `low`, `high`: the limits it was judged by, None also when it was not;
    `is_last`: the reading that counts; `uncertainty` as assumed for one reading."""

    quantity: str
    value: float
    uncertainty: float
    phase: str
    by: str
    instrument: str
    target_bar: float | None
    is_last: bool
    low: float | None = None
    high: float | None = None


class Job(NamedTuple):
    """`leading`: (fault, probability) on the evidence before the repair; `conclusion`: the fault that the evidence proves;
    `unproven_pump`: the pump was named by a person short of proof; `profile`: whose limits it was judged by, in any
    version."""

    id: str
    vehicle: str
    layout: str
    profile: str
    state: str
    opened_at: str
    confirmed_at: str | None
    outcome: str | None
    concluded: str | None
    leading: tuple[str, float] | None
    conclusion: str | None
    pump: str | None
    unproven_pump: bool
    retest: str
    minutes: float | None
    reopened: bool
    readings: list[Measured]


class Jobs(NamedTuple):
    rows: list[Job]
    is_cut: bool


def name_vehicle(vehicle: dict) -> str:
    """VIN or registration without blanks; empty when neither is known."""
    text = str(vehicle.get("vin") or vehicle.get("registration") or "")
    return "".join(text.split()).upper()


def list_moments(document: dict) -> list[datetime]:
    """Every moment up to the conclusion at which somebody entered something; labels that are no moment are left out."""
    rows = [row for part in ("readings", "notes", "photos", "cautions", "signed") for row in document.get(part) or []]
    rows = [row for row in rows if phase_of(row) == BEFORE]
    labels = [document.get("opened_at"), *(row.get("at") for row in rows), (document.get("concluded") or {}).get("at")]
    moments = []
    for label in labels:
        try:
            moments.append(read_moment(label or ""))
        except (ValueError, TypeError):
            continue
    return sorted(moments)


def count_minutes(document: dict) -> float | None:
    """Minutes of work until the conclusion: gaps between entries, long ones (a night, a wrong clock) left out."""
    if not document.get("concluded"):
        return None
    gaps = [(later - first).total_seconds() for first, later in pairwise(list_moments(document))]
    return sum(gap for gap in gaps if gap <= LONGEST_GAP_S) / 60


def read_numbers(document: dict, assessment: dict) -> Iterator[Measured]:
    """The single numbers that were read and can be true."""
    verdicts = {row["reading"]: row for row in assessment.get("verdicts") or []}
    stale = set(document.get("earlier_retests") or [])
    quantities = judging.book().quantities
    for row in document.get("readings") or []:
        verdict = verdicts.get(row["id"])
        if quantities.get(row["quantity"], {}).get("kind") != "number" or row["id"] in stale:
            continue
        try:
            reading = read_reading(row, judging.book())
        except EngineError:
            continue  # the assessment names it as set aside
        if verdict["doubt"] if verdict else reading.doubt:
            continue
        bounds = (verdict.get("low"), verdict.get("high")) if verdict else (None, None)
        yield Measured(
            row["quantity"], reading.value, reading.uncertainty, reading.phase, row.get("by") or "",
            row.get("instrument") or "", reading.target_bar, verdict is not None, *bounds,
        )  # fmt: skip


def boil_down(document: dict, assessment: dict, opened_at: str, reopened: bool) -> Job:
    vehicle, pump = document.get("vehicle") or {}, assessment.get("pump") or {}
    outcome = document.get("outcome") or {}
    suspects = assessment.get("suspects") or []
    return Job(
        id=document.get("id", ""),
        vehicle=name_vehicle(vehicle),
        layout=vehicle.get("layout") or "",
        profile=profile_of((document.get("limits") or {}).get("profile")),
        state=document.get("state") or "open",
        opened_at=opened_at,
        confirmed_at=outcome.get("at"),
        outcome=outcome.get("fault"),
        concluded=(document.get("concluded") or {}).get("fault"),
        leading=(suspects[0]["fault"], suspects[0]["probability"]) if suspects else None,
        conclusion=(assessment.get("conclusion") or {}).get("fault"),
        pump=pump.get("status"),
        unproven_pump=bool(pump.get("override") or pump.get("warning")),
        retest=(assessment.get("retest") or {}).get("status") or "not_due",
        minutes=count_minutes(document),
        reopened=reopened,
        readings=list(read_numbers(document, assessment)),
    )


def read_jobs(workshop: Workshop, most: int = MOST_READ) -> Jobs:
    """The last changed jobs of the workshop, the newest first."""
    wanted = (
        workshop.select(Case, Case.id, Case.opened_at, Case.updated_at, CaseDocument.document, CaseDocument.assessment)
        .join(CaseDocument, (CaseDocument.workshop_id == Case.workshop_id) & (CaseDocument.case_id == Case.id))
        .order_by(Case.updated_at.desc(), Case.id.desc())
        .limit(most + 1)
    )
    reopened = set(workshop.all(workshop.select(Entry, Entry.case_id).where(Entry.kind == "reopened").distinct()))
    rows = [
        boil_down(json.loads(document), json.loads(assessment), opened_at or updated_at, case_id in reopened)
        for case_id, opened_at, updated_at, document, assessment in workshop.session.execute(wanted).yield_per(100)
    ]
    return Jobs(rows[:most], len(rows) > most)
