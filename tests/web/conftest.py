"""The prepared world of the border tests, made once for each kind of database."""

from pathlib import Path

import pytest
from flask import Flask

from tests.conftest import CHEAP
from tests.postgres import Cluster
from tests.web.world import TEMPLATE, World, make_world
from webapp.store import pairings, people


def make_cheaply(folder: Path, cluster: Cluster | None = None) -> World:
    with pytest.MonkeyPatch.context() as patch:
        for module in (people, pairings):
            patch.setattr(module, "hasher", CHEAP)
        return make_world(folder, cluster)


@pytest.fixture(scope="session")
def world_on_sqlite(prepared: Path, tmp_path_factory: pytest.TempPathFactory) -> World:
    folder = tmp_path_factory.mktemp("world")
    (folder / "test.db").write_bytes(prepared.read_bytes())
    return make_cheaply(folder)


@pytest.fixture(scope="session")
def world_on_postgres(cluster: Cluster, prepared_on_postgres: str, tmp_path_factory: pytest.TempPathFactory) -> World:
    cluster.make(TEMPLATE, prepared_on_postgres)
    return make_cheaply(tmp_path_factory.mktemp("world"), cluster)


@pytest.fixture
def world(database_kind: str, request: pytest.FixtureRequest) -> World:
    return request.getfixturevalue(f"world_on_{database_kind}")


@pytest.fixture(scope="session")
def unchanged() -> dict[str, Flask]:
    """Servers for tests that change nothing, by the kind of their database."""
    return {}


@pytest.fixture
def onlooked(world: World, database_kind: str, unchanged: dict[str, Flask], tmp_path: Path) -> Flask:
    """One copy of the world for all that only look, or are refused: a test that changes it fails another."""
    if database_kind not in unchanged:
        unchanged[database_kind] = world.copy(tmp_path, "unchanged")
    return unchanged[database_kind]
