"""Is it a picture, whole, and no more than that?

The app draws each photo anew before it keeps it, so what it sends knows no place and has nothing behind its end. A picture
that does was not made by the app and is refused: nobody's whereabouts and no second file hidden behind a picture shall lie
on the server. The bytes are kept as they came, because the log names them by their sum. What is shown is another file,
drawn here from the pixels alone: whatever else the bytes may hold, or hide, is not in it.
"""

import io
import re
import struct
import warnings
from typing import NamedTuple

from PIL import Image, ImageOps, features
from PIL import __version__ as pillow_version

from webapp.store.refusals import TooLarge, WrongType

LARGEST_PIXELS = 24_000_000
LONGEST_SIDE = 20_000  # judgement: past any camera; JPEG itself ends at 65,535
SHOWN_TYPE, SHOWN_QUALITY = "image/jpeg", 88  # judgement: writing on a gauge stays sharp
PAPER = "white"  # behind what is see-through, as on the phone
DRAWN_BY = f"1-{pillow_version}-{features.version('jpg')}"  # the same bytes and the same of these give the same copy
TYPES = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}
STARTS = ((b"\xff\xd8\xff", "JPEG"), (b"\x89PNG\r\n\x1a\n", "PNG"), (b"RIFF", "WEBP"))
WITHOUT_LENGTH = (0x01, *range(0xD0, 0xD9))  # JPEG markers that stand alone: TEM, RST0 to RST7, SOI
END_OF_IMAGE, START_OF_SCAN = 0xD9, 0xDA
NEXT_MARKER = re.compile(rb"\xff+([^\x00\xff\xd0-\xd7])")  # within a scan: 00 is a stuffed byte, D0 to D7 restart
GPS = 0x8825  # Exif 2.32, table 4: pointer to the GPS part


class Picture(NamedTuple):
    """`shown` is what people are shown of it: a JPEG, upright, drawn from the pixels alone."""

    type: str
    width: int
    height: int
    shown: bytes


def inspect_picture(data: bytes) -> Picture:
    """Decode the whole picture, so that what is stored is one. *Refuses* other types, broken, huge and laden pictures."""
    check_end(data)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(data), formats=list(TYPES)) as image:
                check_size(image)
                image.load()
                check_pure(image, data)
                return Picture(TYPES[image.format or ""], image.width, image.height, draw_anew(image))
    except (OSError, ValueError, SyntaxError, KeyError, IndexError, struct.error, Image.DecompressionBombError):
        raise WrongType(
            "not_a_picture", "photo", "photo: it is not a whole JPEG, PNG or WebP picture; take it again"
        ) from None


def draw_anew(image: Image.Image) -> bytes:
    """Nothing goes over but pixels: no Exif, no profile, no comment. Which side is up is applied."""
    upright = ImageOps.exif_transpose(image)
    if upright.has_transparency_data:
        upright = upright.convert("RGBA")
        upright = Image.alpha_composite(Image.new("RGBA", upright.size, PAPER), upright)
    plain, file = upright.convert("RGB"), io.BytesIO()
    plain.info = {}  # the encoder would write a profile or a comment that it finds here
    plain.save(file, "JPEG", quality=SHOWN_QUALITY, optimize=True)
    return file.getvalue()


def check_size(image: Image.Image) -> None:
    if image.width * image.height > LARGEST_PIXELS or max(image.size) > LONGEST_SIDE:
        most = f"{LARGEST_PIXELS // 1_000_000} million, and {LONGEST_SIDE} a side"
        text = f"photo: {image.width} x {image.height} pixels; send at most {most}"
        raise TooLarge("too_many_pixels", "photo", text)


def check_end(data: bytes) -> None:
    """By its first bytes alone: a decoder may not even open what breaks off."""
    kind = next((name for start, name in STARTS if data.startswith(start)), None)
    if kind is None:
        return
    try:
        end = END_OF[kind](data)
    except (IndexError, ValueError, struct.error):
        end = len(data) + 1
    if end > len(data):
        raise WrongType("cut_short", "photo", f"photo: it breaks off after {len(data)} bytes; take it again")


def check_pure(image: Image.Image, data: bytes) -> None:
    more = {
        "the place where it was taken": GPS in image.getexif(),
        "more than one picture": getattr(image, "n_frames", 1) > 1,
        "bytes behind its end": END_OF[image.format or ""](data) != len(data),
    }
    found = ", ".join(name for name, is_there in more.items() if is_there)
    if found:
        text = f"photo: it holds more than a picture ({found}); take it with the app, which draws it anew"
        raise WrongType("more_than_a_picture", "photo", text)


def end_of_jpeg(data: bytes) -> int:
    """Where a JPEG ends: walk its segments (ITU-T T.81 annex B) to the end-of-image marker."""
    at = 0
    while True:
        while data[at + 1] == 0xFF:  # fill bytes
            at += 1
        marker = data[at + 1]
        at += 2
        if marker == END_OF_IMAGE:
            return at
        if marker not in WITHOUT_LENGTH:
            at += int.from_bytes(data[at : at + 2])
        if marker == START_OF_SCAN:
            found = NEXT_MARKER.search(data, at)
            if found is None:
                raise ValueError("no end")
            at = found.end() - 2


def end_of_png(data: bytes) -> int:
    """Where a PNG ends: walk its chunks (length, name, data, sum) to IEND."""
    at = 8
    while True:
        length, name = struct.unpack_from(">I4s", data, at)
        at += 12 + length
        if name == b"IEND":
            return at


def end_of_webp(data: bytes) -> int:
    """Where a WebP ends: its RIFF header says."""
    return 8 + struct.unpack_from("<I", data, 4)[0]


END_OF = {"JPEG": end_of_jpeg, "PNG": end_of_png, "WEBP": end_of_webp}
