"""Photos that come in pieces, so that a bad link costs one piece and not the photo.

A piece lies on the shelf under `uploads/<workshop>/<sha256>/<number>`; the pieces that are there are the whole state of an
upload, so a phone, the server or both may start again at any moment. Every piece but the last has PIECE_BYTES bytes. Once
they are gathered and their sum is right, the photo goes the way of one that was sent in one go. An upload of which nothing
has come for MOST_AGE_S is swept; a phone that goes on after all sends its pieces anew.
"""

from typing import NamedTuple

from webapp.store import photos
from webapp.store.refusals import Conflict, NotFound, Refusal, TooLarge
from webapp.store.scope import Workshop
from webapp.store.shelves import Shelf

PIECE_BYTES = 131_072  # some 1.5 s at the 750 kbit/s of a poor uplink
MOST_AGE_S = 30 * 86_400  # judgement: longer than a phone lies in a drawer over the holidays
MOST_PIECES = -(-photos.LARGEST_BYTES // PIECE_BYTES)


class State(NamedTuple):
    """`stored`: the photo is here whole, nothing needs sending. `pieces`: the numbers that have arrived, from 0."""

    sha256: str
    stored: bool
    piece_bytes: int
    pieces: list[int]


def uploads_of(workshop: Workshop) -> str:
    return f"uploads/{workshop.id}"


def piece_key(workshop: Workshop, sha256: str, number: int | None = None) -> str:
    folder = f"{uploads_of(workshop)}/{sha256}"
    return folder if number is None else f"{folder}/{number:04d}"


def check_wanted(workshop: Workshop, sha256: str) -> None:
    if not photos.is_sha256(sha256):
        raise NotFound("There is no such photo in this workshop.")
    photos.check_spoken_of(workshop, sha256)


def list_pieces(workshop: Workshop, shelf: Shelf, sha256: str) -> list[int]:
    return [int(key.rpartition("/")[2]) for key in shelf.list_keys(piece_key(workshop, sha256))]


def read_state(workshop: Workshop, shelf: Shelf, sha256: str) -> State:
    check_wanted(workshop, sha256)
    is_stored = bool(photos.list_arrived(workshop, [sha256]))
    return State(sha256, is_stored, PIECE_BYTES, [] if is_stored else list_pieces(workshop, shelf, sha256))


def keep_piece(workshop: Workshop, shelf: Shelf, sha256: str, number: int, data: bytes) -> None:
    """Keep one piece; the same one again replaces it. *Refuses* an empty or over-long one and a number out of range."""
    check_wanted(workshop, sha256)
    if not 0 <= number < MOST_PIECES:
        raise TooLarge("too_large", "number", f"number: piece {number}; a photo has at most {MOST_PIECES}, from 0")
    if not 0 < len(data) <= PIECE_BYTES:
        raise TooLarge("too_large", "piece", f"piece: {len(data)} bytes; send 1 to {PIECE_BYTES}")
    if not photos.list_arrived(workshop, [sha256]):
        shelf.write(piece_key(workshop, sha256, number), data)


def gather(workshop: Workshop, shelf: Shelf, sha256: str, size: int) -> bytes | None:
    """The whole photo from its pieces; None when it is stored already.

    *Refuses* with `incomplete` while pieces are missing, and drops pieces that make another sum: they are sent anew.
    """
    check_wanted(workshop, sha256)
    if photos.list_arrived(workshop, [sha256]):
        return None
    count = -(-size // PIECE_BYTES)
    missing = sorted(set(range(count)) - set(list_pieces(workshop, shelf, sha256)))
    if missing:
        shown = ", ".join(map(str, missing[:20]))
        raise Conflict("incomplete", "pieces", f"pieces: {shown} of {count} have not arrived; send them, then finish again")
    data = b"".join(shelf.read(piece_key(workshop, sha256, number)) or b"" for number in range(count))
    try:
        photos.check_sum(data, sha256)
    except Refusal:
        drop_pieces(workshop, shelf, sha256)
        raise
    return data


def drop_pieces(workshop: Workshop, shelf: Shelf, sha256: str) -> None:
    for key in shelf.list_keys(piece_key(workshop, sha256)):
        shelf.remove(key)


def sweep(workshop: Workshop, shelf: Shelf) -> int:
    """Away with uploads whose last piece came longer ago than MOST_AGE_S; return how many."""
    ages: dict[str, dict[str, float]] = {}
    for key, age in shelf.list_ages(uploads_of(workshop)).items():
        ages.setdefault(key.rpartition("/")[0], {})[key] = age
    old = [pieces for pieces in ages.values() if min(pieces.values()) > MOST_AGE_S]
    for pieces in old:
        for key in pieces:
            shelf.remove(key)
    return len(old)
