"""Cases: the door through which entries come in, the list, one whole case, and entries written at a desk."""

import json
from collections import Counter
from typing import NamedTuple

from sqlalchemy import tuple_

from webapp.meters import meters
from webapp.store import log, photos, projection, search
from webapp.store.compare import list_differences
from webapp.store.filters import ANYTHING, NEEDS_REVIEW, Wanted, list_claims
from webapp.store.models import Case, Entry
from webapp.store.moments import now
from webapp.store.refusals import NotFound, Refusal
from webapp.store.scope import Workshop, new_id

STATES = ("open", "concluded", "repaired", "confirmed")
LISTED_STATES = (*STATES, NEEDS_REVIEW)
PAGE_LENGTH = 25
OFFICE_DEVICE = "office"  # entries written at a desk; phones have a uuid here, so none can be taken for it


class CasePage(NamedTuple):
    """One page of the list; `after` asks for the next one and is None on the last."""

    cases: list[Case]
    after: str | None
    is_cut: bool = False


class WholeCase(NamedTuple):
    """A case as the office reads it: projection row, folded document, assessment, differences and the log itself."""

    row: Case
    document: dict
    assessment: dict
    differences: list[dict]
    log: list[Entry]


def take_in(workshop: Workshop, entries: list, device: str, moment: str) -> log.Appended:
    """The one door for entries, whoever writes them: append, and note the cases that have grown for judging."""
    appended = log.append(workshop, entries, device, moment)
    photos.note_refs(workshop, appended.rows)
    projection.note_waiting(workshop, {row["case_id"] for row in appended.rows})
    count(appended.arrivals)
    return appended


def count(arrivals: list[log.Arrival]) -> None:
    """Counted before the commit: a batch that is rolled back and sent again is counted again."""
    for status, number in Counter(arrival.status for arrival in arrivals).items():
        meters().entries.labels(status).inc(number)
    for code, number in Counter(problem["code"] for arrival in arrivals for problem in arrival.problems).items():
        meters().refusals.labels(code).inc(number)


def append_entries(workshop: Workshop, entries: list, device: str, moment: str) -> list[log.Arrival]:
    """Take entries in and judge their cases at once, where a few more milliseconds matter to nobody."""
    appended = take_in(workshop, entries, device, moment)
    for case_id in sorted({row["case_id"] for row in appended.rows}):
        projection.project_now(workshop, case_id)
    return appended.arrivals


def list_cases(
    workshop: Workshop,
    *,
    text: str = "",
    state: str | None = None,
    wanted: Wanted = ANYTHING,
    after: str | None = None,
    limit: int = PAGE_LENGTH,
) -> CasePage:
    """One page of cases: the last changed first, or with `text` the cases that hold all its words, newest first."""
    moment, _, case_id = (after or "").partition("~")
    claims = list_claims(state, wanted)
    if text.strip():
        hits = search.find_cases(workshop, text, claims, case_id or None, limit + 1)
        found = workshop.all(workshop.select(Case).where(Case.id.in_(hits.ids)).order_by(Case.id.desc()))
        return cut_page(found, limit, hits.is_cut)
    query = workshop.select(Case).where(*claims)
    if case_id:
        query = query.where(tuple_(Case.updated_at, Case.id) < (moment, case_id))
    return cut_page(workshop.all(query.order_by(Case.updated_at.desc(), Case.id.desc()).limit(limit + 1)), limit)


def cut_page(found: list[Case], limit: int, is_cut: bool = False) -> CasePage:
    last = found[limit - 1] if len(found) > limit else None
    return CasePage(found[:limit], f"{last.updated_at}~{last.id}" if last else None, is_cut)


def get_case(workshop: Workshop, case_id: str) -> WholeCase:
    rows = log.read_rows(workshop, case_id)
    found = projection.look_at(workshop, case_id, rows)
    if found is None:
        raise NotFound("There is no such case in this workshop. Go back to the list of cases.")
    row, document, assessment = found
    return WholeCase(row, document, assessment, list_differences(document, assessment), rows)


class Statement(NamedTuple):
    """What is to be written at a desk. `by` and `at` say who did it and when, where that is not who writes, and now."""

    kind: str
    body: dict
    by: str | None = None
    at: str | None = None


def write_entries(workshop: Workshop, case_id: str, person_id: str, statements: list[Statement]) -> list[str]:
    """Write entries at a desk, all or none, through the same door as a phone's; return their ids. A case that is not there
    is opened by them. *Refuses* with the first problem that an entry has."""
    workshop.lock()
    clock = max((json.loads(row.content)["clock"] for row in log.read_rows(workshop, case_id)), default=0)
    seq = log.next_seq(workshop, OFFICE_DEVICE)
    entries: list[dict] = [
        {
            "id": new_id(),
            "case": case_id,
            "device": OFFICE_DEVICE,
            "seq": seq + place,
            "clock": clock + 1 + place,
            "at": statement.at or now(),
            "by": statement.by or person_id,
            "kind": statement.kind,
            "body": statement.body,
        }
        for place, statement in enumerate(statements)
    ]
    for arrival in append_entries(workshop, entries, OFFICE_DEVICE, now()):
        if arrival.status == "refused":
            raise Refusal(arrival.problems[0]["code"], arrival.problems[0]["field"], arrival.problems[0]["text"])
    return [entry["id"] for entry in entries]


def write_entry(workshop: Workshop, case_id: str, person_id: str, kind: str, body: dict) -> None:
    """The same for one entry of a case that is there. *Refuses* one that is not."""
    workshop.lock()
    if not log.length(workshop, case_id):
        raise NotFound("There is no such case in this workshop. Go back to the list of cases.")
    write_entries(workshop, case_id, person_id, [Statement(kind, body)])
