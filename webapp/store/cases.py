"""Cases: entries come in, the cases they touch are folded and judged again, and lists and pages read the outcome."""

import json
from typing import NamedTuple

from sqlalchemy import tuple_

from webapp.store import judging, log, photos, search
from webapp.store.compare import list_differences
from webapp.store.models import Case, CaseDocument, CaseWord, Entry, PhotoRef
from webapp.store.moments import now
from webapp.store.refusals import NotFound, Refusal
from webapp.store.scope import Workshop, new_id

STATES = ("open", "concluded", "repaired", "confirmed")
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


def append_entries(workshop: Workshop, entries: list, device: str, moment: str | None = None) -> list[log.Arrival]:
    """The one door for entries, whoever writes them: append, then judge every case that has grown."""
    arrivals, touched = log.append(workshop, entries, device, moment or now())
    for case_id in sorted(touched):
        project_case(workshop, case_id)
    return arrivals


def project_case(workshop: Workshop, case_id: str) -> None:
    """Write what lists, searches and pages need, from the log alone."""
    rows = log.read_rows(workshop, case_id)
    entries = [json.loads(row.content) for row in rows]
    document, assessment, problem = judging.fold_and_judge(entries)
    case = workshop.first(workshop.select(Case).where(Case.id == case_id)) or workshop.add(Case(id=case_id))
    fill_row(case, document, assessment, problem)
    case.entries, case.updated_at = len(rows), max(row.received_at for row in rows)
    workshop.session.flush()
    keep_document(workshop, case_id, document, assessment)
    notes = [str(note.get("text", "")) for note in document.get("notes") or []]
    search.keep_words(workshop, case_id, search.list_words(case.registration, case.vin, [case.description, *notes]))
    photos.keep_refs(workshop, case_id, entries)


def fill_row(case: Case, document: dict, assessment: dict, problem: str | None) -> None:
    vehicle = document.get("vehicle") or {}
    for name, longest in (("registration", 200), ("vin", 200), ("description", 400)):
        setattr(case, name, clean(vehicle.get(name), longest))
    stated = document.get("outcome") or document.get("concluded") or assessment.get("conclusion") or {}
    case.state = document.get("state") or "open"
    case.fault = clean(stated.get("fault"), 64) or None  # a phone may have written anything
    case.pump = (assessment.get("pump") or {}).get("status")
    case.differs = bool(list_differences(document, assessment))
    case.conflicts = len(document.get("conflicts") or [])
    case.problem = problem
    case.opened_at = clean(document.get("opened_at"), 40) or None


def clean(value, longest: int) -> str:
    """Text that every database can hold: no lone halves of a character, no NUL."""
    return str(value or "").encode("utf-8", "replace").decode().replace("\0", " ").strip()[:longest]


def keep_document(workshop: Workshop, case_id: str, document: dict, assessment: dict) -> None:
    kept = workshop.first(workshop.select(CaseDocument).where(CaseDocument.case_id == case_id))
    kept = kept or workshop.add(CaseDocument(case_id=case_id))
    kept.document = json.dumps(document, sort_keys=True)
    kept.assessment = json.dumps(assessment, sort_keys=True)


def list_cases(
    workshop: Workshop, *, text: str = "", state: str | None = None, after: str | None = None, limit: int = PAGE_LENGTH
) -> CasePage:
    """One page of cases: the last changed first, or with `text` the cases that hold all its words, newest first."""
    moment, _, case_id = (after or "").partition("~")
    if text.strip():
        hits = search.find_cases(workshop, text, state, case_id or None, limit + 1)
        found = workshop.all(workshop.select(Case).where(Case.id.in_(hits.ids)).order_by(Case.id.desc()))
        return cut_page(found, limit, hits.is_cut)
    wanted = workshop.select(Case)
    if state:
        wanted = wanted.where(Case.state == state)
    if case_id:
        wanted = wanted.where(tuple_(Case.updated_at, Case.id) < (moment, case_id))
    return cut_page(workshop.all(wanted.order_by(Case.updated_at.desc(), Case.id.desc()).limit(limit + 1)), limit)


def cut_page(found: list[Case], limit: int, is_cut: bool = False) -> CasePage:
    last = found[limit - 1] if len(found) > limit else None
    return CasePage(found[:limit], f"{last.updated_at}~{last.id}" if last else None, is_cut)


def get_case(workshop: Workshop, case_id: str) -> WholeCase:
    row = workshop.first(workshop.select(Case).where(Case.id == case_id))
    if row is None:
        raise NotFound("There is no such case in this workshop. Go back to the list of cases.")
    kept = workshop.first(workshop.select(CaseDocument).where(CaseDocument.case_id == case_id))
    document, assessment = json.loads(kept.document), json.loads(kept.assessment)
    return WholeCase(row, document, assessment, list_differences(document, assessment), log.read_rows(workshop, case_id))


def rebuild(workshop: Workshop) -> int:
    """Drop every projection of the workshop and make it again from the log; return the number of cases."""
    workshop.lock()
    for model in (CaseWord, CaseDocument, PhotoRef, Case):
        workshop.run(workshop.delete(model))
    workshop.session.expire_all()
    ids = log.list_case_ids(workshop)
    for case_id in ids:
        project_case(workshop, case_id)
    return len(ids)


def write_entry(workshop: Workshop, case_id: str, person_id: str, kind: str, body: dict) -> None:
    """Write an entry at a desk, through the same door as a phone's. *Refuses* with the problems of the entry."""
    workshop.lock()
    rows = log.read_rows(workshop, case_id)
    if not rows:
        raise NotFound("There is no such case in this workshop. Go back to the list of cases.")
    clock = max(json.loads(row.content)["clock"] for row in rows) + 1
    entry = {
        "id": new_id(),
        "case": case_id,
        "device": OFFICE_DEVICE,
        "seq": log.next_seq(workshop, OFFICE_DEVICE),
        "clock": clock,
        "at": now(),
        "by": person_id,
        "kind": kind,
        "body": body,
    }
    arrival = append_entries(workshop, [entry], OFFICE_DEVICE)[0]
    if arrival.status == "refused":
        raise Refusal(arrival.problems[0]["code"], arrival.problems[0]["field"], arrival.problems[0]["text"])
