"""Shapes of the library's files, one schema a kind of row.

Rules for this file: shapes and values of one row only; what one row says about another is checked in references.py.
Unknown keys are refused everywhere, so that a misspelt key cannot be ignored in silence.
"""

import math
import re
from typing import Any

from marshmallow import RAISE, Schema, ValidationError, fields, validate, validates_schema

LIMIT_BASES = ("published standard", "maker's sheet", "measured", "common practice", "judgement")
SOURCED = ("published standard", "published study", "maker's sheet", "measured", "seen second-hand")
BASES = (*LIMIT_BASES, "published study", "seen second-hand", "from memory")
STATES = ("at rest", "key on", "cranking", "running")
RETURN_STATES = ("cranking", "idling")
SIGNALS = ("WARNING", "CAUTION", "NOTICE")
CODE_KINDS = ("circuit", "performance", "level", "leak", "other")
ID_PATTERN = re.compile(r"^[a-z][a-z0-9]*([_-][a-z0-9]+)*$")
CODE_PATTERN = re.compile(r"^[PCBU][0-3][0-9A-F]{3}$")


class Real(fields.Field):
    """A finite JSON number; text and true/false are not numbers, whatever Python makes of them."""

    def _deserialize(self, value: object, attr: str | None, data: object, **kwargs: object) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise ValidationError(f"{value!r} is not a number; write a plain number such as 2.5")
        return value


def whole(low: int, high: int) -> Any:
    return fields.Integer(required=True, strict=True, validate=validate.Range(low, high))


def ident(**more: Any) -> Any:
    text = "{input!r} is not an id; use lower-case letters, digits, _ or -"
    return fields.String(required=True, validate=validate.Regexp(ID_PATTERN, error=text), **more)


def words(**more: Any) -> Any:
    return fields.String(required=True, validate=validate.Length(1, 400, error="must hold 1 to 400 characters"), **more)


def real(low: float | None = None, high: float | None = None, **more: Any) -> Any:
    return Real(required=True, validate=validate.Range(low, high), **more)


def one_of(choices: tuple, **more: Any) -> Any:
    error = "{input!r} is not one of " + ", ".join(choices)
    return fields.String(required=True, validate=validate.OneOf(choices, error=error), **more)


def flag() -> Any:
    return fields.Boolean(required=True, truthy={True}, falsy={False})


def ids(least: int = 0) -> Any:
    return fields.List(ident(), required=True, validate=validate.Length(min=least))


def lines(least: int = 0) -> Any:
    return fields.List(words(), required=True, validate=validate.Length(min=least))


def rows(schema: type[Schema], least: int = 1) -> Any:
    return fields.List(fields.Nested(schema), required=True, validate=validate.Length(min=least))


class Row(Schema):
    """Base of every row: unknown keys are refused."""

    class Meta:
        unknown = RAISE


class RangeRow(Row):
    low, high = real(), real()

    @validates_schema
    def check_order(self, data: dict, **kwargs: object) -> None:
        if data["low"] >= data["high"]:
            raise ValidationError(f"low {data['low']:g} is not below high {data['high']:g}", "low")


class SourceRow(Row):
    title, edition, clause = words(), words(allow_none=True), words(allow_none=True)


class Provenance(Row):
    """Where a value comes from; a basis that claims a source must name it."""

    basis = one_of(BASES)
    source = fields.Nested(SourceRow, required=True, allow_none=True)

    @validates_schema
    def check_source(self, data: dict, **kwargs: object) -> None:
        if data["basis"] in SOURCED and data["source"] is None:
            raise ValidationError(f"a basis of '{data['basis']}' needs a source with its title", "source")
        if data["basis"] not in SOURCED and data["source"] is not None:
            raise ValidationError(f"a basis of '{data['basis']}' has no source; write null or mend the basis", "source")


class ChoiceRow(Row):
    id, name = ident(), words()


class NamedRow(ChoiceRow):
    help = words()


class LayoutRow(NamedRow):
    safe_default = flag()


class VehicleFile(Row):
    layouts, supplies, complaints = rows(LayoutRow), rows(NamedRow), rows(NamedRow)


class UncertaintyRow(Row):
    absolute, relative = real(0), real(0, 1)


class QuantityRow(Provenance):
    id, name, help = ident(), words(), words()
    kind = one_of(("number", "choice", "list"))
    unit = words(allow_none=True)
    units = lines()
    decimals = whole(0, 4)
    choices = rows(ChoiceRow, 0)
    possible = fields.Nested(RangeRow, required=True, allow_none=True)
    plausible = fields.Nested(RangeRow, required=True, allow_none=True)
    default_uncertainty = fields.Nested(UncertaintyRow, required=True, allow_none=True)
    instruments, layouts, supplies = ids(1), ids(1), ids(1)
    state = one_of(STATES)
    needs_duration = flag()
    slip = real(0, 0.2)
    states = fields.List(one_of(RETURN_STATES), required=True)

    @validates_schema
    def check_kind(self, data: dict, **kwargs: object) -> None:
        """A choice has choices and nothing of a number; a number has all of it."""
        is_choice = data["kind"] == "choice"
        if is_choice == (not data["choices"]):
            raise ValidationError("a choice needs choices, and nothing else has any", "choices")
        for name in ("unit", "possible", "plausible", "default_uncertainty"):
            if is_choice != (data[name] is None):
                raise ValidationError("must be null for a choice and filled in for a number", name)
        if data["units"][:1] != ([] if is_choice else [data["unit"]]):
            raise ValidationError("the canonical unit must come first; a choice has none", "units")

    @validates_schema
    def check_ranges(self, data: dict, **kwargs: object) -> None:
        inner, outer = data["plausible"], data["possible"]
        if inner and outer and not outer["low"] <= inner["low"] < inner["high"] <= outer["high"]:
            raise ValidationError("must lie inside the possible range", "plausible")


class ScalingRow(Row):
    quantity = ident()
    nominal, low, high = real(0), real(0, data_key="from"), real(0, data_key="to")


class TargetRow(Row):
    quantity = ident()
    limit = one_of(("low", "high"))


class LimitRow(Provenance):
    id, quantity, unit, note = ident(), ident(), words(allow_none=True), words()
    basis = one_of(LIMIT_BASES)
    low, high = real(allow_none=True), real(allow_none=True)
    good = ids()
    ratio_high, rate_high, spread_high = (real(0, allow_none=True) for _ in range(3))
    scaled_by = fields.Nested(ScalingRow, required=True, allow_none=True)
    target_from = fields.Nested(TargetRow, required=True, allow_none=True)
    accuracy = real(0, allow_none=True)
    checked_on = fields.Date(required=True, allow_none=True)
    checked_by = words(allow_none=True)

    @validates_schema
    def check_sides(self, data: dict, **kwargs: object) -> None:
        low, high = data["low"], data["high"]
        if low is not None and high is not None and low >= high:
            raise ValidationError(f"low {low:g} is not below high {high:g}", "low")
        if all(data[k] is None for k in ("low", "high", "ratio_high", "rate_high", "spread_high")) and not data["good"]:
            raise ValidationError("a limit without any bound says nothing; give a side, a ratio or good choices", "low")


class ProfileFile(Row):
    id, name = ident(), words()
    version = whole(1, 1_000_000)
    rule = one_of(("simple", "guarded"))
    confidence, pump_probability = real(0.5, 0.9999), real(0.5, 0.9999)
    intrusion_minutes = fields.List(real(0), required=True, validate=validate.Length(equal=4))
    limits = rows(LimitRow)


class StepRow(Row):
    id, text, why = ident(), words(), words()
    caution, quantity = ident(allow_none=True), ident(allow_none=True)
    timer = flag()
    layouts, supplies = ids(1), ids(1)


class CheckFile(Row):
    id, name, purpose, why = ident(), words(), words(), words()
    order, minutes, intrusion = whole(1, 99), whole(1, 240), whole(0, 3)
    can_rule_out, can_point_at, needs, quantities, valid_by = ids(), ids(), ids(), ids(), ids()
    reading_minutes = fields.Dict(keys=ident(), values=real(0), required=True)
    preconditions, equipment = lines(), lines()
    cautions = ids(1)
    steps = rows(StepRow)
    layouts, supplies = ids(1), ids(1)


class ComponentRow(Row):
    id, name = ident(), words()
    layouts, supplies, needs = ids(1), ids(1), ids(1)
    any_of = fields.List(ids(1), required=True)
    cleared_low_by = ids()


class FaultRow(Row):
    id, name, action = ident(), words(), words()
    component = ident(allow_none=True)
    layouts, supplies = ids(1), ids(1)
    prior = real(0)
    basis = one_of(LIMIT_BASES)
    codes = fields.List(words(), required=True)
    complaints, proof, like = ids(), ids(), ids()
    confirm_by = ids(1)


class GateRow(Row):
    id, name, missing_text = ident(), words(), words()
    quantities, layouts, supplies = ids(1), ids(1), ids(1)
    rule = one_of(("pass", "fail_low"))


class FactorRow(Row):
    fault = ident()
    factor = real(0.001, 1000)


class CodeRow(Provenance):
    code = fields.String(required=True, validate=validate.Regexp(CODE_PATTERN, error="{input!r} is not a trouble code"))
    name, note = words(), fields.String(required=True, validate=validate.Length(max=400))
    kind = one_of(CODE_KINDS)
    faults = rows(FactorRow, 0)


class CautionRow(Provenance):
    id, title = ident(), words()
    signal = one_of(SIGNALS)
    text = lines(1)
    acknowledge = flag()


class StatusRow(Row):
    text, status = words(), words()


class InjuryFile(Row):
    do, tell, never = lines(1), lines(1), lines(1)
    sources = rows(StatusRow)


class InstrumentRow(Provenance):
    id, name, note = ident(), words(), words()
    quantities = ids(1)
    unit = words(allow_none=True)
    accuracy_full_scale, accuracy_reading, resolution = real(0, 1), real(0, 1), real(0)
    full_scale, timing_sd_s = real(0, allow_none=True), real(0, allow_none=True)


TABLE = fields.List(whole(0, 1000), required=True, validate=validate.Length(min=2, max=24))
TABLES = fields.Dict(keys=ident(), values=TABLE, required=True)


class SignatureRow(Row):
    shares = fields.List(whole(0, 1000), required=True, validate=validate.Length(min=1, max=12))
    classes = fields.List(TABLES, required=True, validate=validate.Length(min=1, max=12))


class SignatureLayout(Row):
    base = TABLES
    faults = fields.Dict(keys=ident(), values=fields.Nested(SignatureRow), required=True)


class SignatureFile(Row):
    about, basis = words(), one_of(LIMIT_BASES)
    per_mille = whole(1000, 1000)
    layouts = fields.Dict(keys=ident(), values=fields.Nested(SignatureLayout), required=True)


TRACE_DIMENSIONS = ("time", "pressure", "voltage", "current", "speed", "temperature", "share")


class TraceRoleRow(Row):
    dimension = one_of(TRACE_DIMENSIONS)
    words, never = lines(1), lines()
    by_unit_alone = flag()


class TraceColumnsFile(Row):
    format = one_of(("railcase-trace-columns/1",))
    about = words()
    rules = fields.List(fields.String(), required=True)
    head_lines = whole(10, 1000)
    marks = fields.List(fields.Tuple((fields.String(), fields.String())), required=True)
    missing, not_bare = lines(1), lines()
    epoch = fields.List(fields.Tuple((real(0), real(0))), required=True)
    units = fields.Dict(keys=words(), values=fields.Tuple((one_of(TRACE_DIMENSIONS), real(0))), required=True)
    roles = fields.Dict(keys=ident(), values=fields.Nested(TraceRoleRow), required=True)


def find_problems(schema: type[Schema], data: object, many: bool) -> list[tuple[str, str]]:
    """Return (field, text) of everything wrong with the content of one file, in the order of the fields."""
    if not isinstance(data, list if many else dict):
        return [("", f"must hold a {'list' if many else 'single object'}")]
    try:
        schema(many=many).load(data)
    except ValidationError as error:
        return flatten(error.messages)
    return []


def flatten(messages: object, path: str = "") -> list[tuple[str, str]]:
    """Turn nested messages into (field, text) pairs such as ('steps[3].caution', ...)."""
    if isinstance(messages, dict):
        found = []
        for key, inner in messages.items():
            here = f"{path}[{key}]" if isinstance(key, int) else (path if key == "_schema" else f"{path}.{key}")
            found += flatten(inner, here)
        return found
    return [(path.lstrip("."), str(message)) for message in (messages if isinstance(messages, list) else [messages])]
