"""A full disk, a database that may not be written, a missing file: said plainly, and nothing is confirmed that is not kept.

A small disk is made by a limit on the size of files that a process may write; a limit on a process of its own, since the
limit cannot be taken back.
"""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from sqlalchemy import text

from tests.actors import Phone
from tests.conftest import everything, invite
from tests.web.test_photos import draw, speak_of
from webapp.app import create_app
from webapp.settings import Settings
from webapp.store.models import Entry, Photo

CHECKOUT = Path(__file__).parents[2]


def refuse(answer, status: int, code: str) -> None:
    assert (answer.status_code, answer.json["error"][0]["code"]) == (status, code), answer.text
    assert "nothing was confirmed" in answer.json["error"][0]["text"]
    assert answer.headers["Retry-After"]


SMALL_DISK = """
import json, resource, signal, sys
from pathlib import Path
from tests.actors import Phone
from webapp.app import create_app
from webapp.settings import Settings

signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
given = json.loads(sys.stdin.read())
app = create_app(Settings(data=Path(given["data"]), database_url=given["url"], secret_key="k" * 40))
phone = Phone(app, given["code"])
resource.setrlimit(resource.RLIMIT_FSIZE, (given["limit"], given["limit"]))
said = []
for number in range(40):
    entry = phone.entry("note_added", {"text": "x" * 9000, "check": str(number)})
    answer = phone.post_sync([entry])
    said.append({"id": entry["id"], "status": answer.status_code, "body": answer.json})
print(json.dumps(said))
"""


def run_on_small_disk(settings, code: str, limit: int) -> list[dict]:
    given = {"data": str(settings.data), "url": settings.database_url, "code": code, "limit": limit}
    done = subprocess.run(
        [sys.executable, "-c", SMALL_DISK],
        input=json.dumps(given),
        capture_output=True,
        text=True,
        cwd=CHECKOUT,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_a_full_disk_confirms_nothing_and_goes_on_when_there_is_room(settings, database):
    said = run_on_small_disk(settings, invite(database, "own", "technician"), 600_000)
    stored = {row["id"] for row in said if row["status"] == 200}
    full = [row for row in said if row["status"] != 200]
    assert stored
    assert full
    assert {(row["status"], row["body"]["error"][0]["code"]) for row in full} == {(507, "no_room")}
    with everything(database) as session:
        assert {row.id for row in session.query(Entry)} == stored
    phone = Phone(create_app(settings), invite(database, "own", "technician"))
    assert phone.sync(phone.opening())["results"][0]["status"] == "stored"


def test_a_photo_that_finds_no_room_is_not_confirmed(technician, settings, database, monkeypatch):
    data = draw()
    sha256 = speak_of(technician, data)
    monkeypatch.setattr("webapp.store.shelves.os.fsync", lambda _: (_ for _ in ()).throw(OSError(28, "No space left")))
    refuse(technician.put_photo(sha256, data), 507, "no_room")
    assert [path for path in (settings.data / "photos").rglob("*") if path.is_file()] == []
    monkeypatch.undo()
    assert technician.put_photo(sha256, data).status_code == 201


def test_a_photo_whose_file_is_gone_is_said_so(technician, office, settings, database):
    data = draw()
    sha256 = speak_of(technician, data)
    technician.put_photo(sha256, data)
    next(path for path in (settings.data / "photos").rglob(sha256)).unlink()
    answer = technician.client.get(f"/api/v1/photos/{sha256}", headers=technician.headers)
    assert (answer.status_code, "gone from the server" in answer.text) == (404, True)
    assert office.get(f"/office/cases/{technician.case}").status_code == 200
    with everything(database) as session:
        assert session.query(Photo).count() == 1


@pytest.fixture
def read_only(technician, database):
    """The database as it is when its file or its folder may only be read."""
    url = str(database.engine.url).replace("sqlite:///", "sqlite:///file:") + "?mode=ro&uri=true"
    settings = Settings(data=Path(database.engine.url.database).parent, database_url=url, secret_key="k" * 40)
    return create_app(settings)


def test_a_database_that_may_only_be_read_takes_nothing_and_still_shows_what_it_has(technician, read_only, database):
    technician.sync(technician.opening())
    technician.client = read_only.test_client()
    refuse(technician.post_sync([technician.entry("note_added", {"text": "x"})]), 503, "away")
    with everything(database) as session:
        assert session.query(Entry).count() == 2


def test_our_own_mistakes_are_not_taken_for_the_databases_trouble(technician, database):
    with everything(database) as session:
        session.execute(text("drop table waiting"))
    answer = technician.post_sync(technician.opening())
    assert (answer.status_code, answer.json["error"][0]["code"]) == (500, "our_fault")
    with everything(database) as session:
        assert session.query(Entry).count() == 0
