"""Cases wait here from the moment they grow until they are judged again, so that a sync need not wait for that."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

ID = sa.String(64)


def upgrade() -> None:
    op.create_table(
        "waiting",
        sa.Column("workshop_id", ID, nullable=False),
        sa.Column("case_id", ID, nullable=False),
        sa.PrimaryKeyConstraint("workshop_id", "case_id", name="pk_waiting"),
        sa.ForeignKeyConstraint(["workshop_id"], ["workshops.id"], name="fk_waiting_workshop_id"),
    )


def downgrade() -> None:
    """Earlier programs know no waiting; `railcase rebuild` brings what still waits up to date."""
    op.drop_table("waiting")
