"""Can this server take anything in? Looked at from outside of all workshops; nothing of theirs is read."""

import shutil
from functools import cache
from pathlib import Path

from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import func, select

from webapp.store.db import Database, alembic_config
from webapp.store.fence import across
from webapp.store.models import Waiting
from webapp.store.refusals import Refusal

LEAST_FREE_BYTES = 100_000_000  # judgement: a day of photos of a busy workshop
FINE = "ok"


@cache
def newest_revision(folder: str) -> str | None:
    return ScriptDirectory(folder).get_current_head()


def check_database(database: Database) -> str:
    try:
        with database.reading() as session:
            found = MigrationContext.configure(session.connection()).get_current_revision()
    except Refusal:
        return "it does not answer"
    config = alembic_config(database).get_main_option("script_location") or ""
    return FINE if found == newest_revision(config) else "its tables are not of this version; run 'railcase migrate'"


def check_disk(folder: Path) -> str:
    free = shutil.disk_usage(folder).free
    return FINE if free >= LEAST_FREE_BYTES else f"less than {LEAST_FREE_BYTES // 1_000_000} MB are free"


def check_all(database: Database, folder: Path) -> dict[str, str]:
    return {"database": check_database(database), "disk": check_disk(folder)}


def count_waiting(database: Database) -> int:
    """Cases that wait to be judged, of all workshops."""
    with database.reading() as session:
        return session.execute(across(select(func.count()).select_from(Waiting), "a number only")).scalar_one()
