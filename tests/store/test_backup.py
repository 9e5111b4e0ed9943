"""Backup and restore: one file, whole or not there, taken while phones go on sending."""

import tarfile
import threading
from dataclasses import replace

import pytest
from click.testing import CliRunner

from tests.actors import Phone
from tests.conftest import everything, invite
from tests.web.test_photos import draw, speak_of
from webapp.app import create_app
from webapp.cli import main
from webapp.store import backup, verify
from webapp.store.db import Database
from webapp.store.models import Entry, WorkshopRow
from webapp.store.refusals import Conflict, Refusal


@pytest.fixture
def elsewhere(settings):
    """Settings of a place that is still empty."""
    data = settings.data / "elsewhere"
    return replace(settings, data=data, database_url=f"sqlite:///{data / 'railcase.db'}")


def fill(technician) -> str:
    technician.sync([*technician.opening(), technician.reading("crank_pressure", 180)])
    data = draw()
    sha256 = speak_of(technician, data)
    technician.put_photo(sha256, data)
    return sha256


def read_ids(database) -> list[str]:
    with everything(database) as session:
        return sorted(row.id for row in session.query(Entry))


def test_all_of_it_comes_back(technician, database, settings, elsewhere):
    sha256 = fill(technician)
    file = settings.data / "all.tar"
    assert backup.back_up(settings, file) == (4, 1, [])
    assert backup.restore(elsewhere, file) == (4, 1, [])
    opened = Database(elsewhere)
    assert read_ids(opened) == read_ids(database)
    assert verify.verify(opened).problems == []
    app = create_app(elsewhere)
    answer = app.test_client().get(f"/api/v1/photos/{sha256}", headers=technician.headers)
    assert answer.data == draw()


def test_a_phone_that_was_ahead_misses_nothing_afterwards(technician, apprentice, settings, elsewhere):
    fill(technician)
    file = settings.data / "all.tar"
    backup.back_up(settings, file)
    lost = [technician.entry("note_added", {"text": str(number)}) for number in range(3)]
    technician.sync(lost)
    apprentice.cursor = apprentice.sync([])["cursor"]
    backup.restore(elsewhere, file)
    app = create_app(elsewhere)
    technician.client, apprentice.client = app.test_client(), app.test_client()
    answer = technician.sync([new := technician.entry("note_added", {"text": "after"})])
    assert answer["results"][0]["status"] == "stored"
    assert [entry["id"] for entry in apprentice.sync([])["entries"]] == [new["id"]]


def test_a_phone_learns_that_the_server_has_lost_what_it_sent(technician, settings, elsewhere):
    fill(technician)
    file = settings.data / "all.tar"
    backup.back_up(settings, file)
    sent = technician.entry("note_added", {"text": "lost by the restore"})
    assert technician.sync([sent])["device"]["last_seq"] == sent["seq"]
    count = technician.sync([])["device"]["held"]
    backup.restore(elsewhere, file)
    technician.client = create_app(elsewhere).test_client()
    held = technician.sync([])["device"]
    assert held["last_seq"] == sent["seq"] - 1
    assert held["held"] == count - 1
    assert technician.sync([sent])["results"][0]["status"] == "stored"


def test_it_is_whole_while_phones_go_on_sending(app, database, settings, elsewhere):
    phones = [Phone(app, invite(database, "own", "technician")) for _ in range(2)]
    stop, files = threading.Event(), []

    def send(phone: Phone) -> None:
        phone.client = app.test_client()
        while not stop.is_set():
            data = draw(colour=f"#{next(phone.numbers) % 4096:03x}")
            phone.put_photo(speak_of(phone, data), data)

    threads = [threading.Thread(target=send, args=(phone,)) for phone in phones]
    for thread in threads:
        thread.start()
    for number in range(4):
        files.append(settings.data / f"{number}.tar")
        assert backup.back_up(settings, files[-1]).missing == []
    stop.set()
    for thread in threads:
        thread.join()
    backup.restore(elsewhere, files[-1])
    found = verify.verify(Database(elsewhere))
    assert (found.problems, found.entries > 0) == ([], True)


def test_nothing_is_put_over_a_database(technician, settings):
    fill(technician)
    file = settings.data / "all.tar"
    backup.back_up(settings, file)
    with pytest.raises(Conflict, match="move it away"):
        backup.restore(settings, file)


def spoil(file, how: str) -> None:
    if how == "cut":
        file.write_bytes(file.read_bytes()[:-12_000])
    elif how == "altered":
        data = bytearray(file.read_bytes())
        place = data.index(b"crank_pressure")
        data[place : place + 5] = b"CRANK"
        file.write_bytes(bytes(data))
    elif how == "text":
        file.write_text("hello")
    else:
        with tarfile.open(file, "w"):
            pass


@pytest.mark.parametrize("how", ["cut", "altered", "text", "empty"])
def test_a_file_that_is_not_whole_is_refused_and_leaves_nothing(technician, settings, elsewhere, how):
    technician.sync([*technician.opening(), technician.reading("crank_pressure", 180)])
    file = settings.data / "all.tar"
    backup.back_up(settings, file)
    spoil(file, how)
    with pytest.raises(Refusal, match="take another copy"):
        backup.restore(elsewhere, file)
    assert not (elsewhere.data / "railcase.db").exists()


def test_a_missing_photo_is_named_and_the_rest_is_kept(technician, settings):
    sha256 = fill(technician)
    next(path for path in (settings.data / "photos").rglob(sha256)).unlink()
    assert backup.back_up(settings, settings.data / "all.tar").missing == [sha256]


def test_other_databases_are_told_how(settings):
    with pytest.raises(Refusal, match="pg_dump"):
        backup.back_up(replace(settings, database_url="postgresql+psycopg://x@/y"), settings.data / "x.tar")


def test_marked_moves_every_feed_on(technician, database):
    fill(technician)
    backup.mark_restored(database)
    with everything(database) as session:
        assert min(row.last_feed for row in session.query(WorkshopRow)) >= backup.FEED_LEAP
    assert verify.verify(database).problems == []


def test_the_commands(technician, settings, elsewhere, monkeypatch):
    fill(technician)
    file = str(settings.data / "all.tar")

    def run(made, *words: str):
        monkeypatch.setenv("RAILCASE_DATA", str(made.data))
        monkeypatch.setenv("RAILCASE_DATABASE_URL", made.database_url)
        return CliRunner().invoke(main, words)

    assert "4 entries and 1 photos" in run(settings, "backup", file).output
    assert run(elsewhere, "restore", file).exit_code == 0
    assert "4 entries in 1 cases, 1 photos" in run(elsewhere, "verify").output
    again = run(elsewhere, "restore", file)
    assert (again.exit_code, "move it away" in again.output) == (2, True)
    assert run(elsewhere, "restore").exit_code == 2
    assert "Moved on: 2" in run(elsewhere, "restore", "--marked").output
    Database(elsewhere).photos.remove(next(iter(Database(elsewhere).photos.list_keys(""))))
    wrong = run(elsewhere, "verify")
    assert (wrong.exit_code, "its file is gone" in wrong.output) == (2, True)
