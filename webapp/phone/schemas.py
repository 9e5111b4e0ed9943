"""What the phone's API takes and gives; unknown fields are refused. The OpenAPI document is made from these."""

from marshmallow import RAISE, Schema, fields, validate

from webapp.store.people import ROLES
from webapp.store.photos import LARGEST_BYTES
from webapp.store.shape import LARGEST_COUNT, EntrySchema, is_moment, is_plain, is_uuid

MOST_ENTRIES = 200


class Strict(Schema):
    class Meta:
        unknown = RAISE


class Problem(Strict):
    code = fields.String(required=True)
    field = fields.String(required=True)
    text = fields.String(required=True)


class Errors(Strict):
    error = fields.List(fields.Nested(Problem), required=True)


class PersonOut(Strict):
    id = fields.String(required=True)
    name = fields.String(required=True)
    role = fields.String(required=True, validate=validate.OneOf(ROLES))


class Named(Strict):
    id = fields.String(required=True)
    name = fields.String(required=True)


class PairIn(Strict):
    code = fields.String(required=True, validate=validate.Length(min=1, max=100))
    device_name = fields.String(required=True, validate=validate.Length(min=1, max=100))
    install = fields.String(required=True, validate=is_uuid)


class PairStateOut(Strict):
    """`number` is what the office compares; person and workshop are told once the phone is let in."""

    status = fields.String(required=True, validate=validate.OneOf(("waiting", "paired", "refused", "expired")))
    number = fields.String(required=True)
    device = fields.Nested(Named, required=True)
    person = fields.Nested(PersonOut, required=True, allow_none=True)
    workshop = fields.Nested(Named, required=True, allow_none=True)


class PairOut(PairStateOut):
    token = fields.String(required=True)


class Rows(fields.List):
    """A list whose rows are looked at elsewhere, one by one; here it only has to be a list."""

    def _deserialize(self, value, attr, data, **kwargs):
        if not isinstance(value, list):
            raise self.make_error("invalid")
        return value


class SyncIn(Strict):
    """`entries` are checked one by one, so that a bad one is named and the others go in. `sent_at` is the phone's clock,
    only to tell its owner when it is far off; `own` asks for the phone's own entries too, when its store was lost; `limits`
    is the mark of the workshop's limits that the phone holds, empty for none, left out by a phone that takes none."""

    format = fields.String(required=True, validate=validate.Equal("railcase-sync/1"))
    app = fields.String(required=True, validate=[is_plain, validate.Length(max=40)])
    cursor = fields.Integer(required=True, strict=True, validate=validate.Range(min=0, max=LARGEST_COUNT))
    entries = Rows(fields.Raw(allow_none=True), required=True, validate=validate.Length(max=MOST_ENTRIES))
    sent_at = fields.String(validate=[validate.Length(max=40), is_moment])
    own = fields.Boolean(truthy={True}, falsy={False}, load_default=False)
    limits = fields.String(validate=validate.Length(max=40), load_default=None)


class Result(Strict):
    id = fields.String(required=True, allow_none=True)
    status = fields.String(required=True, validate=validate.OneOf(("stored", "known", "refused")))
    problems = fields.List(fields.Nested(Problem), required=True)


class ClockWarning(Strict):
    """`off_s` is how far the phone's clock runs ahead (negative: behind); `text` is for its owner."""

    off_s = fields.Integer(required=True)
    text = fields.String(required=True)


class DeviceOut(Strict):
    """`last_seq` is the running number of the phone's entry that came last: a phone that has never written it has lost its
    store. `held` is how many of its entries were here before this message: fewer than the phone was told are stored means
    that the server was put back from a backup."""

    id = fields.String(required=True)
    last_seq = fields.Integer(required=True)
    held = fields.Integer(required=True)


class LimitsOut(Strict):
    """Every version of the workshop's profiles, each only with the limits that differ from its base in the catalogue; every
    version of its weights of the faults and of its instruments (`retired`: known, but offered no more)."""

    mark = fields.String(required=True)
    profiles = fields.List(fields.Dict(), required=True)
    weights = fields.List(fields.Dict(), required=True)
    instruments = fields.List(fields.Dict(), required=True)


class SyncOut(Strict):
    results = fields.List(fields.Nested(Result), required=True)
    entries = fields.List(fields.Nested(EntrySchema), required=True)
    cursor = fields.Integer(required=True)
    more = fields.Boolean(required=True)
    photos_wanted = fields.List(fields.String(), required=True)
    people = fields.List(fields.Nested(PersonOut), required=True)
    workshop = fields.Nested(Named, required=True)
    server_time = fields.String(required=True)
    clock_warning = fields.Nested(ClockWarning, required=True, allow_none=True)
    person = fields.Nested(PersonOut, required=True)
    token = fields.String(required=True, allow_none=True)
    device = fields.Nested(DeviceOut, required=True)
    limits = fields.Nested(LimitsOut, required=True, allow_none=True)


class PhotoOut(Strict):
    sha256 = fields.String(required=True)
    stored = fields.Boolean(required=True)


class UploadOut(Strict):
    """`pieces` that have arrived, numbered from 0; all but the last have `piece_bytes` bytes."""

    sha256 = fields.String(required=True)
    stored = fields.Boolean(required=True)
    piece_bytes = fields.Integer(required=True)
    pieces = fields.List(fields.Integer(), required=True)


class PieceOut(Strict):
    sha256 = fields.String(required=True)
    number = fields.Integer(required=True)
    stored = fields.Boolean(required=True)


class FinishIn(Strict):
    type = fields.String(required=True, validate=validate.OneOf(("image/jpeg", "image/png", "image/webp")))
    size = fields.Integer(required=True, strict=True, validate=validate.Range(min=1, max=LARGEST_BYTES))
