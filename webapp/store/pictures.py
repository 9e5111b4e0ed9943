"""Is it a picture, whole, and no more than that?

The app draws each photo anew before it keeps it, so what it sends knows no place and has nothing behind its end. A picture
that does was not made by the app and is refused: nobody's whereabouts and no second file hidden behind a picture shall lie
on the server. The bytes are kept as they came, because the log names them by their sum. Harmless notes that a browser's own
encoder may write (colours, sizes) are let through.
"""

import io
import re
import struct
import warnings
from typing import NamedTuple

from PIL import Image

from webapp.store.refusals import TooLarge, WrongType

LARGEST_PIXELS = 24_000_000
TYPES = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}
WITHOUT_LENGTH = (0x01, *range(0xD0, 0xD9))  # JPEG markers that stand alone: TEM, RST0 to RST7, SOI
END_OF_IMAGE, START_OF_SCAN = 0xD9, 0xDA
NEXT_MARKER = re.compile(rb"\xff+([^\x00\xff\xd0-\xd7])")  # within a scan: 00 is a stuffed byte, D0 to D7 restart
GPS = 0x8825  # Exif 2.32, table 4: pointer to the GPS part


class Picture(NamedTuple):
    type: str
    width: int
    height: int


def inspect_picture(data: bytes) -> Picture:
    """Decode the whole picture, so that what is stored is one. *Refuses* other types, broken, huge and laden pictures."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(data), formats=list(TYPES)) as image:
                check_size(image)
                image.load()
                check_pure(image, data)
                return Picture(TYPES[image.format or ""], image.width, image.height)
    except (OSError, ValueError, SyntaxError, KeyError, IndexError, struct.error, Image.DecompressionBombError):
        raise WrongType(
            "not_a_picture", "photo", "photo: it is not a whole JPEG, PNG or WebP picture; take it again"
        ) from None


def check_size(image: Image.Image) -> None:
    if image.width * image.height > LARGEST_PIXELS:
        raise TooLarge(
            "too_many_pixels",
            "photo",
            f"photo: {image.width} x {image.height} pixels; send at most {LARGEST_PIXELS // 1_000_000} million",
        )


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
