"""The phone app: its Node tests, its sizes, its safety rules, and that everything it needs is kept offline."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.node import find_node

ROOT = Path(__file__).parents[2]
JS = ROOT / "static" / "js"
OWN_FILES = sorted(JS.rglob("*.js"))
VENDORED = {
    "preact.mjs", "preact-hooks.mjs", "htm.mjs", "idb.mjs", "micropython.mjs", "micropython.wasm", "uplot.mjs", "uplot.css",
}  # fmt: skip
MOST_LINES, MOST_FUNCTION_LINES, MOST_WORKER_LINES = 250, 60, 120
FORBIDDEN = [
    ("innerHTML", r"\binnerHTML\b|\bouterHTML\b|insertAdjacentHTML|dangerouslySetInnerHTML|document\.write"),
    ("code from text", r"\beval\s*\(|new Function\s*\("),
    ("inline style", r"\sstyle=\$?\{?[\"'{]"),
    ("gate on onLine", r"navigator\.onLine"),
    ("another origin", r"https?://"),
]


@pytest.mark.parametrize("name", sorted(path.name for path in Path(__file__).parent.glob("*.mjs")))
def test_node(name: str) -> None:
    command = [str(find_node()), "--test", str(Path(__file__).parent / name)]
    env = {**os.environ, "RAILCASE_TEST_PYTHON": sys.executable}  # for tests that need the corpus of another language
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False, env=env)
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-2000:]


@pytest.mark.parametrize("path", OWN_FILES, ids=lambda p: p.relative_to(JS).as_posix())
def test_size(path: Path) -> None:
    assert len(path.read_text("utf-8").splitlines()) <= MOST_LINES


@pytest.mark.parametrize("path", OWN_FILES, ids=lambda p: p.relative_to(JS).as_posix())
def test_function_length(path: Path) -> None:
    """A top-level function ends at the first closing brace in column one."""
    lines = path.read_text("utf-8").splitlines()
    starts = [i for i, line in enumerate(lines) if re.match(r"(export )?(async )?function ", line)]
    for start in starts:
        end = next(i for i in range(start, len(lines)) if lines[i].startswith("}"))
        if lines[start].startswith("export function create"):
            continue  # a maker of closures: its parts are functions of their own
        assert end - start - 1 <= MOST_FUNCTION_LINES, lines[start]


def test_service_worker_is_short() -> None:
    text = (ROOT / "static" / "sw.js").read_text("utf-8")
    assert len(text.splitlines()) <= MOST_WORKER_LINES
    assert re.search(r"^const PRECACHE = __PRECACHE__;$", text, re.M)


@pytest.mark.parametrize("rule", FORBIDDEN, ids=lambda rule: rule[0])
def test_forbidden(rule: tuple[str, str]) -> None:
    found = [path.name for path in OWN_FILES if re.search(rule[1], path.read_text("utf-8"))]
    assert found == []


def test_database_only_in_one_file() -> None:
    found = [path.name for path in OWN_FILES if re.search(r"\bopenDB\b|indexedDB", path.read_text("utf-8"))]
    assert found == ["db.js"]


def test_every_import_exists() -> None:
    for path in OWN_FILES:
        for name in re.findall(r"from '(\.[^']+)'", path.read_text("utf-8")):
            target = (path.parent / name).resolve()
            assert target.is_file() or "vendor" in target.parts, f"{path.name} imports {name}"


def test_every_press_has_a_name() -> None:
    """The browser tests steer by data-act; a raw button without one cannot be pressed there."""
    for path in OWN_FILES:
        for tag in re.findall(r"<(?:button|summary|a)\b[^>]*>", path.read_text("utf-8")):
            assert "data-act" in tag, f"{path.name}: {tag}"


def test_injury_card_says_what_the_library_says() -> None:
    """The card's words are in the code so that they need nothing; they must not drift from the reviewed ones."""
    library = json.loads((ROOT / "webapp" / "library" / "injury.json").read_text("utf-8"))
    source = (JS / "screens" / "injury.js").read_text("utf-8")
    for part in ("do", "tell", "never"):
        for line in library[part]:
            assert line in source, line


def test_everything_is_kept_offline(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from webapp.app import create_app
    from webapp.settings import load_settings

    monkeypatch.setenv("RAILCASE_DATA", str(tmp_path))
    monkeypatch.setenv("RAILCASE_DATABASE_URL", f"sqlite:///{tmp_path}/phone.db")
    client = create_app(load_settings()).test_client()
    worker = client.get("/sw.js").get_data(as_text=True)
    kept = set(json.loads(re.search(r"^const PRECACHE = (\{.*\});$", worker, re.M)[1])["files"])
    wanted = {"/", "/engine.json", "/catalogue.json", "/manifest.webmanifest", "/static/css/app.css"}
    wanted |= {f"/static/js/{path.relative_to(JS).as_posix()}" for path in OWN_FILES}
    wanted |= {f"/static/vendor/{name}" for name in VENDORED}
    wanted |= {icon["src"] for icon in json.loads((ROOT / "static" / "manifest.webmanifest").read_text())["icons"]}
    assert wanted <= kept
    for url in sorted(kept):
        assert client.get(url).status_code == 200, url
