"""Everything in one database written into another, empty one: from SQLite to PostgreSQL when a workshop outgrows one
machine, and back.

Both are locked against writing meanwhile, all is written in one transaction, and that is only kept once the rows read back
are those that were read. Feed numbers stay as they are, so phones go on from where they were. Photos do not lie in the
database and are not touched.
"""

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

from sqlalchemy import Connection, Table, func, select
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, DataError, NoSuchModuleError

from webapp.settings import Settings
from webapp.store import health
from webapp.store.db import Database, migrate
from webapp.store.models import Base
from webapp.store.refusals import Conflict, Refusal
from webapp.store.trouble import plain_trouble

KINDS = ("sqlite", "postgresql")
ROWS_AT_ONCE = 1_000
SUM_BITS = 256


class Moved(NamedTuple):
    tables: int
    rows: int


def move_database(settings: Settings, source: str, target: str) -> Moved:
    """Write all rows of the database at the address `source` into the one at `target`.

    *Refuses* addresses that cannot be used, a source whose tables are of another version, and a target that holds rows.
    Then, as with any failure, the target is left without rows, and the source is never changed.
    """
    check_address("FROM", source)
    check_address("TO", target)
    if make_url(source) == make_url(target):
        raise Conflict("taken", "TO", "TO: it is the same database as FROM; name an empty one")
    check_source(source)
    old, new = (Database(replace(settings, database_url=address)) for address in (source, target))
    try:
        check_tables(old)
        migrate(replace(settings, database_url=target))
        with lock(old) as reading, lock(new) as writing:
            return Moved(len(Base.metadata.sorted_tables), sum(copy_all(reading, writing)))
    finally:
        old.engine.dispose()
        new.engine.dispose()


def check_address(field: str, address: str) -> None:
    """Passwords may stand in an address: it is not repeated."""
    remedy = "write sqlite:///file.db or postgresql+psycopg://user@host/name"
    try:
        url = make_url(address)
        url.get_dialect().import_dbapi()
    except ArgumentError:
        raise Refusal("not_accepted", field, f"{field}: it is not the address of a database; {remedy}") from None
    except (NoSuchModuleError, ImportError) as problem:
        text = f"{field}: its driver is not there ({problem}); {remedy}, and install the extra 'postgres'"
        raise Refusal("not_accepted", field, text) from None
    if url.get_backend_name() not in KINDS:
        raise Refusal("not_accepted", field, f"{field}: {url.get_backend_name()} is not known here; {remedy}")


def check_source(address: str) -> None:
    """SQLite would make a missing file instead of saying so."""
    url = make_url(address)
    if url.get_backend_name() == "sqlite" and not Path(url.database or "").is_file():
        raise Refusal("missing", "FROM", f"FROM: there is no database at '{url.database}'; check the address")


def check_tables(old: Database) -> None:
    found = health.check_database(old)
    if found != health.FINE:
        raise Refusal("not_accepted", "FROM", f"FROM: {found} (with RAILCASE_DATABASE_URL set to FROM)")


@contextmanager
def lock(database: Database) -> Iterator[Connection]:
    """A transaction beside which nobody writes; kept at the end of the block, or undone whole when the block raises."""
    with plain_trouble(), database.engine.execution_options(writes=True).begin() as connection:  # SQLite: the lock itself
        if connection.dialect.name == "postgresql":
            names = ", ".join(table.name for table in Base.metadata.sorted_tables)
            connection.exec_driver_sql(f"LOCK TABLE {names} IN SHARE ROW EXCLUSIVE MODE")
        yield connection


def copy_all(reading: Connection, writing: Connection) -> Iterator[int]:
    """Copy table by table, those first that others point at; yields the rows of each."""
    for table in Base.metadata.sorted_tables:
        if writing.execute(select(func.count()).select_from(table)).scalar_one():
            raise Conflict("taken", "TO", f"TO: its table {table.name} holds rows already; name an empty database")
    for table in Base.metadata.sorted_tables:
        yield copy_table(table, reading, writing)


def copy_table(table: Table, reading: Connection, writing: Connection) -> int:
    count = 0
    for batch in read_batches(table, reading):
        try:
            writing.execute(table.insert(), batch)
        except DataError as problem:
            text = f"TO: it does not take a row of {table.name} ({problem.orig}); nothing was moved"
            raise Refusal("not_accepted", "TO", text.replace("\n", " ")) from None
        count += len(batch)
    if sum_rows(table, reading) != sum_rows(table, writing):
        raise Refusal("not_whole", "TO", f"TO: {table.name} did not read back as it was written; nothing was moved")
    return count


def read_batches(table: Table, connection: Connection) -> Iterator[list[dict]]:
    """Rows a thousand at a time, so that a large database does not have to fit into memory."""
    rows = connection.execute(select(table), execution_options={"yield_per": ROWS_AT_ONCE})
    for batch in rows.mappings().partitions():
        yield [dict(row) for row in batch]


def sum_rows(table: Table, connection: Connection) -> int:
    """One number for all rows of a table, whatever their order: databases sort text in different ways."""
    total = 0
    for batch in read_batches(table, connection):
        for row in batch:
            total += int.from_bytes(hashlib.sha256(repr(sorted(row.items())).encode()).digest())
    return total % 2**SUM_BITS
