"""Migrations: the tables they make are those of the models, up and down, and the database is set up for durability."""

import os
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import MetaData, inspect, text
from sqlalchemy.exc import IntegrityError

from tests.conftest import BOTH, everything
from webapp.store import db, demo, verify
from webapp.store.db import Database, downgrade, migrate
from webapp.store.models import Base, Person

DATABASES = BOTH


def test_they_make_what_the_models_say(settings):
    migrate(settings)
    with Database(settings).engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) == []


def test_down_and_up_again(settings):
    migrate(settings)
    downgrade(settings, "base")
    assert inspect(Database(settings).engine).get_table_names() == ["alembic_version"]
    migrate(settings)
    assert set(Base.metadata.tables) <= set(inspect(Database(settings).engine).get_table_names())


def dump(database: Database) -> dict[str, list[dict]]:
    """Every row of every table as it is in the database now, whatever the models say."""
    tables = MetaData()
    with database.engine.connect() as connection:
        tables.reflect(connection)
        found = {
            name: sorted((dict(row._mapping) for row in connection.execute(table.select())), key=repr)
            for name, table in tables.tables.items()
            if name != "alembic_version"
        }
    database.engine.dispose()
    return found


def only_columns_of(rows: dict[str, list[dict]], earlier: dict[str, list[dict]]) -> dict[str, list[dict]]:
    """Rows cut down to the columns that an earlier revision had."""
    columns = {name: set(found[0]) for name, found in earlier.items() if found}
    cut = {name: [{key: row[key] for key in columns[name]} for row in rows[name]] for name in columns}
    return {name: sorted((dict(sorted(row.items())) for row in found), key=repr) for name, found in cut.items()}


REVISIONS = [script.revision for script in ScriptDirectory(str(Path(db.__file__).parent / "migrations")).walk_revisions()]


@pytest.mark.parametrize("revision", [revision for revision in REVISIONS if revision != max(REVISIONS)])
def test_from_every_revision_with_data_to_the_newest_and_back(database, settings, technician, revision):
    technician.sync([*technician.opening(), technician.entry("note_added", {"text": "ä"})])
    with database.writing() as session:
        demo.fill_demo(session)
    downgrade(settings, revision)
    earlier = dump(database)
    assert all(earlier[name] for name in ("entries", "cases", "case_words", "people", "devices"))
    migrate(settings)
    newest = dump(database)
    assert only_columns_of(newest, earlier) == only_columns_of(earlier, earlier)
    assert verify.verify(database).problems == []
    assert technician.sync([technician.entry("note_added", {"text": "after"})])["results"][0]["status"] == "stored"
    downgrade(settings, revision)
    back = dump(database)
    assert len(back["entries"]) == len(earlier["entries"]) + 1
    assert [row for row in earlier["people"] if row not in back["people"]] == []


def test_twice_is_fine(settings):
    migrate(settings)
    migrate(settings)


def test_nothing_belongs_to_one_kind_of_database():
    types = {str(column.type) for table in Base.metadata.tables.values() for column in table.columns}
    assert {name.split("(")[0] for name in types} <= {"VARCHAR", "TEXT", "INTEGER", "BIGINT", "BOOLEAN"}


def test_a_failing_block_leaves_nothing(database):
    def fail():
        with everything(database) as session:
            session.query(Person).filter(Person.role == "office").update({"name": "changed"})
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail()
    with everything(database) as session:
        assert session.query(Person).filter(Person.name == "changed").count() == 0


def test_foreign_keys_hold(database):
    def orphan():
        with everything(database) as session:
            session.add(Person(id="x", workshop_id="none", name="x", role="office", active=True, created_at=""))

    with pytest.raises(IntegrityError):
        orphan()


def test_hosts_that_start_at_once_take_turns(cluster, settings):
    """One that finds another at it waits, and then finds everything done."""
    there = replace(settings, database_url=cluster.make("turns"))
    database = Database(there)
    with ThreadPoolExecutor() as hosts, database.engine.begin() as other:
        other.exec_driver_sql("SELECT pg_advisory_xact_lock(7245227)")
        done = [hosts.submit(run_command, there, "migrate") for _ in range(3)]
        end = time.monotonic() + 30
        waiting = text("SELECT count(*) FROM pg_locks WHERE locktype = 'advisory' AND NOT granted")
        while other.execute(waiting).scalar_one() < 3:
            assert time.monotonic() < end, "nobody waits"
            time.sleep(0.05)
        other.commit()
        assert [one.result().stdout.strip() for one in done] == ["The tables are up to date."] * 3
    database.engine.dispose()
    cluster.drop("turns")


def test_tables_of_a_newer_version_are_refused_plainly(database, settings):
    with everything(database) as session:
        session.execute(text("update alembic_version set version_num = '9999'"))
    done = run_command(settings, "migrate")
    assert (done.returncode, "newer version than this program" in done.stderr) == (2, True)
    assert "Traceback" not in done.stderr


def test_back_to_the_tables_of_an_older_version(database, settings):
    assert run_command(settings, "migrate", "--back-to", "0003").stdout == "The tables are those of 0003.\n"
    assert "limit_versions" not in inspect(database.engine).get_table_names()
    assert run_command(settings, "tables").stdout.strip() == max(REVISIONS)
    assert run_command(settings, "migrate", "--back-to", "nonsense").returncode == 2


def run_command(settings, *words: str) -> subprocess.CompletedProcess:
    env = {**os.environ, "RAILCASE_DATA": str(settings.data), "RAILCASE_DATABASE_URL": settings.database_url}
    return subprocess.run([sys.executable, "-m", "webapp", *words], env=env, capture_output=True, text=True, timeout=60)
