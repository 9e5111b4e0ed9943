"""What holds on SQLite alone: each connection is set up for durability and for several processes."""

import pytest


@pytest.mark.parametrize(
    ("pragma", "value"), [("journal_mode", "wal"), ("synchronous", 2), ("foreign_keys", 1), ("busy_timeout", 15000)]
)
def test_every_connection_is_set_up(database, pragma, value):
    for session_of in (database.reading, database.writing):
        with session_of() as session:
            assert session.connection().exec_driver_sql(f"PRAGMA {pragma}").scalar() == value
