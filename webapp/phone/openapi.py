"""The OpenAPI document of the phone's API, made from its schemas and from one table of its operations."""

from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin
from flask import Flask

from webapp import __version__
from webapp.phone import schemas

PHOTO_TYPES = ("image/jpeg", "image/png", "image/webp")
SHA256 = {"name": "sha256", "in": "path", "required": True, "schema": {"type": "string", "pattern": "^[0-9a-f]{64}$"}}


def refer(schema: type) -> dict:
    return {"application/json": {"schema": schema}}


def respond(text: str, content: dict | None = None) -> dict:
    return {"description": text, **({"content": content} if content else {})}


def refuse(**texts: str) -> dict:
    return {status.removeprefix("s"): respond(text, refer(schemas.Errors)) for status, text in texts.items()}


PICTURE = {type_: {"schema": {"type": "string", "format": "binary"}} for type_ in PHOTO_TYPES}
NUMBER = {"name": "number", "in": "path", "required": True, "schema": {"type": "integer", "minimum": 0}}
PIECE = {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}}
TOKEN: dict = {"security": [{"phone": []}]}
AWAY = "The database cannot be reached just now. Nothing was confirmed; try again after Retry-After."
FULL = "The server's disk is full. Nothing was confirmed; try again after Retry-After."
SHUT = "The token is unknown (`unknown_token`) or shut out (`revoked`)."

# path, method, operation
OPERATIONS: list[tuple[str, str, dict]] = [
    (
        "/api/v1/pair",
        "post",
        {
            "summary": "Turn a pairing code into the phone's own token.",
            "description": "While `status` is `waiting` the token opens nothing: show `number`, and look again.",
            "requestBody": {"required": True, "content": refer(schemas.PairIn)},
            "responses": {
                "201": respond("Paired, or waiting for the office to compare the number.", refer(schemas.PairOut)),
                **refuse(
                    s403="The code is wrong, used or too old.",
                    s413="Too large.",
                    s415="Not JSON.",
                    s422="A field was not accepted.",
                    s429="Too many tries; see Retry-After.",
                ),
            },
        },
    ),
    (
        "/api/v1/pair",
        "get",
        TOKEN
        | {
            "summary": "What the office said of the phone that asked.",
            "responses": {
                "200": respond("Waiting, paired, refused or expired.", refer(schemas.PairStateOut)),
                **refuse(s401="The token is unknown."),
            },
        },
    ),
    (
        "/api/v1/sync",
        "post",
        TOKEN
        | {
            "summary": "Send entries, fetch those of the workshop's other devices.",
            "description": "The body may come with `Content-Encoding: gzip`. Idempotent by entry id: send again after any "
            "doubt. Photos go by themselves afterwards.",
            "requestBody": {"required": True, "content": refer(schemas.SyncIn)},
            "responses": {
                "200": respond("What became of each entry, and what is new.", refer(schemas.SyncOut)),
                **refuse(
                    s401=SHUT, s413="Too large.", s415="Not JSON.", s422="A field was not accepted.", s503=AWAY, s507=FULL
                ),
            },
        },
    ),
    (
        "/api/v1/photos/{sha256}",
        "put",
        TOKEN
        | {
            "summary": "Send a photo that an entry speaks of.",
            "parameters": [SHA256],
            "requestBody": {"required": True, "content": PICTURE},
            "responses": {
                "200": respond("It was here already.", refer(schemas.PhotoOut)),
                "201": respond("Stored.", refer(schemas.PhotoOut)),
                **refuse(
                    s401=SHUT,
                    s409="No entry speaks of it yet.",
                    s413="Too large.",
                    s415="Not such a picture.",
                    s422="The bytes have another sum.",
                    s503=AWAY,
                    s507=FULL,
                ),
            },
        },
    ),
    (
        "/api/v1/photos/{sha256}",
        "get",
        TOKEN
        | {
            "summary": "Fetch a photo of the workshop.",
            "parameters": [SHA256],
            "responses": {"200": respond("The picture.", PICTURE), **refuse(s401=SHUT, s404="No such photo here.")},
        },
    ),
    (
        "/api/v1/uploads/{sha256}",
        "get",
        TOKEN
        | {
            "summary": "Ask which pieces of a photo have arrived.",
            "description": "For photos that an entry of `photos_wanted` names. Send the missing pieces in any order, then "
            "finish. Every piece but the last has `piece_bytes` bytes. All three steps may be repeated after any cut.",
            "parameters": [SHA256],
            "responses": {
                "200": respond("What is here.", refer(schemas.UploadOut)),
                **refuse(s401=SHUT, s404="No such name.", s409="No entry speaks of it yet."),
            },
        },
    ),
    (
        "/api/v1/uploads/{sha256}/{number}",
        "put",
        TOKEN
        | {
            "summary": "Send one piece of a photo.",
            "parameters": [SHA256, NUMBER],
            "requestBody": {"required": True, "content": PIECE},
            "responses": {
                "200": respond("Stored.", refer(schemas.PieceOut)),
                **refuse(
                    s401=SHUT,
                    s404="No such name.",
                    s409="No entry speaks of it yet.",
                    s413="Too large, empty, or too many.",
                    s503=AWAY,
                    s507=FULL,
                ),
            },
        },
    ),
    (
        "/api/v1/uploads/{sha256}/finish",
        "post",
        TOKEN
        | {
            "summary": "Say that all pieces of a photo were sent.",
            "parameters": [SHA256],
            "requestBody": {"required": True, "content": refer(schemas.FinishIn)},
            "responses": {
                "200": respond("It was here already.", refer(schemas.PhotoOut)),
                "201": respond("Stored.", refer(schemas.PhotoOut)),
                **refuse(
                    s401=SHUT,
                    s404="No such name.",
                    s409="Pieces are missing (`incomplete`), or no entry speaks of it yet.",
                    s413="Too large.",
                    s415="Not such a picture, or not JSON.",
                    s422="A field was not accepted, or the pieces make another sum (`wrong_sum`): send all of them anew.",
                    s503=AWAY,
                    s507=FULL,
                ),
            },
        },
    ),
    (
        "/api/v1/openapi.json",
        "get",
        {
            "summary": "This document.",
            "responses": {"200": respond("OpenAPI 3.1.", {"application/json": {"schema": {"type": "object"}}})},
        },
    ),
]


def describe(app: Flask) -> dict:
    """Build the document once per process."""
    kept = app.extensions.get("railcase.openapi")
    if kept is None:
        spec = APISpec(title="railcase", version=__version__, openapi_version="3.1.0", plugins=[MarshmallowPlugin()])
        spec.components.security_scheme("phone", {"type": "http", "scheme": "bearer"})
        for path, method, operation in OPERATIONS:
            spec.path(path=path, operations={method: operation})
        kept = app.extensions["railcase.openapi"] = spec.to_dict()
    return kept
