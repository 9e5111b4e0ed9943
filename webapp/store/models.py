"""The tables. `entries`, `photos` and the `..._versions` are what is remembered; `cases`, `case_documents`, `case_words` and
`photo_refs` are projections of them that `projection.rebuild` can make again, and `waiting` says which of these are
behind. Every table but `attempts` belongs to a workshop."""

from sqlalchemy import (
    BigInteger,
    Boolean,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    MetaData,
    String,
    Text,
    false,
    text,
)
from sqlalchemy import UniqueConstraint as Unique
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

ID = String(64)
MOMENT = String(24)
SHA256 = String(64)
WORD = String(40).with_variant(String(40, collation="C"), "postgresql")  # found by ranges: must sort by code point
NAMES = {
    "ix": "ix_%(column_0_N_label)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    "pk": "pk_%(table_name)s",
}


class Base(DeclarativeBase):
    metadata = MetaData(naming_convention=NAMES)


class WorkshopRow(Base):
    __tablename__ = "workshops"
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    name: Mapped[str] = mapped_column(String(200), unique=True)
    last_feed: Mapped[int] = mapped_column(BigInteger, default=0)
    retention_months: Mapped[int | None] = mapped_column(Integer)
    created_at: Mapped[str] = mapped_column(MOMENT)


class Person(Base):
    __tablename__ = "people"
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    workshop_id: Mapped[str] = mapped_column(ForeignKey("workshops.id"), index=True)
    name: Mapped[str] = mapped_column(String(200))
    login: Mapped[str | None] = mapped_column(String(200), unique=True)
    role: Mapped[str] = mapped_column(String(20))
    password_hash: Mapped[str | None] = mapped_column(String(200))
    active: Mapped[bool] = mapped_column(Boolean, default=True)
    created_at: Mapped[str] = mapped_column(MOMENT)


class SignIn(Base):
    """One signed-in browser; the cookie carries the secret, the table its hash."""

    __tablename__ = "sign_ins"
    secret_hash: Mapped[str] = mapped_column(SHA256, primary_key=True)
    workshop_id: Mapped[str] = mapped_column(ForeignKey("workshops.id"))
    person_id: Mapped[str] = mapped_column(ForeignKey("people.id"), index=True)
    created_at: Mapped[str] = mapped_column(MOMENT)
    seen_at: Mapped[str] = mapped_column(MOMENT)
    proved_at: Mapped[str | None] = mapped_column(MOMENT)
    browser: Mapped[str | None] = mapped_column(String(80))


class Device(Base):
    """A paired phone. `install` is the id under which its entries are written, `key` the public half of its token;
    `next_key` is that of a token which it was handed and has not used yet."""

    __tablename__ = "devices"
    key: Mapped[str] = mapped_column(ID, primary_key=True)
    workshop_id: Mapped[str] = mapped_column(ForeignKey("workshops.id"))
    install: Mapped[str] = mapped_column(ID)
    person_id: Mapped[str] = mapped_column(ForeignKey("people.id"))
    name: Mapped[str] = mapped_column(String(200))
    secret_hash: Mapped[str] = mapped_column(SHA256)
    token_at: Mapped[str | None] = mapped_column(MOMENT)
    next_key: Mapped[str | None] = mapped_column(ID, index=True)
    next_hash: Mapped[str | None] = mapped_column(SHA256)
    app: Mapped[str | None] = mapped_column(String(40))
    paired_at: Mapped[str] = mapped_column(MOMENT)
    seen_at: Mapped[str | None] = mapped_column(MOMENT)
    revoked_at: Mapped[str | None] = mapped_column(MOMENT)
    __table_args__ = (Unique("workshop_id", "install"),)


class Pairing(Base):
    """An invitation for one phone. `slot` is the public start of the typed code, so that a wrong guess hits one row.
    From `asked_at` on it is the phone that asked, with the token it will have once the office has said yes (`used_at`)."""

    __tablename__ = "pairings"
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    workshop_id: Mapped[str] = mapped_column(ForeignKey("workshops.id"))
    person_id: Mapped[str] = mapped_column(ForeignKey("people.id"))
    secret_hash: Mapped[str] = mapped_column(SHA256, unique=True)
    slot: Mapped[str] = mapped_column(String(8), index=True)
    code_hash: Mapped[str] = mapped_column(String(200))
    made_at: Mapped[str] = mapped_column(MOMENT)
    expires_at: Mapped[str] = mapped_column(MOMENT)
    tries: Mapped[int] = mapped_column(Integer, default=0)
    needs_check: Mapped[bool] = mapped_column(Boolean, default=True)
    install: Mapped[str | None] = mapped_column(ID)
    device_name: Mapped[str | None] = mapped_column(String(200))
    key: Mapped[str | None] = mapped_column(ID, index=True)
    token_hash: Mapped[str | None] = mapped_column(SHA256)
    number: Mapped[str | None] = mapped_column(String(8))
    asked_at: Mapped[str | None] = mapped_column(MOMENT)
    used_at: Mapped[str | None] = mapped_column(MOMENT)
    refused_at: Mapped[str | None] = mapped_column(MOMENT)


class Attempt(Base):
    """How often something guarded was tried within one window of time; shared by all server processes."""

    __tablename__ = "attempts"
    key: Mapped[str] = mapped_column(String(200), primary_key=True)
    window: Mapped[int] = mapped_column(BigInteger, primary_key=True)
    count: Mapped[int] = mapped_column(Integer)


class Entry(Base):
    """One entry as it arrived. `feed` counts in the workshop, `position` in the case; `chain` seals all before it. `salt`
    goes when personal data are erased; `digest`, the salted hash of what stood there, then takes its place (store.log)."""

    __tablename__ = "entries"
    workshop_id: Mapped[str] = mapped_column(ForeignKey("workshops.id"), primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    case_id: Mapped[str] = mapped_column(ID)
    device: Mapped[str] = mapped_column(ID)
    kind: Mapped[str] = mapped_column(String(64))
    content: Mapped[str] = mapped_column(Text)
    feed: Mapped[int] = mapped_column(BigInteger)
    position: Mapped[int] = mapped_column(Integer)
    chain: Mapped[str] = mapped_column(SHA256)
    salt: Mapped[str | None] = mapped_column(String(32))
    digest: Mapped[str | None] = mapped_column(SHA256)
    received_at: Mapped[str] = mapped_column(MOMENT)
    __table_args__ = (
        Unique("workshop_id", "feed"),
        Unique("workshop_id", "case_id", "position"),
        Index("ix_entries_device", "workshop_id", "device", "feed"),
    )


def mark_index(name: str, claim: str) -> Index:
    """An index of the few cases for which a claim holds, the last changed first."""
    only = text(claim)
    return Index(f"ix_cases_{name}", "workshop_id", "updated_at", "id", sqlite_where=only, postgresql_where=only)


class Case(Base):
    """What lists and searches need of a case. `person` has the job: whom the office gave it to, else who opened it;
    `complaints` are ids between spaces; `questions` counts the unanswered, `photos_missing` what a phone still holds."""

    __tablename__ = "cases"
    workshop_id: Mapped[str] = mapped_column(ForeignKey("workshops.id"), primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    state: Mapped[str] = mapped_column(String(20))
    registration: Mapped[str] = mapped_column(String(200))
    vin: Mapped[str] = mapped_column(String(200))
    description: Mapped[str] = mapped_column(String(400))
    fault: Mapped[str | None] = mapped_column(String(64))
    pump: Mapped[str | None] = mapped_column(String(20))
    differs: Mapped[bool] = mapped_column(Boolean)
    conflicts: Mapped[int] = mapped_column(Integer)
    entries: Mapped[int] = mapped_column(Integer)
    problem: Mapped[str | None] = mapped_column(Text)
    opened_at: Mapped[str | None] = mapped_column(String(40))
    updated_at: Mapped[str] = mapped_column(MOMENT)
    person: Mapped[str | None] = mapped_column(ID)
    complaints: Mapped[str] = mapped_column(String(200), default="", server_default="")
    photos_missing: Mapped[int] = mapped_column(Integer, default=0, server_default="0")
    questions: Mapped[int] = mapped_column(Integer, default=0, server_default="0")
    needs_review: Mapped[bool] = mapped_column(Boolean, default=False, server_default=false())
    merged_into: Mapped[str | None] = mapped_column(ID)
    __table_args__ = (
        Index("ix_cases_recent", "workshop_id", "updated_at", "id"),
        Index("ix_cases_state", "workshop_id", "state", "updated_at", "id"),
        *(Index(f"ix_cases_{name}", "workshop_id", name, "updated_at", "id") for name in ("person", "fault", "pump")),
        mark_index("needs_review", "needs_review"),
        mark_index("questions", "questions > 0"),
        mark_index("photos_missing", "photos_missing > 0"),
    )


class Waiting(Base):
    """A case that has grown since it was last projected; while it stands here, its other rows tell of an earlier state."""

    __tablename__ = "waiting"
    workshop_id: Mapped[str] = mapped_column(ForeignKey("workshops.id"), primary_key=True)
    case_id: Mapped[str] = mapped_column(ID, primary_key=True)


class CaseDocument(Base):
    """The folded case and its assessment, kept apart so that the list reads short rows."""

    __tablename__ = "case_documents"
    workshop_id: Mapped[str] = mapped_column(ID, primary_key=True)
    case_id: Mapped[str] = mapped_column(ID, primary_key=True)
    document: Mapped[str] = mapped_column(Text)
    assessment: Mapped[str] = mapped_column(Text)
    __table_args__ = (ForeignKeyConstraint(["workshop_id", "case_id"], ["cases.workshop_id", "cases.id"]),)


class CaseWord(Base):
    """The words under which a case is found."""

    __tablename__ = "case_words"
    workshop_id: Mapped[str] = mapped_column(ID, primary_key=True)
    word: Mapped[str] = mapped_column(WORD, primary_key=True)
    case_id: Mapped[str] = mapped_column(ID, primary_key=True)
    __table_args__ = (
        ForeignKeyConstraint(["workshop_id", "case_id"], ["cases.workshop_id", "cases.id"]),
        Index("ix_case_words_case", "workshop_id", "case_id", "word"),
    )


class Photo(Base):
    """A photo that has arrived; its bytes lie in the data folder under its SHA-256."""

    __tablename__ = "photos"
    workshop_id: Mapped[str] = mapped_column(ForeignKey("workshops.id"), primary_key=True)
    sha256: Mapped[str] = mapped_column(SHA256, primary_key=True)
    type: Mapped[str] = mapped_column(String(20))
    size: Mapped[int] = mapped_column(Integer)
    width: Mapped[int] = mapped_column(Integer)
    height: Mapped[int] = mapped_column(Integer)
    received_at: Mapped[str] = mapped_column(MOMENT)


class PhotoRef(Base):
    """A photo that an entry speaks of, arrived or not, and the phone that holds it."""

    __tablename__ = "photo_refs"
    workshop_id: Mapped[str] = mapped_column(ForeignKey("workshops.id"), primary_key=True)
    entry_id: Mapped[str] = mapped_column(ID, primary_key=True)
    case_id: Mapped[str] = mapped_column(ID)
    device: Mapped[str] = mapped_column(ID)
    sha256: Mapped[str] = mapped_column(SHA256)
    __table_args__ = (
        Index("ix_photo_refs_sha256", "workshop_id", "sha256"),
        Index("ix_photo_refs_case", "workshop_id", "case_id"),
        Index("ix_photo_refs_device", "workshop_id", "device"),
    )


class SavedView(Base):
    """A question to the list of cases that a person asks often: the part of the address after the question mark."""

    __tablename__ = "saved_views"
    workshop_id: Mapped[str] = mapped_column(ForeignKey("workshops.id"), primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    person_id: Mapped[str] = mapped_column(ForeignKey("people.id"))
    name: Mapped[str] = mapped_column(String(80))
    query: Mapped[str] = mapped_column(String(1000))
    __table_args__ = (Unique("workshop_id", "person_id", "name"),)


class LimitVersion(Base):
    """One published version of a profile of the workshop's own limits; a row is written once and never changed. `own` are
    the limits it sets itself, `whole` all that held when it was published: what it builds on may move on, it does not."""

    __tablename__ = "limit_versions"
    workshop_id: Mapped[str] = mapped_column(ForeignKey("workshops.id"), primary_key=True)
    profile: Mapped[str] = mapped_column(String(40), primary_key=True)
    version: Mapped[int] = mapped_column(Integer, primary_key=True)
    name: Mapped[str] = mapped_column(String(80))
    kind: Mapped[str] = mapped_column(String(20))
    base: Mapped[str] = mapped_column(ID)
    own: Mapped[str] = mapped_column(Text)
    whole: Mapped[str] = mapped_column(Text)
    note: Mapped[str] = mapped_column(Text)
    by: Mapped[str] = mapped_column(ID)
    at: Mapped[str] = mapped_column(MOMENT)


class WeightVersion(Base):
    """Weights of the faults that somebody took over from the workshop's confirmed repairs; written once, never changed."""

    __tablename__ = "weight_versions"
    workshop_id: Mapped[str] = mapped_column(ForeignKey("workshops.id"), primary_key=True)
    version: Mapped[int] = mapped_column(Integer, primary_key=True)
    weights: Mapped[str] = mapped_column(Text)
    strength: Mapped[int] = mapped_column(Integer)
    repairs: Mapped[int] = mapped_column(Integer)
    note: Mapped[str] = mapped_column(Text)
    by: Mapped[str] = mapped_column(ID)
    at: Mapped[str] = mapped_column(MOMENT)


class InstrumentVersion(Base):
    """One of the workshop's own instruments as it stood from `at` on; a calibration or a mended figure is a new version.
    `row` is the instrument as the catalogue has them."""

    __tablename__ = "instrument_versions"
    workshop_id: Mapped[str] = mapped_column(ForeignKey("workshops.id"), primary_key=True)
    instrument: Mapped[str] = mapped_column(String(40), primary_key=True)
    version: Mapped[int] = mapped_column(Integer, primary_key=True)
    name: Mapped[str] = mapped_column(String(80))
    serial: Mapped[str] = mapped_column(String(80))
    row: Mapped[str] = mapped_column(Text)
    calibrated_on: Mapped[str] = mapped_column(String(10))
    due_on: Mapped[str] = mapped_column(String(10))
    retired: Mapped[bool] = mapped_column(Boolean, default=False)
    by: Mapped[str] = mapped_column(ID)
    at: Mapped[str] = mapped_column(MOMENT)
