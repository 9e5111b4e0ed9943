"""The documents keep up with the code: settings, rooms, modules and commands are named where readers look."""

import ast
import re
from pathlib import Path

import pytest
from click import Group

from tests.test_tree import ENGINE_CHAIN
from webapp.cli import main
from webapp.engine.calls import CALLS
from webapp.settings import TABLE

CHECKOUT = Path(__file__).parents[1]
README = (CHECKOUT / "README.md").read_text()
DEVELOPERS = (CHECKOUT / "DEVELOPERS.md").read_text()
TREE = re.search(r"## Tree\n(.*?)\n## ", DEVELOPERS, re.S).group(1)


def command_names(group: Group, prefix: str = "railcase") -> list[str]:
    found = []
    for name, command in group.commands.items():
        found += command_names(command, f"{prefix} {name}") if isinstance(command, Group) else [f"{prefix} {name}"]
    return found


def test_every_setting_is_described() -> None:
    assert [row[0] for row in TABLE if f"`{row[0]}`" not in DEVELOPERS] == []


def test_every_engine_module_is_in_the_tree() -> None:
    assert [name for name in ENGINE_CHAIN if not re.search(rf"\b{name}\b", TREE)] == []


@pytest.mark.parametrize("folder", ["webapp", "static/js", "deploy"])
def test_every_room_is_in_the_tree(folder: str) -> None:
    hidden = {"__pycache__", "__init__.py", "__main__.py"}
    names = {path.name for path in (CHECKOUT / folder).iterdir()} - hidden
    assert [name for name in sorted(names) if name.removesuffix("/") not in TREE] == []


def test_every_command_is_in_the_readme() -> None:
    assert [name for name in command_names(main) if f"`{name}" not in README] == []


def test_every_call_of_the_door_is_named() -> None:
    assert [name for name in CALLS if name not in DEVELOPERS] == []


def test_the_readme_opens_with_the_job() -> None:
    assert len(README.split("\n\n")[1].splitlines()) >= 4
    assert README.index("## Start") > README.index("high-pressure pump")


def test_public_engine_functions_say_what_they_do() -> None:
    silent = []
    for name in ENGINE_CHAIN:
        tree = ast.parse((CHECKOUT / "webapp/engine" / f"{name}.py").read_text())
        assert ast.get_docstring(tree), name
        silent += [
            f"{name}.{node.name}"
            for node in tree.body
            if isinstance(node, ast.FunctionDef) and not ast.get_docstring(node) and (node.end_lineno - node.lineno) > 12
        ]
    assert silent == []
