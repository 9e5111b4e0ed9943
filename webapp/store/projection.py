"""What lists, searches and pages read of a case, made from its log alone.

Taking entries in is quick; folding and judging the case they touch is not. A sync therefore only notes the case in
`waiting`, and the case is projected right after the answer was sent, or at the latest when somebody looks: `look_at` never
shows an old state, and `catch_up` runs before a list is read. Whatever is interrupted waits on.
"""

import json
import logging
import time
from typing import NamedTuple

from sqlalchemy import func

from webapp.store import judging, log, photos, search
from webapp.store.compare import list_differences, list_reasons
from webapp.store.db import Database
from webapp.store.devices import find_author
from webapp.store.limits import open_workshop_book
from webapp.store.models import Case, CaseDocument, CaseWord, Entry, Photo, PhotoRef, Waiting
from webapp.store.refusals import Refusal
from webapp.store.scope import Workshop

logger = logging.getLogger("railcase")
MOST_AT_ONCE = 200


class Projected(NamedTuple):
    """`row` holds the columns of `cases`, without those that name it."""

    row: dict
    document: dict
    assessment: dict
    entries: list[dict]


def project(workshop: Workshop, rows: list[Entry]) -> Projected:
    """Fold and judge a log."""
    entries = [json.loads(row.content) for row in rows]
    document, assessment, problem = judging.fold_and_judge(entries, open_workshop_book(workshop))
    row = describe(document, assessment, problem)
    row["person"] = find_worker(workshop, document, entries[0])
    row |= {"entries": len(rows), "updated_at": max(row.received_at for row in rows)}
    return Projected(row, document, assessment, entries)


def describe(document: dict, assessment: dict, problem: str | None) -> dict:
    vehicle = document.get("vehicle") or {}
    stated = document.get("outcome") or document.get("concluded") or assessment.get("conclusion") or {}
    return {
        "registration": clean(vehicle.get("registration"), 200),
        "vin": clean(vehicle.get("vin"), 200),
        "description": clean(vehicle.get("description"), 400),
        "state": document.get("state") or "open",
        "fault": clean(stated.get("fault"), 64) or None,  # a phone may have written anything
        "pump": (assessment.get("pump") or {}).get("status"),
        "differs": bool(list_differences(document, assessment)),
        "conflicts": len(document.get("conflicts") or []),
        "problem": problem,
        "opened_at": clean(document.get("opened_at"), 40) or None,
        "complaints": f" {' '.join(document.get('complaints') or [])} ",
        "questions": len(document.get("open_questions") or []),
        "needs_review": bool(list_reasons(document, assessment)),
        "merged_into": (document.get("merged_into") or {}).get("target"),
    }


def find_worker(workshop: Workshop, document: dict, first: dict) -> str | None:
    """Whose job it is: whom the office gave it to, else who opened the case."""
    given = (document.get("job") or {}).get("to")
    author = None if given else find_author(workshop, first["by"], first["device"])
    return clean(given, 64) if given else author.id if author else None


def clean(value, longest: int) -> str:
    """Text that every database can hold: no lone halves of a character, no NUL."""
    return str(value or "").encode("utf-8", "replace").decode().replace("\0", " ").strip()[:longest]


def list_words(made: Projected) -> set[str]:
    notes = [str(note.get("text", "")) for note in made.document.get("notes") or []]
    notes += [str(row.get("text", "")) for row in made.document.get("comments") or []]
    notes.append(str((made.document.get("job") or {}).get("note", "")))
    return search.list_words(made.row["registration"], made.row["vin"], [made.row["description"], *notes])


def keep(workshop: Workshop, case_id: str, made: Projected) -> None:
    """Write a projection. The caller holds the workshop's lock and has made sure that the log has not grown since."""
    case = workshop.first(workshop.select(Case).where(Case.id == case_id)) or workshop.add(Case(id=case_id))
    for name, value in made.row.items():
        setattr(case, name, value)
    workshop.session.flush()
    kept = workshop.first(workshop.select(CaseDocument).where(CaseDocument.case_id == case_id))
    kept = kept or workshop.add(CaseDocument(case_id=case_id))
    kept.document = json.dumps(made.document, sort_keys=True)
    kept.assessment = json.dumps(made.assessment, sort_keys=True)
    search.keep_words(workshop, case_id, list_words(made))
    photos.keep_refs(workshop, case_id, made.entries)
    case.photos_missing = count_missing(workshop, case_id)
    workshop.run(workshop.delete(Waiting).where(Waiting.case_id == case_id))


def count_missing(workshop: Workshop, case_id: str) -> int:
    """How many photos of a case have not arrived."""
    arrived = workshop.select(Photo, Photo.sha256).where(Photo.sha256 == PhotoRef.sha256)
    wanted = workshop.select(PhotoRef, func.count()).where(PhotoRef.case_id == case_id, ~arrived.exists())
    return workshop.first(wanted)


def note_photo(workshop: Workshop, sha256: str) -> None:
    """A photo has arrived: the cases that speak of it miss one less."""
    speaking = workshop.select(PhotoRef, PhotoRef.case_id).where(PhotoRef.sha256 == sha256)
    for case in workshop.all(workshop.select(Case).where(Case.id.in_(speaking))):
        case.photos_missing = count_missing(workshop, case.id)


def project_now(workshop: Workshop, case_id: str) -> None:
    """Within the session that has just written to the case."""
    keep(workshop, case_id, project(workshop, log.read_rows(workshop, case_id)))


def note_waiting(workshop: Workshop, case_ids: set[str]) -> None:
    """The caller holds the workshop's lock."""
    if not case_ids:
        return
    noted = workshop.all(workshop.select(Waiting, Waiting.case_id).where(Waiting.case_id.in_(case_ids)))
    workshop.add_many(Waiting, [{"case_id": case_id} for case_id in sorted(case_ids - set(noted))])


def list_waiting(workshop: Workshop, limit: int = MOST_AT_ONCE) -> list[str]:
    """The newest first: they head the list."""
    return workshop.all(workshop.select(Waiting, Waiting.case_id).order_by(Waiting.case_id.desc()).limit(limit))


def catch_up_one(database: Database, workshop_id: str, case_id: str) -> None:
    """Judge outside the lock, write under it; a case that has grown meanwhile goes on waiting for whoever made it grow."""
    with database.reading() as session:
        workshop = Workshop(session, workshop_id)
        made = project(workshop, log.read_rows(workshop, case_id))
    with database.writing() as session:
        workshop = Workshop(session, workshop_id)
        workshop.lock()
        if log.length(workshop, case_id) == len(made.entries):
            keep(workshop, case_id, made)


def catch_up(database: Database, workshop_id: str, limit_s: float = 5.0) -> int:
    """Project what waits, for at most `limit_s`; return how many cases still wait (at most MOST_AT_ONCE are counted)."""
    end = time.monotonic() + limit_s
    with database.reading() as session:
        waiting = list_waiting(Workshop(session, workshop_id))
    for done, case_id in enumerate(waiting):
        if time.monotonic() > end:
            return len(waiting) - done
        catch_up_one(database, workshop_id, case_id)
    return 0


def catch_up_quietly(database: Database, workshop_id: str) -> None:
    """After an answer was sent: a failure here has nobody to tell, and the cases wait on."""
    try:
        catch_up(database, workshop_id)
    except Refusal as refusal:
        logger.warning("cases wait on: %s", refusal)
    except Exception:
        logger.exception("cases of workshop %s could not be projected", workshop_id)


def look_at(workshop: Workshop, case_id: str, rows: list[Entry]) -> tuple[Case, dict, dict] | None:
    """Row, document and assessment of a case as of its last entry; made on the spot while it waits, and not kept."""
    row = workshop.first(workshop.select(Case).where(Case.id == case_id))
    if rows and (row is None or row.entries != len(rows)):
        made = project(workshop, rows)
        return Case(workshop_id=workshop.id, id=case_id, **made.row), made.document, made.assessment
    kept = workshop.first(workshop.select(CaseDocument).where(CaseDocument.case_id == case_id))
    return (row, json.loads(kept.document), json.loads(kept.assessment)) if row and kept else None


def rebuild(workshop: Workshop) -> int:
    """Drop every projection of the workshop and make it again from the log; return the number of cases."""
    workshop.lock()
    for model in (Waiting, CaseWord, CaseDocument, PhotoRef, Case):
        workshop.run(workshop.delete(model))
    workshop.session.expire_all()
    ids = log.list_case_ids(workshop)
    for case_id in ids:
        project_now(workshop, case_id)
    return len(ids)
