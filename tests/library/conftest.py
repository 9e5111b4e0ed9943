"""A copy of the library to break, and the catalogue as it is."""

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from webapp.library import loader


@pytest.fixture(scope="session")
def catalogue() -> dict:
    return loader.load_catalogue()


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy of the library's files in a folder of its own."""
    folder = tmp_path / "library"
    shutil.copytree(loader.FOLDER, folder, ignore=shutil.ignore_patterns("*.py", "__pycache__"))
    return folder


@pytest.fixture
def broken(copy: Path) -> Callable[[str, Callable[[Any], None]], str]:
    """Return a function (file, change) -> the error text of a library whose file was changed so."""

    def break_it(name: str, change: Callable[[Any], None]) -> str:
        path = copy / name
        data = json.loads(path.read_text(encoding="utf-8"))
        change(data)
        path.write_text(json.dumps(data), encoding="utf-8")
        with pytest.raises(loader.LibraryError) as caught:
            loader.read_catalogue(copy)
        return str(caught.value)

    return break_it
