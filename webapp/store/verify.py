"""Is what is stored what was once written? Chains of entries, photos against their sums, projections against the log."""

import hashlib
import json
from collections.abc import Iterator
from typing import NamedTuple

from webapp.store import erasure, log, photos, projection
from webapp.store.db import Database
from webapp.store.models import Case, CaseDocument, CaseWord, Entry, Photo, PhotoRef, Waiting
from webapp.store.pictures import inspect_picture
from webapp.store.scope import Workshop, list_workshops


class Found(NamedTuple):
    """`problems` name what is wrong, each with where to look; the counts say how much was looked at."""

    entries: int
    cases: int
    photos: int
    waiting: int
    problems: list[str]


def verify(database: Database) -> Found:
    """Look at everything; nothing is changed."""
    counts = {"entries": 0, "cases": 0, "photos": 0, "waiting": 0}
    problems: list[str] = []
    with database.reading() as session:
        for workshop in list_workshops(session):
            name = workshop.row().name
            problems += [f"workshop {name!r}: {text}" for text in verify_workshop(workshop, database, counts)]
    return Found(**counts, problems=problems)


def verify_workshop(workshop: Workshop, database: Database, counts: dict[str, int]) -> Iterator[str]:
    waiting = set(workshop.all(workshop.select(Waiting, Waiting.case_id)))
    case_ids = log.list_case_ids(workshop)
    counts["waiting"] += len(waiting)
    last = workshop.row().last_feed
    for case_id in case_ids:
        rows = log.read_rows(workshop, case_id)
        counts["entries"] += len(rows)
        counts["cases"] += 1
        yield from (f"case {case_id}, {text}" for text in verify_entries(rows, last))
        if case_id not in waiting:
            yield from (f"case {case_id}: {text}" for text in verify_projection(workshop, case_id, rows))
    for case_id in sorted(set(workshop.all(workshop.select(Case, Case.id))) - set(case_ids)):
        yield f"case {case_id}: it is listed, but its log has no entry; restore a backup, or run 'railcase rebuild'"
    yield from verify_photos(workshop, database, counts)


def verify_entries(rows: list[Entry], last: int) -> Iterator[str]:
    chain = log.CHAIN_START
    for place, row in enumerate(rows, start=1):
        entry = json.loads(row.content)
        if (entry["id"], entry["case"], entry["device"], entry["kind"]) != (row.id, row.case_id, row.device, row.kind):
            yield f"entry {row.id}: its columns say something else than its content"
        if row.feed > last:
            yield f"entry {row.id}: its feed number {row.feed} is past the workshop's last, {last}"
        if row.position != place or not log.follows(chain, row):
            yield f"entry {place} ({row.id}): it does not follow from those before it; the log was altered here"
            return
        chain = row.chain
    false = erasure.find_false_erasure(rows)
    if false:
        yield false


def verify_projection(workshop: Workshop, case_id: str, rows: list[Entry]) -> Iterator[str]:
    """What lists and pages show must be what the log gives; `railcase rebuild` mends it."""
    made = projection.project(workshop, rows)
    case = workshop.first(workshop.select(Case).where(Case.id == case_id))
    kept = workshop.first(workshop.select(CaseDocument).where(CaseDocument.case_id == case_id))
    words = workshop.all(workshop.select(CaseWord, CaseWord.word).where(CaseWord.case_id == case_id))
    spoken = workshop.all(workshop.select(PhotoRef, PhotoRef.entry_id).where(PhotoRef.case_id == case_id))
    wrong = [name for name, value in made.row.items() if case is None or getattr(case, name) != value]
    if kept is None or kept.document != json.dumps(made.document, sort_keys=True):
        wrong.append("document")
    if kept is None or kept.assessment != json.dumps(made.assessment, sort_keys=True):
        wrong.append("assessment")
    if set(words) != projection.list_words(made):
        wrong.append("search words")
    if set(spoken) != {entry["id"] for entry in made.entries if photos.names_photo(entry)}:
        wrong.append("photo list")
    if wrong:
        yield f"{', '.join(wrong)} not as its log says; run 'railcase rebuild'"


def verify_photos(workshop: Workshop, database: Database, counts: dict[str, int]) -> Iterator[str]:
    for photo in workshop.all(workshop.select(Photo).order_by(Photo.sha256)):
        counts["photos"] += 1
        data = database.photos.read(photos.find_key(workshop, photo.sha256))
        if data is None:
            yield f"photo {photo.sha256}: its file is gone; restore it from a backup"
        elif hashlib.sha256(data).hexdigest() != photo.sha256:
            yield f"photo {photo.sha256}: its file was altered; restore it from a backup"
        elif not is_shown_as_it_is(workshop, database, photo.sha256, data):
            yield f"photo {photo.sha256}: the copy that is shown is not what its file gives; run 'railcase rebuild'"


def is_shown_as_it_is(workshop: Workshop, database: Database, sha256: str, data: bytes) -> bool:
    """A copy that is not there is drawn when somebody looks."""
    shown = database.photos.read(photos.find_shown_key(workshop, sha256))
    return shown is None or shown == inspect_picture(data).shown
