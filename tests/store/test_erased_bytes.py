"""What was erased is not on the disk either. SQLite only: PostgreSQL keeps dead rows until its own vacuum."""

from tests.store.test_erasure import SECRETS, erase, fill


def test_not_even_the_files_of_the_database_hold_it(technician, database, settings):
    """The bytes on the disk, free pages included, once the write-ahead log is worked in."""
    case, _ = fill(technician)
    erase(database, case)
    with database.engine.connect() as connection:
        connection.exec_driver_sql("COMMIT")
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    data = b"".join(path.read_bytes() for path in settings.data.glob("test.db*"))
    assert b"crank_pressure" in data
    assert [word for word in SECRETS if word.encode() in data] == []
