"""Taking out of a case who it was for, while what was measured stays and the log still proves itself.

Erased are registration, VIN and description, every text that somebody wrote freely, and the photos; readings, steps,
verdicts, faults and who of the workshop did what remain. The entry keeps its place and its chain: its salt is thrown away,
the salted hash stays (see `store.log`), and an entry of kind `personal_data_erased` says who, when and why, and seals what
is left by its sum. Phones hear of it with the sync and drop the case. What a phone that was away still sends of such a case
is kept, listed as due, and erased with the next run.
"""

import hashlib
import json
from typing import NamedTuple

from sqlalchemy import func

from webapp.engine.entries import BODIES
from webapp.store import cases, log
from webapp.store.db import Database
from webapp.store.models import Case, Entry, Photo, PhotoRef
from webapp.store.photos import NO_PHOTO, take_off
from webapp.store.refusals import Conflict, NotFound
from webapp.store.scope import Workshop
from webapp.store.shape import write_content

MARK = "(erased)"
FREE_TEXTS = ("text", "text!", "reason", "reason!")
NAMES = {"vehicle_set": ("registration", "vin")}  # taken out whole: a mark in their place would be searched and counted
BY_TIMER = "retention"  # in place of a person where the workshop's own setting erases


class Erased(NamedTuple):
    """How many entries were changed; `photos` are to be taken off the shelf once this is committed."""

    entries: int
    photos: list[str]


def clean_limits(body: dict) -> dict:
    """Reasons of limits that were changed for the case are free texts too."""
    overrides = body.get("overrides")
    if not isinstance(overrides, dict):
        return body
    cleaned = {name: {**row, "reason": MARK} if isinstance(row, dict) else row for name, row in overrides.items()}
    return {**body, "overrides": cleaned}


def clean_body(kind: str, body: dict) -> dict:
    """A body without what could tell whose vehicle it was; what no entry kind of this version explains goes as a whole."""
    if kind not in BODIES:
        return {}
    texts = [name for name, wanted in BODIES[kind].items() if wanted in FREE_TEXTS and kind != log.ERASURE]
    cleaned = {**body, **{name: MARK for name in texts if body.get(name)}}
    cleaned |= {name: "" for name in NAMES.get(kind, ()) if body.get(name)}
    if kind == "photo_added":
        cleaned["sha256"] = NO_PHOTO
    if kind == "rise_recorded":
        cleaned.pop("name", None)  # that of a file
    return clean_limits(cleaned) if kind == "limits_set" else cleaned


def clean_content(row: Entry) -> str:
    entry = json.loads(row.content)
    return write_content({**entry, "body": clean_body(entry["kind"], entry["body"])})


def list_dirty(rows: list[Entry]) -> list[tuple[Entry, str]]:
    """The entries that tell something personal, each with what would be left of it."""
    cleaned = [(row, clean_content(row)) for row in rows]
    return [(row, left) for row, left in cleaned if left != row.content]


def erase_row(row: Entry, left: str) -> None:
    if not row.digest:
        row.digest = log.hash_salted(row.salt, row.content) if row.salt else log.NO_DIGEST
    row.salt, row.content = None, left


def sum_erased(rows: list[Entry]) -> str:
    """What the statement of an erasure seals: all that is left of erased entries before it."""
    return hashlib.sha256("\n".join(row.content for row in rows if row.digest).encode()).hexdigest()


def erase_case(workshop: Workshop, case_id: str, person_id: str, reason: str) -> Erased:
    """*Refuses* with Conflict when nothing personal is left. Call `drop_photos` after the commit."""
    workshop.lock()
    rows = log.read_rows(workshop, case_id)
    if not rows:
        raise NotFound("There is no such case in this workshop. Go back to the list of cases.")
    dirty = list_dirty(rows)
    if not dirty:
        raise Conflict("nothing_left", "case", "case: nothing personal is left in it; nothing had to be erased")
    sums = [json.loads(row.content)["body"].get("sha256") for row, _ in dirty if row.kind == "photo_added"]
    for row, left in dirty:
        erase_row(row, left)
    workshop.run(workshop.delete(PhotoRef).where(PhotoRef.case_id == case_id))
    workshop.session.flush()
    body = {"reason": reason, "entries": len(dirty), "sum": sum_erased(rows)}
    cases.write_entry(workshop, case_id, person_id, log.ERASURE, body)
    return Erased(len(dirty), sums)


def drop_photos(database: Database, workshop_id: str) -> int:
    """Take photos off the shelf that no entry speaks of any more: first the file, then its row, so that a run that was cut
    off is finished by the next."""
    with database.reading() as session:
        workshop = Workshop(session, workshop_id)
        spoken = workshop.select(PhotoRef, PhotoRef.sha256).where(PhotoRef.sha256 == Photo.sha256)
        sums = workshop.all(workshop.select(Photo, Photo.sha256).where(~spoken.exists()))
        for sha256 in sums:
            take_off(workshop, database.photos, sha256)
    with database.writing() as session:
        workshop = Workshop(session, workshop_id)
        workshop.lock()
        workshop.run(workshop.delete(Photo).where(Photo.sha256.in_(sums)))
    return len(sums)


def list_late(workshop: Workshop) -> list[str]:
    """Cases of which something came in after their erasure."""
    ends = workshop.select(Entry, Entry.case_id, func.max(Entry.position).label("position"))
    last = ends.where(Entry.kind == log.ERASURE).group_by(Entry.case_id).subquery()
    wanted = workshop.select(Case, Case.id).join(last, (last.c.case_id == Case.id) & (Case.entries > last.c.position))
    return [case_id for case_id in workshop.all(wanted.order_by(Case.id)) if list_dirty(log.read_rows(workshop, case_id))]


def list_erasures(rows: list[Entry]) -> list[dict]:
    """Who, when and why, for pages about a case."""
    entries = [json.loads(row.content) for row in rows if row.kind == log.ERASURE]
    return [{"by": entry["by"], "at": entry["at"], **entry["body"]} for entry in entries]


def find_false_erasure(rows: list[Entry]) -> str | None:
    """What is wrong with erased entries of a log: that nobody says so, or that what is left was changed since."""
    last = max((place for place, row in enumerate(rows) if row.kind == log.ERASURE), default=None)
    erased = [place for place, row in enumerate(rows) if row.digest]
    if erased and (last is None or erased[-1] > last):
        return f"entry {erased[-1] + 1}: it was erased, but no entry says who erased it; restore a backup"
    if last is not None and json.loads(rows[last].content)["body"].get("sum") != sum_erased(rows[:last]):
        return f"entry {last + 1}: what the erasure left was altered since; restore a backup"
    return None
