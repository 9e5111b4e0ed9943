"""The wheel runs outside the checkout, on a machine whose PATH knows no Node; the two set-up commands do their work."""

import json
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
import zipfile
from pathlib import Path

import pytest

from tests.test_tree import tracked_files

CHECKOUT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def bare_path(tmp_path_factory: pytest.TempPathFactory) -> dict:
    """An environment whose PATH holds the system's tools and this Python, but neither node nor npm."""
    tools = tmp_path_factory.mktemp("bin")
    for folder in ("/bin", "/usr/bin"):
        for tool in Path(folder).iterdir():
            if tool.name not in ("node", "nodejs", "npm", "npx", "corepack") and not (tools / tool.name).exists():
                (tools / tool.name).symlink_to(tool)
    python = tools / "python3"
    python.unlink(missing_ok=True)
    python.symlink_to(os.path.realpath(sys.base_prefix + "/bin/python3"))
    env = {key: value for key, value in os.environ.items() if not key.startswith(("VIRTUAL_ENV", "PYTHON", "RAILCASE"))}
    assert shutil.which("node", path=str(tools)) is None
    return {**env, "PATH": str(tools)}


@pytest.fixture(scope="module")
def empty_copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The repository's own files and nothing else: no vendor folder, no virtual environment."""
    copy = tmp_path_factory.mktemp("copy")
    for path in tracked_files():
        target = copy / path.relative_to(CHECKOUT)
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(path, target)
    assert not (copy / "static/vendor").exists()
    return copy


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def fetch(url: str, seconds: float = 240.0) -> bytes:
    end = time.monotonic() + seconds
    while True:
        try:
            with urllib.request.urlopen(url, timeout=5) as answer:
                return answer.read()
        except OSError:
            assert time.monotonic() < end, url
            time.sleep(0.3)


def check_served(port: int) -> None:
    address = f"http://127.0.0.1:{port}"
    assert b"railcase" in fetch(address + "/")
    assert "engine/judge.py" in json.loads(fetch(address + "/engine.json"))["files"]
    assert len(json.loads(fetch(address + "/catalogue.json"))["checks"]) == 19
    assert fetch(address + "/static/vendor/micropython.wasm")[:4] == b"\0asm"


def stop(process: subprocess.Popen) -> str:
    process.terminate()
    return process.communicate(timeout=30)[0]


def test_the_wheel_serves_the_app_elsewhere(bare_path: dict, empty_copy: Path, tmp_path: Path) -> None:
    wheels = tmp_path / "wheels"
    build = [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--wheel-dir", str(wheels), str(empty_copy)]
    subprocess.run(build, env=bare_path, check=True, cwd=tmp_path)
    wheel = next(wheels.glob("railcase-*.whl"))
    names = zipfile.ZipFile(wheel).namelist()
    assert {"webapp/static/sw.js", "webapp/static/vendor/preact.mjs", "webapp/library/checks/crank.json"} <= set(names)
    assert {name.split("/")[0] for name in names} == {"webapp", f"{wheel.name.split('-py3')[0]}.dist-info"}
    subprocess.run([sys.executable, "-m", "venv", str(tmp_path / "venv")], check=True)
    subprocess.run([str(tmp_path / "venv/bin/pip"), "install", "--quiet", str(wheel)], env=bare_path, check=True)
    port = free_port()
    env = {**bare_path, "RAILCASE_DATA": str(tmp_path / "data")}
    command = [str(tmp_path / "venv/bin/railcase"), "serve", "--port", str(port)]
    process = subprocess.Popen(command, env=env, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    try:
        check_served(port)
    finally:
        said = stop(process)
    assert f"http://127.0.0.1:{port}" in said
    assert "railcase person add --role office" in said


def test_start_script_in_an_empty_copy(bare_path: dict, empty_copy: Path) -> None:
    """The README's first command, twice: the second time nothing is installed again."""
    for extra in (["--demo"], []):
        port = free_port()
        command = ["sh", "deploy/start.sh", *extra, "--port", str(port)]
        process = subprocess.Popen(
            command, env=bare_path, cwd=empty_copy, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        )
        try:
            check_served(port)
        finally:
            said = stop(process)
        assert f"http://127.0.0.1:{port}" in said
        assert ("Installing" in said) is bool(extra)
    assert "Traceback" not in said
