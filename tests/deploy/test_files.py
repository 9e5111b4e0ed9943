"""The files of deploy/: current, consistent with the program, and read without complaint by the programs they are for."""

import json
import re
import shutil
import subprocess
import sys
import tomllib
from importlib.metadata import version
from pathlib import Path

import pytest
import yaml
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.hosts import write_nginx
from webapp import meters
from webapp.settings import TABLE

CHECKOUT = Path(__file__).parents[2]
DEPLOY = CHECKOUT / "deploy"
PROJECT = tomllib.loads((CHECKOUT / "pyproject.toml").read_text())
PINNED = re.compile(r"^([\w.-]+)==([\w.+!]+)(.*)$", re.M)


def run(*words: object, **other) -> subprocess.CompletedProcess:
    return subprocess.run([*map(str, words)], capture_output=True, text=True, timeout=120, **other)


def test_the_example_of_settings_is_current():
    done = run(sys.executable, DEPLOY / "env_example.py", env={"PYTHONPATH": str(CHECKOUT)})
    assert (DEPLOY / "env.example").read_text() == done.stdout
    assert all(f"#{row[0]}=" in done.stdout for row in TABLE)


def test_the_example_is_read_by_a_shell():
    assert (
        run("sh", "-eu", "-c", f". {DEPLOY / 'env.example'}; sed 's/^#RAIL/RAIL/' {DEPLOY / 'env.example'} | sh -eu").stderr
        == ""
    )


def test_only_settings_that_exist_are_set():
    known = {row[0] for row in TABLE} | {"RAILCASE_HOST", "RAILCASE_USER"}
    files = [
        p
        for p in DEPLOY.rglob("*")
        if p.is_file() and p.suffix not in {".lock", ".py"} and p.name not in {"start.sh", "test.sh"}
    ]
    used = {name: path.name for path in files for name in re.findall(r"\bRAILCASE_[A-Z_]+\b", path.read_text())}
    assert {name: where for name, where in used.items() if name not in known} == {}


@pytest.mark.parametrize("name", ["requirements.lock", "build.lock"])
def test_locks_pin_all_that_is_asked_for(name):
    text = (DEPLOY / name).read_text()
    pins = [(canonicalize_name(found[0]), found[1]) for found in PINNED.findall(text)]
    extras = PROJECT["project"]["optional-dependencies"]
    wanted = PROJECT["project"]["dependencies"] + extras["postgres"] + extras["s3"]
    if name == "build.lock":
        hook = (DEPLOY / "build_hook.py").read_text()
        wanted = [*PROJECT["build-system"]["requires"], re.search(r'NODE_REQUIREMENT = "(.+)"', hook)[1]]
    for row in map(Requirement, wanted):
        found = [pinned for pin, pinned in pins if pin == canonicalize_name(row.name)]
        assert found, row
        assert all(row.specifier.contains(pinned) for pinned in found), (str(row), found)


@pytest.mark.parametrize("name", ["requirements.lock", "build.lock"])
def test_locks_hold_sums_and_no_host(name):
    text = (DEPLOY / name).read_text()
    blocks = re.split(r"\n(?=\S)", text.strip())
    assert [block.splitlines()[0] for block in blocks if "--hash=sha256:" not in block] == []
    assert re.findall(r"https?:|file:|--index|--find", text) == []


def test_compose_is_sound():
    compose = yaml.safe_load((DEPLOY / "compose.yaml").read_text())
    web = compose["services"]["web"]
    assert (web["read_only"], web["cap_drop"], web["deploy"]["replicas"]) == (True, ["ALL"], 2)
    assert "ports" not in web, "only the proxy is reached from outside"
    assert "ports" not in compose["services"]["database"]
    named = {volume.split(":")[0] for service in compose["services"].values() for volume in service["volumes"]}
    assert {name for name in named if not name.startswith(".")} == set(compose["volumes"])
    assert (DEPLOY / web["build"]["context"]).resolve() == CHECKOUT
    assert (CHECKOUT / web["build"]["dockerfile"]).is_file()
    assert all(set(service.get("depends_on", ())) <= set(compose["services"]) for service in compose["services"].values())


def test_the_image_copies_what_there_is_and_what_a_build_needs(tmp_path):
    lines = (DEPLOY / "Dockerfile").read_text().replace("\\\n", " ").splitlines()
    copied = [word for line in lines if line.startswith("COPY") and "--from" not in line for word in line.split()[1:-1]]
    assert [name for name in copied if not (CHECKOUT / name).exists()] == []
    needed = {"pyproject.toml", "webapp", "static", "deploy/build_hook.py", "deploy/browser"}
    needed |= {PROJECT["project"]["readme"], *PROJECT["project"]["license-files"]}
    assert needed <= set(copied)
    last = lines[max(n for n, line in enumerate(lines) if line.startswith("FROM")) :]
    assert [line.split()[1] for line in last if line.startswith("USER")] == ["railcase"]
    assert any(line.startswith("HEALTHCHECK") for line in last)


def test_nginx_reads_its_file(tmp_path):
    done = run("/usr/sbin/nginx", "-t", "-e", tmp_path / "log", "-c", write_nginx(tmp_path, (1, 2), 18443, 18080))
    assert done.returncode == 0, done.stderr


def test_caddy_reads_its_file(tmp_path):
    command = ["caddy", "validate", "--adapter", "caddyfile", "--config", DEPLOY / "Caddyfile"]
    done = run(*command, env={"RAILCASE_HOST": "cases.example.org", "HOME": str(tmp_path), "PATH": "/usr/bin:/bin"})
    assert done.returncode == 0, done.stderr


def test_systemd_reads_its_units(tmp_path):
    for unit in (DEPLOY / "systemd").glob("railcase*.*"):
        text = re.sub(r"^(ExecStart=)\S+", r"\1/bin/true", unit.read_text(), flags=re.M)
        (tmp_path / unit.name).write_text(
            text.replace("User=railcase", "User=daemon").replace("Group=railcase", "Group=daemon")
        )
        (tmp_path / unit.name).chmod(0o644)
    units = sorted(tmp_path.iterdir())
    assert len(units) == 3
    done = run("systemd-analyze", "verify", "--recursive-errors=no", *units)
    assert (done.returncode, [line for line in done.stderr.splitlines() if "railcase" in line]) == (0, [])


def test_meters_of_a_host_may_have_a_mount_of_their_own(tmp_path, monkeypatch):
    """As in compose.yaml: a folder that is a mount cannot be taken away, and the start must go on."""
    monkeypatch.setattr(meters.shutil, "rmtree", lambda *_, **__: None)
    monkeypatch.setattr(meters.value_kinds, "ValueClass", meters.value_kinds.ValueClass)
    monkeypatch.setenv(meters.FOLDER, "")
    meters.share(tmp_path)


WEAK = {"dependencies": [{"name": "a", "version": "1", "vulns": [{"id": "X-1"}]}]}
SOUND = {"dependencies": [{"name": "a", "version": "1", "vulns": []}]}
AUDITS = [
    ("all answered, nothing found", WEAK, SOUND, {"vulnerabilities": {}}, 0, "server: 0 known"),
    ("a weakness of the server", WEAK, WEAK, {"vulnerabilities": {}}, 1, "a 1: X-1"),
    ("one of the browser", WEAK, SOUND, {"vulnerabilities": {"b": {"range": "<2", "severity": "high"}}}, 1, "b <2: high"),
    ("nobody answered", None, None, None, 0, "server: NOT audited"),
    ("an index that does not speak of weaknesses", SOUND, SOUND, None, 0, "server: NOT audited"),
    ("npm's own error", WEAK, SOUND, {"message": "405"}, 0, "browser: NOT audited"),
]


@pytest.mark.parametrize(
    ("known", "server", "browser", "code", "says"), [row[1:] for row in AUDITS], ids=[r[0] for r in AUDITS]
)
def test_audits_are_told_from_silence(tmp_path, known, server, browser, code, says):
    paths = [tmp_path / name for name in ("known", "server", "browser")]
    for path, report in zip(paths, (known, server, browser), strict=True):
        if report is not None:
            path.write_text(json.dumps(report))
    done = run(sys.executable, DEPLOY / "read_audits.py", *paths)
    assert (done.returncode, says in done.stdout, done.stderr) == (code, True, ""), done.stdout


def copy_checkout(target: Path) -> Path:
    names = ["pyproject.toml", "README.md", "LICENSE", "webapp", "static", "deploy"]
    for name in names:
        copy = shutil.copytree if (CHECKOUT / name).is_dir() else shutil.copy
        target.mkdir(exist_ok=True)
        copy(CHECKOUT / name, target / name)
    return target


def test_the_same_source_gives_the_same_wheel(tmp_path):
    """Other folder, other times, other rights of new files, other traces of running: the same bytes."""
    env = {"PATH": "/usr/bin:/bin", "SOURCE_DATE_EPOCH": "1790000000", "HOME": str(Path.home())}
    wheels = []
    for number, umask in enumerate((0o022, 0o077)):
        source = copy_checkout(tmp_path / f"a folder {number}")
        for path in source.rglob("*.py"):
            path.touch()
        command = [
            sys.executable,
            "-m",
            "pip",
            "wheel",
            "--quiet",
            "--no-deps",
            "--wheel-dir",
            tmp_path / str(number),
            source,
        ]
        done = run(*command, env=env, umask=umask)
        assert done.returncode == 0, done.stderr
        wheels.append(next((tmp_path / str(number)).glob("*.whl")))
        assert version("railcase") in wheels[-1].name
    assert wheels[0].read_bytes() == wheels[1].read_bytes()
