"""A case from an archive (`store.archive`) taken into a workshop, seals and all; a second time changes nothing.

Limits, weights and instruments of the other workshop stay there: they are not this one's decision, and phones would take
them up. Where a case names some, it is said that it is judged without them here; `assessment.json` says how it was there.
"""

import json
from typing import NamedTuple

from webapp.store import archive, erasure, log, photos, projection
from webapp.store.db import Database
from webapp.store.models import Entry, PhotoRef
from webapp.store.pictures import Picture, inspect_picture
from webapp.store.refusals import Conflict
from webapp.store.scope import Workshop

COLUMNS = ("id", "case_id", "device", "kind", "content", "position", "chain", "salt", "digest", "received_at")


class Taken(NamedTuple):
    case_id: str
    entries: int
    photos: int
    erased: int
    notes: list[str]


def check_same(here: list[Entry], there: list[Entry]) -> None:
    """*Refuses* a log that parted from the one that is here: neither may be thrown away for the other."""
    for mine, other in zip(here, there, strict=False):
        if (mine.id, mine.chain) != (other.id, other.chain):
            text = f"entry {mine.position}: this case is here already and went on differently; both stay as they are"
            raise Conflict("parted", "archive", text)


def check_ids(workshop: Workshop, case_id: str, ids: list[str]) -> None:
    other = workshop.select(Entry, Entry.id).where(Entry.id.in_(ids), Entry.case_id != case_id)
    found = workshop.first(other)
    if found:
        raise Conflict("taken", "archive", f"entry {found}: it is here already, in another case; the archive cannot be true")


def erase_as_there(here: list[Entry], there: list[Entry]) -> int:
    """What was erased where the archive was made is erased here too."""
    erased = [(mine, other) for mine, other in zip(here, there, strict=False) if other.digest and not mine.digest]
    for mine, other in erased:
        mine.salt, mine.digest, mine.content = None, other.digest, other.content
    return len(erased)


def take_rows(workshop: Workshop, found: archive.Archive) -> tuple[int, int]:
    """Append what is not here yet, as it was sealed. Returns how many entries are new, and how many were erased."""
    owner = workshop.lock()
    here = log.read_rows(workshop, found.case_id)
    check_same(here, found.rows)
    new = found.rows[len(here) :]
    check_ids(workshop, found.case_id, [row.id for row in new])
    erased = erase_as_there(here, found.rows)
    workshop.session.flush()
    feed = owner.last_feed
    workshop.add_many(
        Entry,
        [{**{name: getattr(row, name) for name in COLUMNS}, "feed": feed + place} for place, row in enumerate(new, 1)],
    )
    owner.last_feed = feed + len(new)
    if erased:
        workshop.run(workshop.delete(PhotoRef).where(PhotoRef.case_id == found.case_id))
    workshop.session.flush()
    if new or erased:
        projection.project_now(workshop, found.case_id)
    return len(new), erased


def list_notes(workshop: Workshop, found: archive.Archive) -> list[str]:
    """What the case names of its workshop's own that is not the same here, in words."""
    words = {"profiles": "limits", "weights": "weights of the faults", "instruments": "instrument"}
    here = archive.find_own(workshop, found.rows)
    return [
        f"{words[part]} {name}: {'others' if name in here[part] else 'not known'} here; the case is judged "
        f"{'by those' if name in here[part] else 'without them'}, see its assessment.json for how it was judged there"
        for part in words
        for name, row in sorted(found.own.get(part, {}).items())
        if here[part].get(name) != row
    ]


def list_here(workshop: Workshop, found: archive.Archive) -> set[str]:
    """Photos that are not to be brought: they are here, or an erasure here has taken them."""
    rows = log.read_rows(workshop, found.case_id)
    spoken = {json.loads(row.content)["body"].get("sha256") for row in rows if row.kind == "photo_added"}
    return set(photos.list_arrived(workshop, list(found.photos))) | (set(found.photos) - spoken)


def take_in(database: Database, workshop_id: str, data: bytes) -> Taken:
    """*Refuses* archives that are not whole (BadArchive) and those that contradict what is here (Conflict)."""
    found = archive.read_archive(data)
    pictures: dict[str, Picture] = {sha256: inspect_picture(photo) for sha256, photo in found.photos.items()}
    with database.writing() as session:
        workshop = Workshop(session, workshop_id)
        entries, erased = take_rows(workshop, found)
        notes = list_notes(workshop, found)
        wanted = sorted(set(pictures) - list_here(workshop, found))
        keys = {sha256: photos.find_key(workshop, sha256) for sha256 in wanted}
    for sha256, key in keys.items():
        database.photos.write(key, found.photos[sha256])
    with database.writing() as session:
        workshop = Workshop(session, workshop_id)
        for sha256 in wanted:
            photos.note_photo(workshop, sha256, len(found.photos[sha256]), pictures[sha256])
    if erased:
        erasure.drop_photos(database, workshop_id)
    return Taken(found.case_id, entries, len(wanted), erased, notes)
