"""The outer shape of an entry (what it says is the engine's to check) and its one written form."""

import json
import math
import re
from datetime import datetime
from functools import lru_cache

from marshmallow import RAISE, Schema, ValidationError, fields, validate

LARGEST_ENTRY_BYTES = 64_000
LONGEST_MOMENT = 40
LARGEST_COUNT = 2**53 - 1  # the phone counts in floating point
MOST_COUNTED = 1_000_000_000  # running numbers and clocks, as the engine has it
DEEPEST = 12
UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
PLAIN = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.:-]{0,63}")

is_uuid = validate.Regexp(re.compile(UUID.pattern + r"\Z"), error="write a lower-case uuid")
is_plain = validate.Regexp(re.compile(PLAIN.pattern + r"\Z"), error="write 1 to 64 letters, digits, - or _")
is_count = validate.Range(min=1, max=MOST_COUNTED)


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
    at = fields.String(required=True, validate=[validate.Length(max=LONGEST_MOMENT), is_moment])
    by = fields.String(required=True, validate=is_plain)
    kind = fields.String(required=True, validate=is_plain)
    body = fields.Dict(required=True, keys=fields.String())


ENTRY = EntrySchema()
KEYS = ENTRY.fields.keys()


WRITER = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False)


def write_content(entry: dict) -> str:
    """The one written form of an entry: sorted keys, no spaces, ASCII; its bytes are what the chain seals."""
    return WRITER.encode(entry)


def is_sound(value, depth: int = 0) -> bool:
    """True when nothing lies too deep and every number is finite and within floating point."""
    if isinstance(value, dict):
        return depth < DEEPEST and all(is_sound(part, depth + 1) for part in value.values())
    if isinstance(value, list):
        return depth < DEEPEST and all(is_sound(part, depth + 1) for part in value)
    if isinstance(value, int):
        return abs(value) <= LARGEST_COUNT
    return not isinstance(value, float) or math.isfinite(value)


@lru_cache(maxsize=4096)
def is_plain_text(text) -> bool:
    """The same few devices, people and kinds come again and again."""
    return type(text) is str and PLAIN.fullmatch(text) is not None


@lru_cache(maxsize=4096)
def is_case(text) -> bool:
    return type(text) is str and UUID.fullmatch(text) is not None


def is_counted(number) -> bool:
    return type(number) is int and 1 <= number <= MOST_COUNTED


def is_dated(text) -> bool:
    try:
        return len(text) <= LONGEST_MOMENT and datetime.fromisoformat(text.replace("Z", "+00:00")) is not None
    except (TypeError, ValueError, AttributeError):
        return False


def is_well_formed(entry: dict) -> bool:
    """What the schema says of nearly every entry, at a tenth of its price; when this is False, the schema decides."""
    try:
        return (
            entry.keys() == KEYS
            and type(entry["id"]) is str
            and UUID.fullmatch(entry["id"]) is not None
            and is_case(entry["case"])
            and is_plain_text(entry["device"])
            and is_plain_text(entry["by"])
            and is_plain_text(entry["kind"])
            and is_counted(entry["seq"])
            and is_counted(entry["clock"])
            and is_dated(entry["at"])
            and type(entry["body"]) is dict
        )
    except TypeError:  # a list or an object where a word should be
        return False


def list_schema_problems(entry: dict) -> list[dict]:
    found = ENTRY.validate(entry)
    return [refuse(str(field), f"{field}: {flatten(texts)}") for field, texts in sorted(found.items())]


def refuse(field: str, text: str, code: str = "not_accepted") -> dict:
    return {"code": code, "field": field, "text": text}


def read_entry(entry) -> tuple[str, list[dict]]:
    """The written form of an entry, and the problems of its outer shape; without any it may go on to the engine's check."""
    if not isinstance(entry, dict):
        return "", [refuse("", "an entry is an object with id, case, kind and body", "not_an_entry")]
    problems = [] if is_well_formed(entry) else list_schema_problems(entry)
    if problems:
        return "", problems
    if not is_sound(entry["body"]):
        return "", [refuse("body", "body: a number is not finite or too large, or it is nested too deep; record it anew")]
    content = write_content(entry)
    if len(content) > LARGEST_ENTRY_BYTES:
        text = f"body: more than {LARGEST_ENTRY_BYTES} bytes; split it into several notes"
        return "", [refuse("body", text, "too_large")]
    return content, []


def flatten(texts) -> str:
    return "; ".join(str(text) for text in texts) if isinstance(texts, list) else json.dumps(texts)
