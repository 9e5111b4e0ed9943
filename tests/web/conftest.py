"""The prepared world of the border tests, made once."""

from pathlib import Path

import pytest

from tests.conftest import CHEAP
from tests.web.world import World, make_world
from webapp.store import pairings, people


@pytest.fixture(scope="session")
def world(prepared: Path, tmp_path_factory: pytest.TempPathFactory) -> World:
    folder = tmp_path_factory.mktemp("world")
    (folder / "test.db").write_bytes(prepared.read_bytes())
    with pytest.MonkeyPatch.context() as patch:
        for module in (people, pairings):
            patch.setattr(module, "hasher", CHEAP)
        return make_world(folder)
