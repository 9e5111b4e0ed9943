"""A new phone waits for the office's word, tokens are renewed, and a sign-in knows when its password was last given."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

ID, MOMENT, SHA256 = sa.String(64), sa.String(24), sa.String(64)
ADDED = [
    ("devices", "token_at", MOMENT),
    ("devices", "next_key", ID),
    ("devices", "next_hash", SHA256),
    ("pairings", "install", ID),
    ("pairings", "device_name", sa.String(200)),
    ("pairings", "key", ID),
    ("pairings", "token_hash", SHA256),
    ("pairings", "number", sa.String(8)),
    ("pairings", "asked_at", MOMENT),
    ("pairings", "refused_at", MOMENT),
    ("sign_ins", "proved_at", MOMENT),
    ("sign_ins", "browser", sa.String(80)),
]
INDEXED = [("devices", "next_key"), ("pairings", "key")]


def upgrade() -> None:
    for table, column, kind in ADDED:
        op.add_column(table, sa.Column(column, kind, nullable=True))
    op.add_column("pairings", sa.Column("needs_check", sa.Boolean(), nullable=False, server_default=sa.true()))
    for table, column in INDEXED:
        op.create_index(f"ix_{table}_{column}", table, [column])


def downgrade() -> None:
    for table, column in INDEXED:
        op.drop_index(f"ix_{table}_{column}", table)
    with op.batch_alter_table("pairings") as batch:
        batch.drop_column("needs_check")
    for table, column, _ in ADDED:
        with op.batch_alter_table(table) as batch:
            batch.drop_column(column)
