"""What the office asks of its list: whose job, which complaint, what wants an answer, a photo or a second look; saved views.

Rows made before know nothing of that, so every case is noted for judging anew (or `railcase rebuild` does it in one go).
"""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

ID = sa.String(64)
COLUMNS = ("merged_into", "needs_review", "questions", "photos_missing", "complaints", "person")
MARKED = {"needs_review": "needs_review", "questions": "questions > 0", "photos_missing": "photos_missing > 0"}
NARROW = ("person", "fault", "pump")


def upgrade() -> None:
    op.add_column("cases", sa.Column("person", ID))
    op.add_column("cases", sa.Column("complaints", sa.String(200), nullable=False, server_default=""))
    op.add_column("cases", sa.Column("photos_missing", sa.Integer(), nullable=False, server_default="0"))
    op.add_column("cases", sa.Column("questions", sa.Integer(), nullable=False, server_default="0"))
    op.add_column("cases", sa.Column("needs_review", sa.Boolean(), nullable=False, server_default=sa.false()))
    op.add_column("cases", sa.Column("merged_into", ID))
    for name in NARROW:
        op.create_index(f"ix_cases_{name}", "cases", ["workshop_id", name, "updated_at", "id"])
    for name, claim in MARKED.items():
        only = sa.text(claim)
        columns = ["workshop_id", "updated_at", "id"]
        op.create_index(f"ix_cases_{name}", "cases", columns, sqlite_where=only, postgresql_where=only)
    op.create_index("ix_photo_refs_case", "photo_refs", ["workshop_id", "case_id"])
    op.create_table(
        "saved_views",
        sa.Column("workshop_id", ID, sa.ForeignKey("workshops.id"), primary_key=True),
        sa.Column("id", ID, primary_key=True),
        sa.Column("person_id", ID, sa.ForeignKey("people.id"), nullable=False),
        sa.Column("name", sa.String(80), nullable=False),
        sa.Column("query", sa.String(1000), nullable=False),
        sa.UniqueConstraint("workshop_id", "person_id", "name"),
    )
    missing = "not exists (select 1 from waiting w where w.workshop_id = c.workshop_id and w.case_id = c.id)"
    op.execute(f"insert into waiting (workshop_id, case_id) select c.workshop_id, c.id from cases c where {missing}")


def downgrade() -> None:
    op.drop_table("saved_views")
    op.drop_index("ix_photo_refs_case", "photo_refs")
    for name in (*NARROW, *MARKED):
        op.drop_index(f"ix_cases_{name}", "cases")
    for name in COLUMNS:
        op.drop_column("cases", name)
