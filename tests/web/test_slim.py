"""What the phone's interpreter reads is the engine, word for word, but for what only people read."""

import ast
from pathlib import Path

import pytest

from webapp.phone.slim import slim

ENGINE = sorted((Path(__file__).parents[2] / "webapp" / "engine").glob("*.py"))


def without_docstrings(source: str) -> str:
    tree = ast.parse(source)
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.FunctionDef | ast.ClassDef) and ast.get_docstring(node) is not None:
            node.body[0] = ast.Expr(ast.Constant(0))
    return ast.dump(tree)


@pytest.mark.parametrize("path", ENGINE, ids=lambda path: path.name)
def test_it_is_the_same_program(path: Path) -> None:
    source = path.read_text("utf-8")
    assert ast.dump(ast.parse(slim(source))) == without_docstrings(source)
    assert len(slim(source)) < len(source)


def test_what_it_leaves_and_takes() -> None:
    source = (
        '"""Module."""\n\n# why\nX = "# no comment"  # kept\n\n\ndef f() -> int:\n    """Two\n    lines."""\n    return 1\n'
    )
    assert slim(source) == '0\nX = "# no comment"  # kept\ndef f() -> int:\n    0\n    return 1\n'
