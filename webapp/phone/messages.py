"""How messages travel: JSON in, packed or not, and JSON out, packed when the phone takes that and it is worth it."""

import gzip
import json
import zlib
from typing import Any

from flask import Response, request

from webapp.store.refusals import Refusal, TooLarge, WrongType

LARGEST_MESSAGE_BYTES = 2_000_000
SMALLEST_TO_PACK_BYTES = 1_000
GZIP_WINDOW = 31  # zlib's name for "a gzip header, any window"


def refuse_constant(name: str) -> None:
    raise ValueError(f"{name} is not a number that JSON knows")


def read_json() -> Any:
    """The request's JSON. *Refuses* other content types (a foreign page's form could send those) and broken JSON."""
    if request.mimetype != "application/json":
        raise WrongType(
            "wrong_type", "Content-Type", f"Content-Type: {request.mimetype[:40]!r} is not accepted; send application/json"
        )
    try:
        return json.loads(read_body().decode("utf-8"), parse_constant=refuse_constant)
    except (ValueError, RecursionError) as problem:
        raise Refusal("not_json", "", f"The request is not JSON that can be read ({problem}); send it again.") from None


def read_body() -> bytes:
    encoding = request.headers.get("Content-Encoding", "identity").strip().lower()
    if encoding == "identity":
        return request.get_data()
    if encoding != "gzip":
        raise WrongType(
            "wrong_encoding", "Content-Encoding", f"Content-Encoding: {encoding[:40]!r} is not known; send gzip or plain"
        )
    return unpack(request.get_data())


def unpack(packed: bytes) -> bytes:
    """*Refuses* what is no whole gzip, and stops unpacking at the size that a plain message may have."""
    unpacker = zlib.decompressobj(GZIP_WINDOW)
    try:
        data = unpacker.decompress(packed, LARGEST_MESSAGE_BYTES + 1)
    except zlib.error:
        data = b""
    if len(data) > LARGEST_MESSAGE_BYTES:
        text = f"The message unpacks to more than {LARGEST_MESSAGE_BYTES} bytes; send less at a time."
        raise TooLarge("too_large", "", text)
    if not unpacker.eof or unpacker.unused_data:
        raise Refusal("not_gzip", "Content-Encoding", "Content-Encoding: the body is no whole gzip; send it again")
    return data


def pack(response: Response) -> Response:
    """Pack a JSON answer. Nothing secret is in an answer beside what a stranger chose, so its length tells nobody much."""
    response.vary.add("Accept-Encoding")
    plain = response.mimetype == "application/json" and not response.direct_passthrough and not response.content_encoding
    if not plain or not request.accept_encodings["gzip"] or (response.content_length or 0) < SMALLEST_TO_PACK_BYTES:
        return response
    response.set_data(gzip.compress(response.get_data(), 6, mtime=0))
    response.content_encoding = "gzip"
    return response
