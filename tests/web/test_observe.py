"""What whoever runs the server sees: it lives, it is ready or why not, its meters over all workers, and its lines."""

import json
import re
import subprocess
import sys
import urllib.request
from dataclasses import replace

import pytest
from sqlalchemy import text

from e2e.stage import Server
from tests.conftest import everything
from webapp import observe
from webapp.app import create_app
from webapp.store import health, projection
from webapp.store.db import downgrade

TOKEN = "a token for the meters"


@pytest.fixture
def open_meters(settings, database):
    return create_app(replace(settings, metrics_token=TOKEN)).test_client()


def read_meters(client) -> str:
    return client.get("/metrics", headers={"Authorization": f"Bearer {TOKEN}"}).text


def value_of(page: str, name: str) -> float:
    found = re.search(rf"^{re.escape(name)} (\S+)$", page, re.M)
    return float(found[1]) if found else 0.0


def test_live_needs_no_database(app, database, settings):
    (settings.data / "test.db").unlink()
    database.engine.dispose()
    assert app.test_client().get("/healthz").json["ok"] is True


def test_ready_when_all_is_well(app):
    answer = app.test_client().get("/readyz")
    assert (answer.status_code, answer.json) == (200, {"ok": True, "checks": {"database": "ok", "disk": "ok"}})


def not_ready(app, part: str, says: str) -> None:
    answer = app.test_client().get("/readyz")
    assert (answer.status_code, answer.json["ok"]) == (503, False)
    assert says in answer.json["checks"][part]


def test_not_ready_while_tables_are_old(app, settings):
    downgrade(settings, "0001")
    not_ready(app, "database", "railcase migrate")


def test_not_ready_while_the_database_is_gone(app, settings, database):
    database.engine.dispose()
    (settings.data / "test.db").unlink()
    (settings.data / "test.db").mkdir()
    not_ready(app, "database", "does not answer")


def test_not_ready_when_the_disk_is_nearly_full(app, monkeypatch):
    monkeypatch.setattr(health, "LEAST_FREE_BYTES", 10**18)
    not_ready(app, "disk", "MB are free")


def test_meters_are_shut_without_their_token(app, open_meters):
    assert app.test_client().get("/metrics", headers={"Authorization": "Bearer "}).status_code == 404
    for given in ("", "Bearer wrong", TOKEN[:-1], "Bearer ä"):
        assert open_meters.get("/metrics", headers={"Authorization": given.encode()}).status_code == 404
    assert "railcase_requests_total" in read_meters(open_meters)


def test_what_a_sync_does_is_counted(open_meters, technician):
    names = {
        "stored": 'railcase_sync_entries_total{status="stored"}',
        "refused": 'railcase_sync_entries_total{status="refused"}',
        "reason": 'railcase_sync_refusals_total{code="unknown_quantity"}',
        "judged": "railcase_judge_seconds_count",
        "asked": 'railcase_requests_total{method="POST",route="/api/v1/sync",status="200"}',
    }
    before = {name: value_of(read_meters(open_meters), meter) for name, meter in names.items()}
    technician.sync([*technician.opening(), technician.reading("nonsense", 1)])
    after = {name: value_of(read_meters(open_meters), meter) for name, meter in names.items()}
    grown = {name: after[name] - before[name] for name in names}
    assert grown == {"stored": 2, "refused": 1, "reason": 1, "judged": 1, "asked": 1}


def test_what_waits_is_measured(open_meters, technician, monkeypatch):
    monkeypatch.setattr(projection, "catch_up_quietly", lambda *_: None)
    technician.sync(technician.opening())
    assert value_of(read_meters(open_meters), "railcase_waiting_cases") == 1


def test_addresses_that_do_not_exist_do_not_fill_the_meters(open_meters):
    open_meters.get("/made-up/1")
    open_meters.get("/made-up/2")
    assert "made-up" not in read_meters(open_meters)


@pytest.mark.parametrize(
    ("given", "kept"), [("abcdef-123", True), ("x", False), ("a b c d e f g", False), ("x" * 65, False)]
)
def test_a_request_has_an_id(app, given, kept):
    said = app.test_client().get("/healthz", headers={"X-Request-Id": given}).headers["X-Request-Id"]
    assert (said == given) is kept
    assert len(said) >= 8


def test_a_fault_of_ours_is_found_by_its_id(app, technician, database, caplog):
    with everything(database) as session:
        session.execute(text("drop table waiting"))
    caplog.handler.addFilter(observe.Context())
    answer = technician.post_sync(technician.opening())
    assert answer.status_code == 500
    failed = [record for record in caplog.records if record.exc_info]
    assert [record.request_id for record in failed] == [answer.headers["X-Request-Id"]]


MADE_EARLY = """
import sys
from pathlib import Path
from webapp import meters
from webapp.app import create_app
from webapp.settings import Settings

create_app(Settings(data=Path(sys.argv[1]), database_url="sqlite://", secret_key="k" * 40))
print(meters.meters.cache_info().currsize)
"""


def test_meters_are_made_before_there_are_threads(tmp_path):
    """A long storm found it: two first requests at once made them twice, and one was answered with a fault of ours."""
    done = subprocess.run([sys.executable, "-c", MADE_EARLY, tmp_path], capture_output=True, text=True, timeout=60)
    assert done.stdout.strip() == "1", done.stderr[-2000:]


@pytest.fixture
def served(tmp_path, monkeypatch):
    monkeypatch.setenv("RAILCASE_METRICS_TOKEN", TOKEN)
    (tmp_path / "data").mkdir()
    server = Server(tmp_path / "data")
    server.start()
    yield server
    server.stop()


def ask(url: str, **headers: str) -> str:
    with urllib.request.urlopen(urllib.request.Request(url, headers=headers), timeout=10) as response:
        return response.read().decode()


def test_meters_are_those_of_all_workers(served):
    name = 'railcase_requests_total{method="GET",route="/injury",status="200"}'
    for _ in range(40):
        ask(f"{served.url}/injury?q=secret-word")
    pages = {value_of(ask(f"{served.url}/metrics", Authorization=f"Bearer {TOKEN}"), name) for _ in range(10)}
    assert pages == {40}
    files = {path.name for path in (served.data / "meters").iterdir()}
    assert len({re.search(r"_(\d+)\.db", file)[1] for file in files}) >= 2, "more than one worker has counted"
    lines = [json.loads(line) for line in (served.data.parent / "server.log").read_text().splitlines() if line[:1] == "{"]
    asked = [line for line in lines if line.get("path") == "/injury"]
    assert len(asked) == 40
    assert {"at", "level", "logger", "message", "method", "path", "status", "ms", "request_id"} <= asked[0].keys()
    assert "secret-word" not in (served.data.parent / "server.log").read_text()
