"""What the phone's interpreter reads is the engine, word for word, but for what only people read."""

import ast
import json
import subprocess
from pathlib import Path

import pytest

from tests.node import find_node
from webapp.phone.slim import slim, slim_script

SCRIPTS = sorted((Path(__file__).parents[2] / "static" / "js").rglob("*.js"))
ENGINE = sorted((Path(__file__).parents[2] / "webapp" / "engine").glob("*.py"))


class Untyped(ast.NodeTransformer):
    """Takes the types off."""

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        node.returns = None
        return self.generic_visit(node)

    def visit_arg(self, node: ast.arg) -> ast.AST:
        node.annotation = None
        return node

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AST:
        return ast.Assign([node.target], node.value) if node.value else node


def without_docstrings(source: str) -> str:
    tree = Untyped().visit(ast.parse(source))
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
        '"""Module."""\n\n# why\nX = "# no comment"  # gone\n\n\ndef f() -> int:\n    """Two\n    lines."""\n    return 1\n'
    )
    assert slim(source) == '0\nX = "# no comment"\ndef f():\n    0\n    return 1\n'
    assert slim("def f(é: dict, *, y: int = 1) -> dict:\n    z: list = []  # why\n    return é\n") == (
        "def f(é, *, y = 1):\n    z = []\n    return é\n"
    )


def test_what_it_leaves_and_takes_of_a_script() -> None:
    source = "// why\nlet a = 1; // kept\n/** two\n * lines */\nconst t = `\n// text\n`;\n  // `odd\nf();\n"
    assert slim_script(source) == "\nlet a = 1; // kept\n\n\nconst t = `\n// text\n`;\n\nf();\n"


PARSE = """
const vm = require('vm');
const sources = JSON.parse(require('fs').readFileSync(0, 'utf8'));
for (const [name, source] of Object.entries(sources)) new vm.SourceTextModule(source, { identifier: name });
console.log(Object.keys(sources).length);
"""


def test_every_script_is_still_one_and_shorter_line_for_line() -> None:
    slimmed = {str(path): slim_script(path.read_text("utf-8")) for path in SCRIPTS}
    command = [find_node(), "--experimental-vm-modules", "-e", PARSE]
    done = subprocess.run(command, input=json.dumps(slimmed), capture_output=True, text=True, timeout=60)
    assert done.stdout.strip() == str(len(slimmed)), done.stderr
    for path in SCRIPTS:
        before, after = path.read_text("utf-8").split("\n"), slimmed[str(path)].split("\n")
        assert len(before) == len(after)
        changed = [old for old, new in zip(before, after, strict=True) if old != new]
        assert [line for line in changed if not line.strip().startswith(("//", "/*", "*"))] == [], path.name
