"""First tables: workshops, people, sign-ins, phones, pairings, tries, the log, photos and the projections."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

ID, MOMENT, SHA256 = sa.String(64), sa.String(24), sa.String(64)
WORD = sa.String(40).with_variant(sa.String(40, collation="C"), "postgresql")


def must(name: str, kind) -> sa.Column:
    return sa.Column(name, kind, nullable=False)


def may(name: str, kind) -> sa.Column:
    return sa.Column(name, kind, nullable=True)


def keyed(table: str, *columns: str) -> sa.PrimaryKeyConstraint:
    return sa.PrimaryKeyConstraint(*columns, name=f"pk_{table}")


def points(table: str, column: str, target: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [target], name=f"fk_{table}_{column}")


def points_to_case(table: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        ["workshop_id", "case_id"], ["cases.workshop_id", "cases.id"], name=f"fk_{table}_workshop_id_case_id"
    )


def one_of(table: str, *columns: str) -> sa.UniqueConstraint:
    return sa.UniqueConstraint(*columns, name=f"uq_{table}_{'_'.join(columns)}")


def in_workshop(table: str) -> sa.ForeignKeyConstraint:
    return points(table, "workshop_id", "workshops.id")


def make_people() -> None:
    op.create_table(
        "workshops", must("id", ID), must("name", sa.String(200)), must("last_feed", sa.BigInteger()),
        must("created_at", MOMENT), keyed("workshops", "id"), one_of("workshops", "name"),
    )  # fmt: skip
    op.create_table(
        "people", must("id", ID), must("workshop_id", ID), must("name", sa.String(200)), may("login", sa.String(200)),
        must("role", sa.String(20)), may("password_hash", sa.String(200)), must("active", sa.Boolean()),
        must("created_at", MOMENT), keyed("people", "id"), one_of("people", "login"), in_workshop("people"),
    )  # fmt: skip
    op.create_index("ix_people_workshop_id", "people", ["workshop_id"])
    op.create_table(
        "sign_ins", must("secret_hash", SHA256), must("workshop_id", ID), must("person_id", ID),
        must("created_at", MOMENT), must("seen_at", MOMENT), keyed("sign_ins", "secret_hash"),
        in_workshop("sign_ins"), points("sign_ins", "person_id", "people.id"),
    )  # fmt: skip
    op.create_index("ix_sign_ins_person_id", "sign_ins", ["person_id"])
    op.create_table(
        "attempts", must("key", sa.String(200)), must("window", sa.BigInteger()), must("count", sa.Integer()),
        keyed("attempts", "key", "window"),
    )  # fmt: skip


def make_devices() -> None:
    op.create_table(
        "devices", must("key", ID), must("workshop_id", ID), must("install", ID), must("person_id", ID),
        must("name", sa.String(200)), must("secret_hash", SHA256), may("app", sa.String(40)), must("paired_at", MOMENT),
        may("seen_at", MOMENT), may("revoked_at", MOMENT), keyed("devices", "key"),
        one_of("devices", "workshop_id", "install"), in_workshop("devices"), points("devices", "person_id", "people.id"),
    )  # fmt: skip
    op.create_table(
        "pairings", must("id", ID), must("workshop_id", ID), must("person_id", ID), must("secret_hash", SHA256),
        must("slot", sa.String(8)), must("code_hash", sa.String(200)), must("made_at", MOMENT),
        must("expires_at", MOMENT), must("tries", sa.Integer()), may("used_at", MOMENT), keyed("pairings", "id"),
        one_of("pairings", "secret_hash"), in_workshop("pairings"), points("pairings", "person_id", "people.id"),
    )  # fmt: skip
    op.create_index("ix_pairings_slot", "pairings", ["slot"])


def make_log() -> None:
    op.create_table(
        "entries", must("workshop_id", ID), must("id", ID), must("case_id", ID), must("device", ID),
        must("kind", sa.String(64)), must("content", sa.Text()), must("feed", sa.BigInteger()),
        must("position", sa.Integer()), must("chain", SHA256), must("received_at", MOMENT),
        keyed("entries", "workshop_id", "id"), one_of("entries", "workshop_id", "feed"),
        one_of("entries", "workshop_id", "case_id", "position"), in_workshop("entries"),
    )  # fmt: skip
    op.create_index("ix_entries_device", "entries", ["workshop_id", "device", "feed"])
    op.create_table(
        "photos", must("workshop_id", ID), must("sha256", SHA256), must("type", sa.String(20)),
        must("size", sa.Integer()), must("width", sa.Integer()), must("height", sa.Integer()),
        must("received_at", MOMENT), keyed("photos", "workshop_id", "sha256"), in_workshop("photos"),
    )  # fmt: skip


def make_projections() -> None:
    op.create_table(
        "cases", must("workshop_id", ID), must("id", ID), must("state", sa.String(20)),
        must("registration", sa.String(200)), must("vin", sa.String(200)), must("description", sa.String(400)),
        may("fault", sa.String(64)), may("pump", sa.String(20)), must("differs", sa.Boolean()),
        must("conflicts", sa.Integer()), must("entries", sa.Integer()), may("problem", sa.Text()),
        may("opened_at", sa.String(40)), must("updated_at", MOMENT), keyed("cases", "workshop_id", "id"),
        in_workshop("cases"),
    )  # fmt: skip
    op.create_index("ix_cases_recent", "cases", ["workshop_id", "updated_at", "id"])
    op.create_index("ix_cases_state", "cases", ["workshop_id", "state", "updated_at", "id"])
    op.create_table(
        "case_documents", must("workshop_id", ID), must("case_id", ID), must("document", sa.Text()),
        must("assessment", sa.Text()), keyed("case_documents", "workshop_id", "case_id"),
        points_to_case("case_documents"),
    )  # fmt: skip
    op.create_table(
        "case_words", must("workshop_id", ID), must("word", WORD), must("case_id", ID),
        keyed("case_words", "workshop_id", "word", "case_id"), points_to_case("case_words"),
    )  # fmt: skip
    op.create_index("ix_case_words_case", "case_words", ["workshop_id", "case_id", "word"])
    op.create_table(
        "photo_refs", must("workshop_id", ID), must("entry_id", ID), must("case_id", ID), must("device", ID),
        must("sha256", SHA256), keyed("photo_refs", "workshop_id", "entry_id"), in_workshop("photo_refs"),
    )  # fmt: skip
    op.create_index("ix_photo_refs_sha256", "photo_refs", ["workshop_id", "sha256"])
    op.create_index("ix_photo_refs_device", "photo_refs", ["workshop_id", "device"])


def upgrade() -> None:
    make_people()
    make_devices()
    make_log()
    make_projections()


def downgrade() -> None:
    for table in (
        "photo_refs",
        "case_words",
        "case_documents",
        "cases",
        "photos",
        "entries",
        "pairings",
        "devices",
        "attempts",
        "sign_ins",
        "people",
        "workshops",
    ):
        op.drop_table(table)
