"""The shape of the repository: import arrows, sizes, and what must not be in it."""

import ast
import re
import subprocess
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).parents[1]
WEBAPP = CHECKOUT / "webapp"
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "webapp", "static", "tests", "e2e", "deploy",
    ".ci", ".gitignore",
}  # fmt: skip

# who may import whom inside webapp; app.py, cli.py and wsgi-like tops may import all
BASE = {"library", "engine", "settings", "meters", "store"}
PAGES = {*BASE, "errors", "access", "wording"}
ARROWS = {
    "engine": {"engine"},
    "library": {"library", "engine"},
    "tracefile": {"library", "engine", "tracefile"},
    "settings": {"settings"},
    "meters": {"meters"},
    "observe": {*PAGES, "observe"},
    "store": BASE,
    "wording": {*BASE, "wording"},
    "circuit": {"wording", "circuit"},
    "errors": {*BASE, "errors"},
    "access": {*BASE, "errors", "access"},
    "phone": {*PAGES, "phone"},
    "office": {*PAGES, "office"},
    "account": {*PAGES, "account"},
    "about": {*PAGES, "about"},
    "report": {*PAGES, "report", "circuit"},
}
ENGINE_CHAIN = [
    "problems", "numeric", "units", "hydraulics", "uncertainty", "vin", "timing", "hearing", "film", "electrics", "scan",
    "waveform", "cranking", "transition", "trace", "book", "quantity", "limits", "returns", "levels", "vehicle",
    "document", "entries", "verdicts", "leaks", "rise", "sentences", "budget", "isolation", "planning", "ledger",
    "judge", "practice", "calls",
]  # fmt: skip
LONGEST_FUNCTION = 60
LONGEST_PYTHON_FILE = 500
LONGEST_SCRIPT_FILE = 250


def python_files(*folders: Path) -> list[Path]:
    return sorted(path for folder in folders for path in folder.rglob("*.py"))


def room_of(path: Path) -> str:
    return path.relative_to(WEBAPP).parts[0].removesuffix(".py")


def imported_rooms(path: Path) -> set[str]:
    """Return the rooms of webapp that a file imports, absolute or relative."""
    package = ("webapp", *path.relative_to(WEBAPP).parts[:-1])
    rooms = set()
    for node in ast.walk(ast.parse(path.read_text())):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = ".".join(package[: len(package) - node.level + 1]) if node.level else ""
            stem = ".".join(part for part in (base, node.module) if part)
            names = [f"{stem}.{alias.name}" for alias in node.names] if stem == "webapp" else [stem]
        rooms |= {name.split(".")[1] for name in names if name.startswith("webapp.")}
    return rooms - {"__version__"}


@pytest.mark.parametrize(
    "path", [p for p in python_files(WEBAPP) if room_of(p) in ARROWS], ids=lambda p: str(p.relative_to(WEBAPP))
)
def test_imports_follow_the_arrows(path: Path) -> None:
    assert imported_rooms(path) <= ARROWS[room_of(path)]


def test_every_room_has_its_arrows() -> None:
    tops = {"app", "cli", "__init__", "__main__", "templates"}
    rooms = {p.name.removesuffix(".py") for p in WEBAPP.iterdir() if p.name != "__pycache__"}
    assert rooms - tops == set(ARROWS)


def test_engine_modules_import_only_earlier_ones() -> None:
    modules = {path.stem for path in (WEBAPP / "engine").glob("*.py")} - {"__init__"}
    assert modules == set(ENGINE_CHAIN)
    for path in (WEBAPP / "engine").glob("*.py"):
        earlier = ENGINE_CHAIN[: ENGINE_CHAIN.index(path.stem)] if path.stem in ENGINE_CHAIN else []
        used = {n.module for n in ast.walk(ast.parse(path.read_text())) if isinstance(n, ast.ImportFrom) and n.level == 1}
        assert used - {None} <= set(earlier), path.name


def test_no_import_inside_a_function() -> None:
    found = [
        f"{path.relative_to(CHECKOUT)}:{inner.lineno}"
        for path in python_files(WEBAPP)
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.FunctionDef)
        for inner in ast.walk(node)
        if isinstance(inner, ast.Import | ast.ImportFrom)
    ]
    assert found == []


def body_lines(node: ast.FunctionDef) -> int:
    first = node.body[1] if ast.get_docstring(node) and len(node.body) > 1 else node.body[0]
    return (node.end_lineno or 0) - first.lineno + 1


def test_functions_are_short() -> None:
    """All but migrations, which are lists of tables and frozen once released."""
    folders = (WEBAPP, CHECKOUT / "tests", CHECKOUT / "e2e", CHECKOUT / "deploy")
    long = [
        f"{path.relative_to(CHECKOUT)}:{node.name} {body_lines(node)}"
        for path in python_files(*folders)
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.FunctionDef) and body_lines(node) > LONGEST_FUNCTION and "versions" not in path.parts
    ]
    assert long == []


def test_files_are_short() -> None:
    scripts = [p for p in (CHECKOUT / "static").rglob("*.js") if "vendor" not in p.parts]
    sizes = {
        p: len(p.read_text().splitlines()) for p in [*python_files(WEBAPP, CHECKOUT / "tests", CHECKOUT / "e2e"), *scripts]
    }
    most = {".py": LONGEST_PYTHON_FILE, ".js": LONGEST_SCRIPT_FILE}
    assert {str(p.relative_to(CHECKOUT)): n for p, n in sizes.items() if n > most[p.suffix]} == {}


def tracked_files() -> list[Path]:
    """Return the files that belong to the repository: git's, or all but the ignored folders outside a checkout."""
    done = subprocess.run(["git", "ls-files", "-co", "--exclude-standard"], cwd=CHECKOUT, capture_output=True, text=True)
    if done.returncode == 0 and done.stdout:
        return [path for line in done.stdout.splitlines() if (path := CHECKOUT / line).is_file()]
    unwanted = {"vendor", ".venv", "__pycache__", "var", ".git", ".cache"}
    return [p for p in CHECKOUT.rglob("*") if p.is_file() and not unwanted & set(p.relative_to(CHECKOUT).parts)]


def test_top_level_is_fixed() -> None:
    assert {path.relative_to(CHECKOUT).parts[0] for path in tracked_files()} == TOP_LEVEL


def test_no_third_party_file_is_committed() -> None:
    assert [p for p in tracked_files() if "vendor" in p.relative_to(CHECKOUT).parts or "node_modules" in p.parts] == []


def test_no_machine_path_and_no_registry_host() -> None:
    pattern = re.compile(r"(^|[^a-z.])/(work|farm)/|https?://(registry|files|deb|pypi)\.")
    texts = [p for p in tracked_files() if p.suffix in {".py", ".js", ".json", ".md", ".toml", ".sh", ".html", ".css"}]
    assert [str(p) for p in texts if p != Path(__file__) and pattern.search(p.read_text())] == []
