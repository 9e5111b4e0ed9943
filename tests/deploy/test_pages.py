"""What the pages of deploy/ tell people to type does what they say."""

import json
import os
import re
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.deploy.machine import BLOCK, CHECKOUT, PAGES, Machine
from webapp.store.scope import new_id

COUNTS = re.compile(r"\d+ entries in \d+ cases, \d+ photos")
READY = '"ok":true'
NO_VENV = "python3 -m venv"


@pytest.fixture
def machine(tmp_path: Path) -> Iterator[Machine]:
    made = Machine(tmp_path / "m")
    yield made
    made.stop()


@pytest.fixture
def running(machine: Machine) -> Machine:
    machine.run("railcase-admin demo && systemctl start railcase")
    machine.run("curl --fail --silent --retry 30 --retry-delay 1 --retry-all-errors http://127.0.0.1:8700/readyz")
    return machine


def count(machine: Machine) -> str:
    return COUNTS.search(machine.run("railcase-admin verify"))[0]


def ask(machine: Machine, path: str, token: str = "", body: dict | None = None) -> int:
    head = {"Content-Type": "application/json", "Authorization": f"Bearer {token}"}
    data = json.dumps(body).encode() if body is not None else None
    request = urllib.request.Request(f"http://127.0.0.1:{machine.port}{path}", data, head)
    try:
        with urllib.request.urlopen(request, timeout=20) as answer:
            machine.last = json.load(answer)
            return answer.status
    except urllib.error.HTTPError as error:
        return error.code


def pair(machine: Machine) -> str:
    """Let in a phone; return its token."""
    people = machine.run("railcase-admin person add --name Kim --login kim --password 'three plain words'")
    assert "kim" in people
    code = re.search(r"Code: (\S+)", machine.run("railcase-admin pair kim --unchecked"))[1]
    assert ask(machine, "/api/v1/pair", body={"code": code, "device_name": "x", "install": new_id()}) == 201
    return machine.last["token"]


def sync(machine: Machine, token: str) -> int:
    return ask(machine, "/api/v1/sync", token, {"format": "railcase-sync/1", "app": "1", "cursor": 0, "entries": []})


def test_backup_and_restore(running):
    before = count(running)
    running.follow("backup.md")
    assert len(list(running.at("/var/backups/railcase").glob("*.tar"))) == 1
    token = pair(running)
    said = running.follow("restore.md")
    assert (READY in said.replace(" ", ""), COUNTS.search(said)[0]) == (True, before)
    assert len(list(running.at("/var/lib").glob("railcase-until-*/railcase.db"))) == 1
    assert sync(running, token) == 401, "let in after the backup: this server knows nothing of it"


def test_backup_and_restore_of_postgres(machine, cluster):
    env, folder = machine.at("/etc/railcase/env"), cluster.folder
    env.write_text(f'RAILCASE_DATABASE_URL="{cluster.make("pages")}"\n')
    machine.run("railcase-admin demo")
    before = count(machine)
    assert ".dump and " in machine.follow("backup.md")
    cluster.make("restored")
    env.write_text(f'RAILCASE_DATABASE_URL="{cluster.url("restored")}"\n')
    login = f"export PGHOST={folder} PGUSER=railcase\n"
    postgres = [text for kind, text in BLOCK.findall((PAGES / "restore.md").read_text()) if kind == "postgres"]
    assert "Moved on: 1 workshops." in machine.run(login + postgres[0])
    assert count(machine) == before
    cluster.drop("pages")
    cluster.drop("restored")


def test_upgrade_and_roll_back(running):
    before = count(running)
    running.add_version("1.1.0")
    release = running.root / "release"
    release.mkdir()
    (release / "VERSION").write_text("1.1.0\n")
    said = running.follow("upgrade.md", folder=release, leave_out=NO_VENV)
    assert (READY in said.replace(" ", ""), COUNTS.search(said)[0]) == (True, before)
    assert running.at("/opt/railcase/current").resolve().name == "1.1.0"
    assert running.at("/opt/railcase/previous").resolve().name == "1.0.0"
    running.at("/opt/railcase/1.0.0/bin/railcase").unlink()
    running.at("/opt/railcase/1.0.0/bin").rmdir()
    running.at("/opt/railcase/1.0.0").rmdir()
    running.add_version("1.0.0", tables="0003")
    said = running.follow("roll-back.md")
    assert "The tables are those of 0003." in said
    assert (READY in said.replace(" ", ""), COUNTS.search(said)[0]) == (True, before)
    assert running.at("/opt/railcase/current").resolve().name == "1.0.0"
    assert len(list(running.at("/var/backups/railcase").glob("*.tar"))) == 2


def test_secrets(running):
    token, old = pair(running), running.at("/var/lib/railcase/secret-key").read_text()
    said = running.follow("secrets.md")
    assert "# HELP" in said
    key = running.at("/var/lib/railcase/secret-key")
    assert (key.read_text() != old, key.stat().st_mode & 0o777) == (True, 0o600)
    assert sync(running, token) == 200
    running.follow("secrets.md", "several")
    env = running.at("/etc/railcase/env").read_text()
    assert re.search(r'^RAILCASE_SECRET_KEY="[0-9a-f]{64}"$', env, re.M)
    assert len(re.findall(r"^RAILCASE_METRICS_TOKEN=", env, re.M)) == 1
    assert sync(running, token) == 200


def test_moving_the_database(running, cluster):
    before, token = count(running), pair(running)
    address = cluster.make("railcase")
    page = (PAGES / "move-database.md").read_text()
    assert "to=postgresql+psycopg:///railcase" in page
    block = BLOCK.findall(page)[1][1].replace("to=postgresql+psycopg:///railcase", f"to='{address}'")
    said = running.run(block)
    assert (READY in said.replace(" ", ""), COUNTS.findall(said)) == (True, [before, before])
    assert sync(running, token) == 200
    running.run("systemctl stop railcase")
    cluster.drop("railcase")


@pytest.mark.parametrize("page", sorted(PAGES.glob("*.md")), ids=lambda page: page.name)
def test_pages_name_what_is_there(page):
    text = page.read_text()
    assert [name for name in re.findall(r"`([\w-]+\.md)`", text) if not (PAGES / name).exists()] == []
    shipped = {path.name for path in (CHECKOUT / "deploy").rglob("*")}
    assert set(re.findall(r"\brailcase-(?:admin|backup)(?:\.service|\.timer)?\b", text)) <= shipped
    for _, block in BLOCK.findall(text):
        assert os.system(f"sh -n <<'END'\n{block}\nEND") == 0
