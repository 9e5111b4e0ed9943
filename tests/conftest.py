"""A server of its own for each test that asks for one, and the people who use it."""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from flask import Flask
from hypothesis import settings as hypothesis_settings
from sqlalchemy.orm import Session

from tests.actors import PASSWORD, Desk, Phone
from tests.postgres import Cluster, running_cluster
from webapp.app import create_app
from webapp.settings import Settings
from webapp.store import pairings, people
from webapp.store.db import Database, migrate
from webapp.store.scope import Workshop, add_workshop, find_workshop

ROLES = ("technician", "apprentice", "office")
CHEAP = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)

# A landing is judged by the same examples each time; everywhere else hypothesis looks for new ones.
hypothesis_settings.register_profile("landing", derandomize=True, database=None)
if os.environ.get("CI"):
    hypothesis_settings.load_profile("landing")


@pytest.fixture(autouse=True)
def cheap_hashes(monkeypatch):
    """Passwords of tests need not be slow to guess."""
    monkeypatch.setattr(people, "hasher", CHEAP)
    monkeypatch.setattr(pairings, "hasher", CHEAP)


BOTH = ("sqlite", "postgres")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """A module that says `DATABASES = BOTH` is run on each kind of database; all others on SQLite."""
    kinds = getattr(metafunc.module, "DATABASES", None)
    if kinds and "database_kind" in metafunc.fixturenames:
        metafunc.parametrize("database_kind", kinds)


@pytest.fixture
def database_kind() -> str:
    return "sqlite"


@pytest.fixture(scope="session")
def cluster() -> Iterator[Cluster]:
    with running_cluster() as started:
        yield started


@pytest.fixture
def settings(tmp_path: Path, database_kind: str, request: pytest.FixtureRequest) -> Iterator[Settings]:
    """Settings of an empty database."""
    made = Settings(data=tmp_path, database_url=f"sqlite:///{tmp_path / 'test.db'}", secret_key="k" * 40)
    if database_kind == "sqlite":
        yield made
        return
    started = request.getfixturevalue("cluster")
    yield replace(made, database_url=started.make("test"))
    started.drop("test")


def prepare(made: Settings) -> None:
    """One workshop with a person of each role, and another workshop."""
    migrate(made)
    opened = Database(made)
    with opened.writing() as session, pytest.MonkeyPatch.context() as patch:
        patch.setattr(people, "hasher", CHEAP)
        for name, roles in (("own", ROLES), ("other", ("office", "technician"))):
            workshop = add_workshop(session, name)
            for role in roles:
                people.add_person(workshop, name=f"{role} of {name}", role=role, login=f"{role}@{name}", password=PASSWORD)
    opened.engine.dispose()


@pytest.fixture(scope="session")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database made once and copied for each test."""
    file = tmp_path_factory.mktemp("prepared") / "prepared.db"
    prepare(Settings(data=file.parent, database_url=f"sqlite:///{file}", secret_key="k" * 40))
    return file


@pytest.fixture(scope="session")
def prepared_on_postgres(cluster: Cluster, tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("prepared")
    prepare(Settings(data=folder, database_url=cluster.make("prepared"), secret_key="k" * 40))
    return "prepared"


@pytest.fixture
def database(settings: Settings, database_kind: str, request: pytest.FixtureRequest) -> Iterator[Database]:
    if database_kind == "sqlite":
        shutil.copy(request.getfixturevalue("prepared"), settings.data / "test.db")
    else:
        request.getfixturevalue("cluster").make("test", request.getfixturevalue("prepared_on_postgres"))
    opened = Database(settings)
    yield opened
    opened.engine.dispose()


@pytest.fixture
def app(database: Database, settings: Settings) -> Flask:
    return create_app(settings)


@contextmanager
def everything(database: Database) -> Iterator[Session]:
    """A session without the fence around each workshop, to look at and spoil what is stored."""
    with Session(database.engine) as session, session.begin():
        yield session


def own_workshop(session: Session) -> Workshop:
    found = find_workshop(session, "own")
    assert found
    return found


def invite(database: Database, workshop_name: str, role: str) -> str:
    """A pairing code for the person of that role."""
    with database.writing() as session:
        workshop = find_workshop(session, workshop_name)
        assert workshop
        person = next(row for row in people.list_people(workshop) if row.role == role)
        return pairings.invite(workshop, person.id, needs_check=False).code


@pytest.fixture
def technician(app: Flask, database: Database) -> Phone:
    return Phone(app, invite(database, "own", "technician"))


@pytest.fixture
def apprentice(app: Flask, database: Database) -> Phone:
    return Phone(app, invite(database, "own", "apprentice"), "phone in the bay")


@pytest.fixture
def other_workshop(app: Flask, database: Database) -> Phone:
    return Phone(app, invite(database, "other", "technician"), "phone elsewhere")


@pytest.fixture
def office(app: Flask) -> Desk:
    return Desk(app, "office@own")


@pytest.fixture
def other_office(app: Flask) -> Desk:
    return Desk(app, "office@other")


@pytest.fixture
def nobody(app: Flask) -> Desk:
    return Desk(app)
