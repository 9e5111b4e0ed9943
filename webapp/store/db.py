"""The database: opening it, sessions that read or write, and bringing its tables up to date."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.util import CommandError
from sqlalchemy import Engine, create_engine, event
from sqlalchemy.orm import Session

from webapp.settings import Settings
from webapp.store.buckets import Bucket
from webapp.store.fence import FencedSession
from webapp.store.refusals import Refusal
from webapp.store.shelves import Folder, Shelf
from webapp.store.trouble import plain_trouble

MIGRATIONS = Path(__file__).parent / "migrations"
SQLITE_BUSY_MS = 15_000
# FULL: an answer 'stored' must survive a power cut, because the phone then empties its outbox.
# secure_delete: what was erased must not lie in free pages; most builds do so anyway.
SQLITE_PRAGMAS = (
    "journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", "secure_delete=ON", f"busy_timeout={SQLITE_BUSY_MS}",
)  # fmt: skip


def prepare_sqlite(engine: Engine) -> None:
    """Set the pragmas on each connection and begin every transaction ourselves.

    The driver would begin late and only before a write; then a session that has read and wants to write meets a lock
    that no waiting can resolve. A writing session therefore says BEGIN IMMEDIATE at once.
    """

    @event.listens_for(engine, "connect")
    def set_pragmas(connection, _record) -> None:
        connection.isolation_level = None
        for pragma in SQLITE_PRAGMAS:
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def begin(connection) -> None:
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


class Database:
    """One per process: the pool of connections and the two ways to use it."""

    def __init__(self, settings: Settings):
        self.engine = create_engine(settings.database_url, pool_pre_ping=True)
        self.photos: Shelf = Bucket(settings.photos) if settings.photos else Folder(settings.data / "photos")
        if self.engine.dialect.name == "sqlite":
            prepare_sqlite(self.engine)
        self._writer = self.engine.execution_options(writes=True)
        # PostgreSQL's default would show each statement of a reading session another state; a writing one wants just that,
        # so that what it reads after waiting for a lock is the newest. SQLite's transactions are one view by nature.
        one_view = {} if self.engine.dialect.name == "sqlite" else {"isolation_level": "REPEATABLE READ"}
        self._reader = self.engine.execution_options(**one_view)

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A session over one unchanging view; nothing done in it is kept. *Refuses* with Away while there is no database."""
        with plain_trouble(), FencedSession(self._reader, expire_on_commit=False) as session:
            yield session

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """A session that is committed at the end of the block, or rolled back whole when the block raises.

        *Refuses* with NoRoom or Away when the database takes nothing; then nothing of the block was kept, unless the
        connection broke during the commit itself: senders repeat, and entries and photos are known again by their ids.
        """
        with plain_trouble(), FencedSession(self._writer, expire_on_commit=False) as session, session.begin():
            yield session


def alembic_config(database: Database) -> Config:
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.attributes["engine"] = database.engine
    return config


def migrate(settings: Settings, revision: str = "head") -> None:
    """Bring the tables to the newest revision (or up to the one named). *Refuses* tables that a newer program made."""
    run_revisions(settings, command.upgrade, revision)


def downgrade(settings: Settings, revision: str) -> None:
    """Take the tables back to a revision; `base` drops them all."""
    run_revisions(settings, command.downgrade, revision)


def run_revisions(settings: Settings, run: Callable[[Config, str], None], revision: str) -> None:
    database = Database(settings)
    try:
        run(alembic_config(database), revision)
    except CommandError as problem:
        text = f"database: {problem}; its tables are of a newer version than this program, or there is no such revision"
        raise Refusal("other_version", "database", text) from None
    finally:
        database.engine.dispose()
