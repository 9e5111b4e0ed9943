"""Migrations: the tables they make are those of the models, up and down, and the database is set up for durability."""

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import inspect
from sqlalchemy.exc import IntegrityError

from tests.conftest import BOTH, everything
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
