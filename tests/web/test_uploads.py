"""Photos in pieces: any cut costs one piece, any step may be repeated, and nothing half is ever taken for a photo."""

import hashlib
import io
import os
import time

import pytest
from click.testing import CliRunner
from PIL import Image

from tests.conftest import BOTH
from tests.web.test_photos import draw, speak_of
from webapp.cli import main
from webapp.store.uploads import MOST_AGE_S, MOST_PIECES, PIECE_BYTES

DATABASES = BOTH


def big_picture() -> bytes:
    """A whole picture of several pieces."""
    file, side = io.BytesIO(), 300  # 270,000 bytes that nothing packs
    Image.frombytes("RGB", (side, side), os.urandom(3 * side * side)).save(file, "PNG")
    return file.getvalue()


def ask(phone, sha256: str):
    return phone.client.get(f"/api/v1/uploads/{sha256}", headers=phone.headers)


def put(phone, sha256: str, number: int, data: bytes):
    return phone.client.put(
        f"/api/v1/uploads/{sha256}/{number}", data=data, headers=phone.headers, content_type="application/octet-stream"
    )


def finish(phone, sha256: str, size: int, type_: str = "image/png"):
    return phone.client.post(f"/api/v1/uploads/{sha256}/finish", json={"type": type_, "size": size}, headers=phone.headers)


def piece(data: bytes, number: int) -> bytes:
    return data[number * PIECE_BYTES : (number + 1) * PIECE_BYTES]


@pytest.fixture
def data() -> bytes:
    return big_picture()


@pytest.fixture
def sha256(technician, data) -> str:
    return speak_of(technician, data)


def test_pieces_in_any_order_and_repeated_make_the_photo(technician, apprentice, data, sha256, settings):
    assert ask(technician, sha256).json == {"sha256": sha256, "stored": False, "piece_bytes": PIECE_BYTES, "pieces": []}
    for number in (2, 0, 2, 1):
        assert put(technician, sha256, number, piece(data, number)).status_code == 200
    assert ask(technician, sha256).json["pieces"] == [0, 1, 2]
    assert [finish(technician, sha256, len(data)).status_code for _ in range(2)] == [201, 200]
    assert apprentice.client.get(f"/api/v1/photos/{sha256}", headers=apprentice.headers).data == data
    assert ask(technician, sha256).json["stored"] is True
    assert technician.sync([])["photos_wanted"] == []
    assert [path for path in (settings.data / "photos" / "uploads").rglob("*") if path.is_file()] == []


def test_what_is_missing_is_named_and_can_be_sent_later(technician, data, sha256):
    put(technician, sha256, 0, piece(data, 0))
    answer = finish(technician, sha256, len(data))
    assert (answer.status_code, answer.json["error"][0]["code"]) == (409, "incomplete")
    assert "1, 2 of 3" in answer.json["error"][0]["text"]
    for number in (1, 2):
        put(technician, sha256, number, piece(data, number))
    assert finish(technician, sha256, len(data)).status_code == 201


@pytest.mark.parametrize("change", ["short", "other"])
def test_a_piece_that_came_wrong_is_noticed_and_sent_anew(technician, data, sha256, change):
    wrong = {"short": piece(data, 0)[:-1], "other": bytes(PIECE_BYTES)}[change]
    for number, part in enumerate((wrong, piece(data, 1), piece(data, 2))):
        put(technician, sha256, number, part)
    answer = finish(technician, sha256, len(data))
    assert (answer.status_code, answer.json["error"][0]["code"]) == (422, "wrong_sum")
    assert ask(technician, sha256).json["pieces"] == []
    for number in range(3):
        put(technician, sha256, number, piece(data, number))
    assert finish(technician, sha256, len(data)).status_code == 201


REFUSED = [
    ("no piece at all", 0, b"", 413), ("too long a piece", 0, bytes(PIECE_BYTES + 1), 413),
    ("a piece past the largest photo", MOST_PIECES, b"x", 413), ("a negative number", -1, b"x", 404),
]  # fmt: skip


@pytest.mark.parametrize(("name", "number", "part", "status"), REFUSED, ids=[row[0] for row in REFUSED])
def test_pieces_that_fit_no_photo_are_refused(technician, sha256, name, number, part, status):
    assert put(technician, sha256, number, part).status_code == status
    assert ask(technician, sha256).json["pieces"] == []


def test_only_what_an_entry_speaks_of_may_be_sent(technician, other_workshop, data, sha256):
    for phone, name in ((technician, "0" * 64), (other_workshop, sha256)):
        answers = [ask(phone, name), put(phone, name, 0, b"x"), finish(phone, name, 5)]
        assert [(answer.status_code, answer.json["error"][0]["code"]) for answer in answers] == [(409, "photo_unknown")] * 3
    assert ask(technician, "no-such-name").status_code == 404


def test_pieces_of_one_workshop_are_not_seen_by_another(technician, other_workshop, data, sha256):
    put(technician, sha256, 0, piece(data, 0))
    speak_of(other_workshop, data)
    assert ask(other_workshop, sha256).json["pieces"] == []


def test_what_is_no_picture_stays_out_in_pieces_too(technician):
    data = b"hello"
    sha256 = speak_of(technician, data)
    put(technician, sha256, 0, data)
    assert finish(technician, sha256, len(data)).status_code == 415
    assert technician.sync([])["photos_wanted"] == [sha256]


def test_a_batch_never_waits_for_a_photo(technician, data, sha256):
    put(technician, sha256, 0, piece(data, 0))
    assert technician.sync([technician.entry("note_added", {"text": "x"})])["results"][0]["status"] == "stored"
    assert hashlib.sha256(data).hexdigest() == sha256


def test_a_photo_sent_in_one_go_after_all_leaves_no_pieces(technician, data, sha256, settings):
    put(technician, sha256, 0, piece(data, 0))
    assert technician.put_photo(sha256, data).status_code == 201
    assert [path for path in (settings.data / "photos" / "uploads").rglob("*") if path.is_file()] == []


def age(settings, sha256: str, number: int, seconds: float) -> None:
    file = next((settings.data / "photos" / "uploads").rglob(f"{sha256}/{number:04d}"))
    os.utime(file, (time.time() - seconds,) * 2)


def leave_two_uploads(technician, data, sha256, settings) -> str:
    """One of which nothing has come for long, and one whose last piece is young; return the name of the young one."""
    young = speak_of(technician, other := big_picture())
    for name, whole in ((sha256, data), (young, other)):
        for number in (0, 1):
            put(technician, name, number, piece(whole, number))
        age(settings, name, 0, MOST_AGE_S + 60)
    age(settings, sha256, 1, MOST_AGE_S + 60)
    return young


def test_pieces_that_nobody_goes_on_with_are_swept_when_another_photo_is_whole(technician, data, sha256, settings):
    young = leave_two_uploads(technician, data, sha256, settings)
    small = draw()
    assert technician.put_photo(speak_of(technician, small), small).status_code == 201
    assert (ask(technician, sha256).json["pieces"], ask(technician, young).json["pieces"]) == ([], [0, 1])


def test_the_command_sweeps_what_is_old_and_a_phone_may_still_go_on(technician, data, sha256, settings):
    leave_two_uploads(technician, data, sha256, settings)
    given = {"RAILCASE_DATA": str(settings.data), "RAILCASE_DATABASE_URL": settings.database_url}
    said = [CliRunner().invoke(main, ["sweep"], env=given).output for _ in range(2)]
    assert said == ["1 unfinished photos swept.\n", "0 unfinished photos swept.\n"]
    for number in range(3):
        put(technician, sha256, number, piece(data, number))
    assert finish(technician, sha256, len(data)).status_code == 201
