"""Photos: kept under the SHA-256 of their bytes, one folder a workshop, known to the log before they arrive.

Two files each. The bytes as they came are the proof: the log names them by their sum, `railcase verify` holds them to it,
and phones of the workshop, which check the sum themselves, fetch them. Desks and reports are only ever served the copy
that `store.pictures` draws of them. A copy can be made again from the bytes at any time, so no backup holds it.
"""

import contextlib
import hashlib
import json
import re

from webapp.store.models import Photo, PhotoRef
from webapp.store.moments import now
from webapp.store.pictures import DRAWN_BY, SHOWN_TYPE, Picture, inspect_picture
from webapp.store.refusals import Conflict, NotFound, Refusal, TooLarge, WrongType
from webapp.store.scope import Workshop
from webapp.store.shelves import Shelf

LARGEST_BYTES = 8_000_000
NO_PHOTO = "0" * 64  # in place of the sum of a photo that was erased
SHOWN = "shown"  # the folder of all copies
SHA256 = re.compile(r"[0-9a-f]{64}")


def keep_refs(workshop: Workshop, case_id: str, entries: list[dict]) -> None:
    """Remember which photos a case speaks of and which phone holds them."""
    kept = set(workshop.all(workshop.select(PhotoRef, PhotoRef.entry_id).where(PhotoRef.case_id == case_id)))
    add_refs(workshop, [entry for entry in entries if entry["kind"] == "photo_added" and entry["id"] not in kept])


def note_refs(workshop: Workshop, rows: list[dict]) -> None:
    """The same for entries that have just been written: their photos are asked for in the same answer."""
    add_refs(workshop, [json.loads(row["content"]) for row in rows if row["kind"] == "photo_added"])


def add_refs(workshop: Workshop, entries: list[dict]) -> None:
    refs = [
        {"entry_id": entry["id"], "case_id": entry["case"], "device": entry["device"], "sha256": entry["body"]["sha256"]}
        for entry in entries
        if names_photo(entry)
    ]
    workshop.add_many(PhotoRef, refs)


def names_photo(entry: dict) -> bool:
    sha256 = entry["body"].get("sha256")
    return entry["kind"] == "photo_added" and is_sha256(sha256) and sha256 != NO_PHOTO


def is_sha256(text) -> bool:
    return isinstance(text, str) and SHA256.fullmatch(text) is not None


def list_wanted(workshop: Workshop, device: str, limit: int = 100) -> list[str]:
    """Photos that this phone spoke of and that have not arrived."""
    arrived = workshop.select(Photo, Photo.sha256).where(Photo.sha256 == PhotoRef.sha256)
    wanted = workshop.select(PhotoRef, PhotoRef.sha256).where(PhotoRef.device == device, ~arrived.exists())
    return workshop.all(wanted.distinct().order_by(PhotoRef.sha256).limit(limit))


def list_arrived(workshop: Workshop, sums: list[str]) -> dict[str, Photo]:
    return {photo.sha256: photo for photo in workshop.all(workshop.select(Photo).where(Photo.sha256.in_(sums)))}


def find_key(workshop: Workshop, sha256: str) -> str:
    if not is_sha256(sha256):
        raise NotFound("There is no such photo in this workshop.")
    return f"{workshop.id}/{sha256[:2]}/{sha256}"


def find_shown_key(workshop: Workshop, sha256: str) -> str:
    """Another version of the encoder draws other bytes, so its name is part of the key."""
    return f"{SHOWN}/{find_key(workshop, sha256)}.copies/{DRAWN_BY}.jpg"


def check_sum(data: bytes, sha256: str) -> None:
    if len(data) > LARGEST_BYTES:
        raise TooLarge("too_large", "photo", f"photo: {len(data)} bytes; send at most {LARGEST_BYTES}")
    found = hashlib.sha256(data).hexdigest()
    if not is_sha256(sha256) or found != sha256:
        raise Refusal("wrong_sum", "sha256", f"sha256: the bytes that arrived have {found}; send the photo again")


def check_spoken_of(workshop: Workshop, sha256: str) -> None:
    """Only what an entry of this workshop speaks of may be sent, so nobody fills the disk with anything else."""
    if workshop.first(workshop.select(PhotoRef).where(PhotoRef.sha256 == sha256)) is None:
        raise Conflict("photo_unknown", "sha256", "sha256: no entry speaks of this photo yet; send the entry first")


def store_photo(workshop: Workshop, shelf: Shelf, sha256: str, type_: str, data: bytes) -> Picture:
    """Lay a photo on the shelf. *Refuses* wrong sums, types and sizes, and photos that no entry speaks of.

    Done in a reading session: unpacking a picture takes long, and other phones write meanwhile.
    """
    check_sum(data, sha256)
    check_spoken_of(workshop, sha256)
    picture = inspect_picture(data)
    if picture.type != type_:
        raise WrongType("wrong_type", "Content-Type", f"Content-Type: {type_[:40]!r} was said, {picture.type} came")
    shelf.write(find_key(workshop, sha256), data)
    shelf.write(find_shown_key(workshop, sha256), picture.shown)
    return picture


def note_photo(workshop: Workshop, sha256: str, size: int, picture: Picture) -> bool:
    """Write that a photo lies on the shelf; True when that is new."""
    workshop.lock()
    if list_arrived(workshop, [sha256]):
        return False
    row = {"type": picture.type, "size": size, "width": picture.width, "height": picture.height}
    workshop.add(Photo(sha256=sha256, received_at=now(), **row))
    return True


def read_original(workshop: Workshop, shelf: Shelf, sha256: str) -> tuple[bytes, str]:
    """The bytes as they came and their type, for a phone of this workshop that will check their sum."""
    key = find_key(workshop, sha256)
    photo = list_arrived(workshop, [sha256]).get(sha256)
    if photo is None:
        raise NotFound("There is no such photo in this workshop, or it has not arrived from the phone yet.")
    data = shelf.read(key)
    if data is None:
        raise NotFound("This photo arrived once, but its file is gone from the server. Look for it in a backup.")
    return data, photo.type


def read_photo(workshop: Workshop, shelf: Shelf, sha256: str) -> tuple[bytes, str]:
    """What people are shown of a photo of this workshop, and its type; drawn anew where the copy is not there."""
    key = find_shown_key(workshop, sha256)
    shown = shelf.read(key) if list_arrived(workshop, [sha256]) else None
    if shown is None:
        data, _ = read_original(workshop, shelf, sha256)
        try:
            shown = inspect_picture(data).shown
        except Refusal:
            raise NotFound("This photo's file on the server is damaged. Look for it in a backup.") from None
        with contextlib.suppress(Refusal):  # no room, or the store is away: it is shown all the same
            shelf.write(key, shown)
    return shown, SHOWN_TYPE


def take_off(workshop: Workshop, shelf: Shelf, sha256: str) -> None:
    """Away with its bytes, then with every copy: without the bytes nobody can draw another."""
    shelf.remove(find_key(workshop, sha256))
    for key in shelf.list_keys(find_shown_key(workshop, sha256).rpartition("/")[0]):
        shelf.remove(key)


def drop_copies(shelf: Shelf) -> None:
    """All copies of all workshops, also those of other versions of the encoder; they are drawn again when looked at."""
    for key in shelf.list_keys(SHOWN):
        shelf.remove(key)
