"""The engine stays inside the Python that the phone's MicroPython understands; this reads its syntax trees."""

import ast
from pathlib import Path

import pytest

ENGINE = Path(__file__).parents[2] / "webapp" / "engine"
FILES = [*sorted(ENGINE.glob("*.py")), Path(__file__).parent / "replay.py"]
MODULES = {"math", "collections", "json", "re", "itertools", "functools"}
COLLECTIONS = {"namedtuple"}
MISSING_IN_MATH = {"hypot", "fsum", "log1p", "comb", "prod", "dist", "perm", "nextafter", "cbrt", "exp2"}
MISSING_METHODS = {"zfill", "ljust", "rjust", "title", "removeprefix", "removesuffix", "is_integer", "bit_length",
                   "casefold", "_asdict", "_replace", "_fields", "isascii", "format_map", "as_integer_ratio"}  # fmt: skip
# json.dumps(indent=) and sort_keys are not known there, zip(strict=) neither
MISSING_KEYWORDS = {"indent", "sort_keys", "strict", "defaults"}
FORBIDDEN_NAMES = {"open", "print", "input", "exec", "eval", "globals", "random", "time", "__doc__"}


def imports(node: ast.AST) -> list[str]:
    if isinstance(node, ast.Import):
        return [f"import {a.name}" for a in node.names if a.name not in MODULES]
    if isinstance(node, ast.ImportFrom) and node.level == 0:
        wrong = node.module not in MODULES
        return (
            [f"from {node.module}"]
            if wrong
            else [f"collections.{a.name}" for a in node.names if node.module == "collections" and a.name not in COLLECTIONS]
        )
    if isinstance(node, ast.ImportFrom) and node.level > 1:
        return ["import from above the package"]
    return []


def syntax(node: ast.AST) -> list[str]:
    """Constructs that MicroPython refuses or treats otherwise."""
    found = []
    if isinstance(node, ast.Match | ast.AsyncFunctionDef | ast.Await | ast.TryStar | ast.Global | ast.Nonlocal):
        found.append(type(node).__name__)
    if isinstance(node, ast.FunctionDef | ast.Lambda) and node.args.posonlyargs:
        found.append("positional-only parameter")
    if isinstance(node, ast.Dict) and None in node.keys:
        found.append("{**d}")
    if isinstance(node, ast.List | ast.Tuple | ast.Set) and any(isinstance(e, ast.Starred) for e in node.elts):
        found += ["[*xs]"] if isinstance(getattr(node, "ctx", ast.Load()), ast.Load) else []
    if isinstance(node, ast.Slice) and node.step is not None:
        found.append("slice with a step")
    if isinstance(node, ast.Raise) and node.cause is not None:
        found.append("raise ... from")
    if isinstance(node, ast.FormattedValue) and node.format_spec is not None:
        found += ["nested format"] if any(isinstance(v, ast.FormattedValue) for v in node.format_spec.values) else []
    return found


def attributes(node: ast.AST) -> list[str]:
    if isinstance(node, ast.Attribute):
        of_math = isinstance(node.value, ast.Name) and node.value.id == "math" and node.attr in MISSING_IN_MATH
        return [f".{node.attr}"] if of_math or node.attr in MISSING_METHODS else []
    if isinstance(node, ast.keyword):
        return [f"{node.arg}="] if node.arg in MISSING_KEYWORDS else []
    if isinstance(node, ast.Name):
        return [node.id] if node.id in FORBIDDEN_NAMES else []
    return []


def boolean_as_int(node: ast.AST) -> list[str]:
    """isinstance(True, int) is False there: type tests of numbers go through numeric.is_number."""
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "isinstance":
        names = {n.id for n in ast.walk(node.args[1]) if isinstance(n, ast.Name)}
        return ["isinstance(x, int or float or bool)"] if names & {"int", "float", "bool"} else []
    return []


def find_breaches(tree: ast.AST) -> list[str]:
    rules = (imports, syntax, attributes, boolean_as_int)
    return [
        f"line {getattr(node, 'lineno', '?')}: {text}" for node in ast.walk(tree) for rule in rules for text in rule(node)
    ]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_file_keeps_to_the_subset(path: Path) -> None:
    assert find_breaches(ast.parse(path.read_text())) == []


BREACHES = [
    "import typing", "from dataclasses import dataclass", "from collections import OrderedDict", "import statistics",
    "match x:\n    case 1: pass", "def f(a, /): pass", "x = {**a}", "x = [*a]", "x = a[::2]", "raise E from e",
    "x = f'{v:.{d}f}'", "x = math.hypot(1, 2)", "x = s.zfill(3)", "x = t._replace(a=1)", "json.dumps(x, indent=1)",
    "zip(a, b, strict=True)", "isinstance(x, int)", "open('x')", "print(1)", "import time", "from .. import settings",
    "from __future__ import annotations", "async def f(): pass", "global x",
]  # fmt: skip


@pytest.mark.parametrize("code", BREACHES)
def test_a_breach_is_noticed(code: str) -> None:
    assert find_breaches(ast.parse(code)) != []


FINE = [
    "a, *b = c", "def f(x: float | None = None, *, y: int = 1) -> list: return [x for x in y]", "x = {1: 2} | {3: 4}",
    "from .units import convert", "from collections import namedtuple", "x = f'{v:.2f}'", "x = a[1:]", "f(*a, **k)",
]  # fmt: skip


@pytest.mark.parametrize("code", FINE)
def test_what_is_allowed_passes(code: str) -> None:
    assert find_breaches(ast.parse(code)) == []
