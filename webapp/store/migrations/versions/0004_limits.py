"""The workshop's own limits, every published version of them."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "limit_versions",
        sa.Column("workshop_id", sa.String(64), sa.ForeignKey("workshops.id"), primary_key=True),
        sa.Column("profile", sa.String(40), primary_key=True),
        sa.Column("version", sa.Integer(), primary_key=True),
        sa.Column("name", sa.String(80), nullable=False),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("base", sa.String(64), nullable=False),
        sa.Column("own", sa.Text(), nullable=False),
        sa.Column("whole", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("by", sa.String(64), nullable=False),
        sa.Column("at", sa.String(24), nullable=False),
    )


def downgrade() -> None:
    op.drop_table("limit_versions")
