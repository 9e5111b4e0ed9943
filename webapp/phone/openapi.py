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
TOKEN: dict = {"security": [{"phone": []}]}
SHUT = "The token is unknown (`unknown_token`) or shut out (`revoked`)."

# path, method, operation
OPERATIONS: list[tuple[str, str, dict]] = [
    (
        "/api/v1/pair",
        "post",
        {
            "summary": "Turn a pairing code into the phone's own token.",
            "requestBody": {"required": True, "content": refer(schemas.PairIn)},
            "responses": {
                "201": respond("Paired.", refer(schemas.PairOut)),
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
        "/api/v1/sync",
        "post",
        TOKEN
        | {
            "summary": "Send entries, fetch those of the workshop's other devices.",
            "requestBody": {"required": True, "content": refer(schemas.SyncIn)},
            "responses": {
                "200": respond("What became of each entry, and what is new.", refer(schemas.SyncOut)),
                **refuse(s401=SHUT, s413="Too large.", s415="Not JSON.", s422="A field was not accepted."),
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
