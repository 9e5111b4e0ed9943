"""Seals that outlive erased words, how long cases are kept, learnt weights, instruments."""

import hashlib

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

ID, MOMENT, DAY = sa.String(64), sa.String(24), sa.String(10)


def upgrade() -> None:
    op.add_column("entries", sa.Column("salt", sa.String(32)))
    op.add_column("entries", sa.Column("digest", ID))
    op.add_column("workshops", sa.Column("retention_months", sa.Integer()))
    op.create_table(
        "weight_versions",
        sa.Column("workshop_id", ID, sa.ForeignKey("workshops.id"), primary_key=True),
        sa.Column("version", sa.Integer(), primary_key=True),
        sa.Column("weights", sa.Text(), nullable=False),
        sa.Column("strength", sa.Integer(), nullable=False),
        sa.Column("repairs", sa.Integer(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("by", ID, nullable=False),
        sa.Column("at", MOMENT, nullable=False),
    )
    op.create_table(
        "instrument_versions",
        sa.Column("workshop_id", ID, sa.ForeignKey("workshops.id"), primary_key=True),
        sa.Column("instrument", sa.String(40), primary_key=True),
        sa.Column("version", sa.Integer(), primary_key=True),
        sa.Column("name", sa.String(80), nullable=False),
        sa.Column("serial", sa.String(80), nullable=False),
        sa.Column("row", sa.Text(), nullable=False),
        sa.Column("calibrated_on", DAY, nullable=False),
        sa.Column("due_on", DAY, nullable=False),
        sa.Column("retired", sa.Boolean(), nullable=False),
        sa.Column("by", ID, nullable=False),
        sa.Column("at", MOMENT, nullable=False),
    )


def seal_anew() -> None:
    """An earlier program knows of no salts, so it is handed chains over the entries themselves, as it makes them."""
    entries = sa.table(
        "entries", *(sa.column(name) for name in ("workshop_id", "id", "case_id", "position", "content", "chain"))
    )
    key = (entries.c.workshop_id, entries.c.case_id)
    rows = op.get_bind().execute(sa.select(*key, entries.c.id, entries.c.content).order_by(*key, entries.c.position)).all()
    case, chain = None, ""
    for workshop_id, case_id, entry_id, content in rows:
        before = chain if case == (workshop_id, case_id) else "0" * 64
        case, chain = (workshop_id, case_id), hashlib.sha256(f"{before}\n{content}".encode()).hexdigest()
        mine = (entries.c.workshop_id == workshop_id) & (entries.c.id == entry_id)
        op.execute(entries.update().where(mine).values(chain=chain))


def downgrade() -> None:
    seal_anew()
    op.drop_table("instrument_versions")
    op.drop_table("weight_versions")
    op.drop_column("workshops", "retention_months")
    op.drop_column("entries", "digest")
    op.drop_column("entries", "salt")
