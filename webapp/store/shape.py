"""The outer shape of an entry (what it says is the engine's to check) and its one written form."""

import json
import math
import re
from datetime import datetime

from marshmallow import RAISE, Schema, ValidationError, fields, validate

LARGEST_ENTRY_BYTES = 64_000
LARGEST_COUNT = 2**53 - 1  # the phone counts in floating point
DEEPEST = 12
UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
PLAIN = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.:-]{0,63}")

is_uuid = validate.Regexp(re.compile(UUID.pattern + r"\Z"), error="write a lower-case uuid")
is_plain = validate.Regexp(re.compile(PLAIN.pattern + r"\Z"), error="write 1 to 64 letters, digits, - or _")
is_count = validate.Range(min=0, max=LARGEST_COUNT)


def is_moment(text: str) -> None:
    try:
        datetime.fromisoformat(text.replace("Z", "+00:00"))
    except ValueError:
        raise ValidationError(f"{text[:30]!r} is not a moment; write one such as 2026-11-24T09:30:00Z") from None


class EntrySchema(Schema):
    """One entry as it travels, both ways."""

    class Meta:
        unknown = RAISE

    id = fields.String(required=True, validate=is_uuid)
    case = fields.String(required=True, validate=is_uuid)
    device = fields.String(required=True, validate=is_plain)
    seq = fields.Integer(required=True, strict=True, validate=is_count)
    clock = fields.Integer(required=True, strict=True, validate=is_count)
    at = fields.String(required=True, validate=[validate.Length(max=40), is_moment])
    by = fields.String(required=True, validate=is_plain)
    kind = fields.String(required=True, validate=is_plain)
    body = fields.Dict(required=True, keys=fields.String())


ENTRY = EntrySchema()


def write_content(entry: dict) -> str:
    """The one written form of an entry: sorted keys, no spaces, ASCII; its bytes are what the chain seals."""
    return json.dumps(entry, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False)


def is_sound(value, depth: int = 0) -> bool:
    """True when nothing lies too deep and every number is finite and within floating point."""
    if isinstance(value, dict):
        return depth < DEEPEST and all(is_sound(part, depth + 1) for part in value.values())
    if isinstance(value, list):
        return depth < DEEPEST and all(is_sound(part, depth + 1) for part in value)
    if isinstance(value, int):
        return abs(value) <= LARGEST_COUNT
    return not isinstance(value, float) or math.isfinite(value)


def list_shape_problems(entry) -> list[dict]:
    """Problems of the outer shape: code, field, text; empty when the entry may go on to the engine's own check."""
    if not isinstance(entry, dict):
        return [{"code": "not_an_entry", "field": "", "text": "an entry is an object with id, case, kind and body"}]
    found = ENTRY.validate(entry)
    if found:
        return [
            {"code": "not_accepted", "field": str(field), "text": f"{field}: {flatten(texts)}"}
            for field, texts in sorted(found.items())
        ]
    if not is_sound(entry["body"]):
        return [
            {
                "code": "not_accepted",
                "field": "body",
                "text": "body: a number is not finite or too large, or it is nested too deep; record it anew",
            }
        ]
    if len(write_content(entry)) > LARGEST_ENTRY_BYTES:
        return [
            {
                "code": "too_large",
                "field": "body",
                "text": f"body: more than {LARGEST_ENTRY_BYTES} bytes; split it into several notes",
            }
        ]
    return []


def flatten(texts) -> str:
    return "; ".join(str(text) for text in texts) if isinstance(texts, list) else json.dumps(texts)
