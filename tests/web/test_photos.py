"""Photos: whole pictures of known types, under their own sum, seen by their own workshop only."""

import gzip
import hashlib
import io
import struct
import tracemalloc
import zipfile
import zlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from tests.conftest import BOTH
from webapp.store import photos
from webapp.store.pictures import LARGEST_PIXELS, Picture, inspect_picture
from webapp.store.refusals import Refusal

DATABASES = BOTH


def draw(format_: str = "PNG", size: tuple[int, int] = (8, 6), colour: str = "red") -> bytes:
    file = io.BytesIO()
    Image.new("RGB", size, colour).save(file, format_)
    return file.getvalue()


def speak_of(phone, data: bytes, type_: str = "image/png") -> str:
    """Send the entry that announces a photo; return its sum."""
    sha256 = hashlib.sha256(data).hexdigest()
    phone.sync([phone.entry("photo_added", {"sha256": sha256, "type": type_, "size": max(len(data), 1), "caption": "seat"})])
    return sha256


@pytest.mark.parametrize(("format_", "type_"), [("PNG", "image/png"), ("JPEG", "image/jpeg"), ("WEBP", "image/webp")])
def test_it_is_wanted_stored_and_given_back(technician, apprentice, format_, type_):
    data = draw(format_)
    sha256 = speak_of(technician, data, type_)
    assert technician.sync([])["photos_wanted"] == [sha256]
    assert apprentice.sync([])["photos_wanted"] == []
    assert technician.put_photo(sha256, data, type_).status_code == 201
    assert technician.sync([])["photos_wanted"] == []
    got = apprentice.client.get(f"/api/v1/photos/{sha256}", headers=apprentice.headers)
    assert (got.data, got.content_type) == (data, type_)


def test_sending_twice_is_fine(technician):
    data = draw()
    sha256 = speak_of(technician, data)
    assert [technician.put_photo(sha256, data).status_code for _ in range(2)] == [201, 200]


def test_the_office_sees_it_and_the_other_workshop_does_not(technician, office, other_office, other_workshop):
    data = draw()
    sha256 = speak_of(technician, data)
    technician.put_photo(sha256, data)
    shown = office.get(f"/office/photos/{sha256}")
    assert (shown.data, shown.content_type) == (inspect_picture(data).shown, "image/jpeg")
    assert other_office.get(f"/office/photos/{sha256}").status_code == 404
    assert other_workshop.client.get(f"/api/v1/photos/{sha256}", headers=other_workshop.headers).status_code == 404
    page = office.get(f"/office/cases/{technician.case}").text
    assert f'src="/office/photos/{sha256}"' in page
    assert 'alt="seat"' in page


def refuse(answer, status, code):
    assert (answer.status_code, answer.json["error"][0]["code"]) == (status, code), answer.text


def test_a_wrong_sum_is_refused(technician):
    sha256 = speak_of(technician, draw())
    refuse(technician.put_photo(sha256, draw(colour="blue")), 422, "wrong_sum")


def test_a_photo_that_no_entry_speaks_of_is_refused(technician):
    data = draw()
    refuse(technician.put_photo(hashlib.sha256(data).hexdigest(), data), 409, "photo_unknown")


def test_the_other_workshops_entry_does_not_count(technician, other_workshop):
    data = draw()
    sha256 = speak_of(other_workshop, data)
    refuse(technician.put_photo(sha256, data), 409, "photo_unknown")


NO_PICTURES = [
    ("text", b"hello"), ("empty", b""), ("a page", b"<!doctype html><script>alert(1)</script>"),
    ("a drawing that scripts", b'<svg xmlns="http://www.w3.org/2000/svg"/>'),
    ("a picture of another kind", draw("GIF")), ("broken inside", draw()[:50] + b"x" * 8 + draw()[58:]),
]  # fmt: skip


@pytest.mark.parametrize(("name", "data"), NO_PICTURES, ids=[row[0] for row in NO_PICTURES])
def test_what_is_no_whole_picture_is_refused(technician, name, data):
    refuse(technician.put_photo(speak_of(technician, data), data), 415, "not_a_picture")


@pytest.mark.parametrize("format_", ["PNG", "JPEG", "WEBP"])
@pytest.mark.parametrize("share", [0.6, 0.99])
def test_what_breaks_off_is_said_to(technician, format_, share):
    whole, type_ = draw(format_, (300, 200)), f"image/{format_.lower()}"
    data = whole[: int(len(whole) * share)]
    refuse(technician.put_photo(speak_of(technician, data, type_), data, type_), 415, "cut_short")


def test_the_type_must_be_the_pictures_own(technician):
    data = draw("JPEG")
    refuse(technician.put_photo(speak_of(technician, data, "image/jpeg"), data, "image/png"), 415, "wrong_type")


def test_too_many_bytes_are_refused(technician):
    data = b"x" * (photos.LARGEST_BYTES + 1)
    sha256 = speak_of(technician, data)
    assert technician.put_photo(sha256, data).status_code == 413


def bomb(width: int, height: int) -> bytes:
    """A whole picture of a few kilobytes that unpacks to very many pixels."""
    file = io.BytesIO()
    Image.new("1", (width, height)).save(file, "PNG")
    return file.getvalue()


@pytest.mark.parametrize(("width", "height"), [(5_000, 5_000), (12_000, 12_000), (30_000, 2), (2, 70_000)])
def test_too_many_pixels_are_refused_before_they_are_unpacked(technician, width, height):
    data = bomb(width, height)
    assert len(data) < photos.LARGEST_BYTES / 100
    refuse(technician.put_photo(speak_of(technician, data), data), 413, "too_many_pixels")


def test_a_picture_that_lies_about_its_size_is_refused(technician):
    data = bytearray(draw())
    data[16:24] = b"\x7f\xff\xff\xff" * 2
    assert technician.put_photo(speak_of(technician, bytes(data)), bytes(data)).status_code in (413, 415)


def with_place() -> bytes:
    exif, file = Image.Exif(), io.BytesIO()
    exif[0x8825] = {1: "N", 2: (51.0, 30.0, 0.0)}
    Image.new("RGB", (8, 6)).save(file, "JPEG", exif=exif)
    return file.getvalue()


def with_two_frames(format_: str) -> bytes:
    file, more = io.BytesIO(), Image.new("RGB", (8, 6), "blue")
    Image.new("RGB", (8, 6), "red").save(file, format_, save_all=True, append_images=[more])
    return file.getvalue()


PAGE = b"<script>alert(1)</script>"
LADEN = [
    ("a place", with_place(), "image/jpeg"),
    ("two frames", with_two_frames("PNG"), "image/png"),
    ("a moving picture", with_two_frames("WEBP"), "image/webp"),
    ("a page behind a JPEG", draw("JPEG") + PAGE, "image/jpeg"),
    ("a second end", draw("JPEG") + PAGE + b"\xff\xd9", "image/jpeg"),
    ("a page behind a PNG", draw() + PAGE, "image/png"),
    ("a second PNG", draw() + draw(), "image/png"),
    ("a page behind a WebP", draw("WEBP") + PAGE, "image/webp"),
    ("a zip behind a PNG", draw() + b"PK\x05\x06" + b"\0" * 18, "image/png"),
]


@pytest.mark.parametrize(("name", "data", "type_"), LADEN, ids=[row[0] for row in LADEN])
def test_what_holds_more_than_a_picture_is_refused(technician, name, data, type_):
    refuse(technician.put_photo(speak_of(technician, data, type_), data, type_), 415, "more_than_a_picture")


def zip_bomb() -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("photo.jpg", b"\0" * 50_000_000)
    return file.getvalue()


def png_with_text_bomb() -> bytes:
    """A compressed text chunk of 50 MB in front of the pixels."""
    body = b"zTXtnote\0\0" + zlib.compress(b"\0" * 50_000_000)
    whole = draw()
    return whole[:33] + struct.pack(">I", len(body) - 4) + body + struct.pack(">I", zlib.crc32(body)) + whole[33:]


BOMBS = [
    ("a zip bomb", zip_bomb(), 415, "not_a_picture"),
    ("a gzip bomb", gzip.compress(b"\0" * 50_000_000), 415, "not_a_picture"),
    ("a PNG whose text unpacks for ever", png_with_text_bomb(), 415, "not_a_picture"),
]


@pytest.mark.parametrize(("name", "data", "status", "code"), BOMBS, ids=[row[0] for row in BOMBS])
def test_bombs_are_refused_and_cost_little(technician, name, data, status, code):
    sha256 = speak_of(technician, data)
    tracemalloc.start()
    answer = technician.put_photo(sha256, data)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    refuse(answer, status, code)
    assert peak < 20_000_000


@pytest.mark.parametrize(("format_", "more"), [("JPEG", {"progressive": True}), ("JPEG", {"restart_marker_blocks": 1}),
                                               ("WEBP", {"lossless": True}), ("PNG", {"optimize": True})])  # fmt: skip
def test_pictures_as_encoders_make_them_go_in(technician, format_, more):
    file = io.BytesIO()
    Image.effect_noise((64, 48), 90).convert("RGB").save(file, format_, **more)
    sha256 = speak_of(technician, file.getvalue(), f"image/{format_.lower()}")
    assert technician.put_photo(sha256, file.getvalue(), f"image/{format_.lower()}").status_code == 201


SECRET = b"Quill <script>alert(1)</script>"


def test_what_is_shown_holds_pixels_and_nothing_else(technician, office):
    """A picture may be a page, a name and a camera as well; what leaves the server for a browser is not."""
    exif, file = Image.Exif(), io.BytesIO()
    exif[0x010F], exif[0x0112] = "Quill", 6  # the maker; turned by a quarter
    sharp = Image.new("RGB", (8, 6), "red")
    sharp.save(file, "JPEG", exif=exif, comment=SECRET, icc_profile=SECRET, xmp=SECRET)
    data = file.getvalue()
    technician.put_photo(speak_of(technician, data, "image/jpeg"), data, "image/jpeg")
    shown = office.get(f"/office/photos/{hashlib.sha256(data).hexdigest()}").data
    assert data.count(b"Quill") == 4
    assert b"Quill" not in shown
    with Image.open(io.BytesIO(shown)) as image:
        assert (image.size, dict(image.getexif())) == ((6, 8), {})
        assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


@pytest.mark.parametrize("mode", ["L", "P", "RGBA", "LA", "1", "I;16"])
def test_every_kind_of_pixel_can_be_shown(mode):
    file = io.BytesIO()
    Image.new("RGB", (8, 6)).convert("L").convert(mode if mode != "I;16" else "I").convert(mode).save(file, "PNG")
    with Image.open(io.BytesIO(inspect_picture(file.getvalue()).shown)) as image:
        assert (image.mode, image.size) == ("RGB", (8, 6))


def test_what_is_see_through_is_shown_on_white():
    file = io.BytesIO()
    Image.new("RGBA", (8, 6), (0, 0, 0, 0)).save(file, "PNG")
    with Image.open(io.BytesIO(inspect_picture(file.getvalue()).shown)) as image:
        assert image.getpixel((4, 3)) == (255, 255, 255)


def test_a_copy_that_is_not_there_is_drawn_again(technician, office, database):
    data = draw()
    address = f"/office/photos/{speak_of(technician, data)}"
    technician.put_photo(address[-64:], data)
    first, keys = office.get(address).data, database.photos.list_keys(photos.SHOWN)
    database.photos.remove(keys[0])
    assert office.get(address).data == first
    assert database.photos.list_keys(photos.SHOWN) == keys


def test_bytes_that_were_spoilt_without_a_copy_are_said_to_be(technician, office, database):
    data = draw()
    sha256 = speak_of(technician, data)
    technician.put_photo(sha256, data)
    database.photos.remove(database.photos.list_keys(photos.SHOWN)[0])
    database.photos.write(next(key for key in database.photos.list_keys("") if key.endswith(sha256)), b"x")
    answer = office.get(f"/office/photos/{sha256}")
    assert (answer.status_code, "is damaged" in answer.text) == (404, True)


def picture_or_refusal(data: bytes) -> Picture | Refusal:
    try:
        return inspect_picture(data)
    except Refusal as refusal:
        return refusal


spoilt = {
    "format_": st.sampled_from(["JPEG", "PNG", "WEBP"]),
    "places": st.lists(st.integers(0, 10**6), max_size=4),
    "byte": st.integers(0, 255),
    "cut": st.integers(0, 40),
    "tail": st.binary(max_size=20),
}


@settings(max_examples=150, deadline=None)
@given(**spoilt)
def test_spoilt_pictures_are_pictures_or_refused(format_, places, byte, cut, tail):
    data = bytearray(draw(format_, (16, 12)))
    for place in places:
        data[place % len(data)] = byte
    found = picture_or_refusal(bytes(data[: len(data) - cut]) + tail)
    assert isinstance(found, Refusal) or (found.width * found.height <= LARGEST_PIXELS and inspect_picture(found.shown))


TRICKS = ["..%2f..%2ftest.db", "..", "x" * 64, "A" * 64, "%00" * 64, "0" * 63, "0" * 65, "0" * 62 + "%2f0"]


@pytest.mark.parametrize("name", TRICKS)
def test_tricks_with_the_name_lead_nowhere(technician, office, name):
    assert technician.put_photo(name, draw()).status_code in (404, 405, 422)
    assert technician.client.get(f"/api/v1/photos/{name}", headers=technician.headers).status_code in (404, 405, 422)
    assert office.get(f"/office/photos/{name}").status_code in (404, 422)


def test_nothing_is_left_behind_by_refusals(technician, settings):
    data = draw()
    technician.put_photo(hashlib.sha256(data).hexdigest(), data)
    technician.put_photo(speak_of(technician, b"hello"), b"hello")
    assert not list((settings.data / "photos").rglob("*")) if (settings.data / "photos").exists() else True
