"""Errors of the database that are nobody's fault here: told apart from our bugs, and turned into plain refusals."""

import logging
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError, OperationalError

from webapp.store.refusals import Away, NoRoom, Refusal

logger = logging.getLogger("railcase")

# What SQLite says in words.
SQLITE_FULL = ("database or disk is full", "disk I/O error")
SQLITE_AWAY = ("readonly database", "unable to open database", "database is locked")
# What PostgreSQL says by the start of its SQLSTATE (manual, appendix A: 08 connection, 25006 read-only transaction, 53
# out of resources, 57P being shut down). Without a state the server did not answer at all.
POSTGRES_FULL = ("53100",)
POSTGRES_AWAY = ("08", "25006", "53", "57P")


def read_trouble(error: DBAPIError) -> Refusal | None:
    """The refusal that an error means; None when the statement itself was at fault: that is our bug."""
    said, state = str(error.orig), getattr(error.orig, "sqlstate", None)
    on_sqlite = type(error.orig).__module__ == "sqlite3"
    if any(words in said for words in SQLITE_FULL) if on_sqlite else (state or "").startswith(POSTGRES_FULL):
        return NoRoom("database", f"database: its disk is full ({first_line(error)})")
    if on_sqlite:
        is_away = any(words in said for words in SQLITE_AWAY)
    else:
        is_away = state.startswith(POSTGRES_AWAY) if state else isinstance(error, OperationalError)
    if is_away or error.connection_invalidated:
        return Away("database", f"database: it cannot be used just now ({first_line(error)})")
    return None


def first_line(error: DBAPIError) -> str:
    return (str(error.orig).strip().splitlines() or [""])[0][:200]


@contextmanager
def plain_trouble() -> Iterator[None]:
    """*Refuses* with NoRoom or Away what the database cannot do just now; anything else goes on as it is."""
    try:
        yield
    except DBAPIError as error:
        refusal = read_trouble(error)
        if refusal is None:
            raise
        logger.error("database: %s", first_line(error))
        raise refusal from error
