"""One case as a zip: whole, found out when altered, and taken into another workshop once."""

import io
import json
import zipfile

import pytest

from tests.conftest import BOTH, everything, own_workshop
from tests.store.test_erasure import erase, fill
from webapp.store import archive, archive_import, cases, limits, log, verify
from webapp.store.archive import BadArchive
from webapp.store.models import Entry
from webapp.store.refusals import Conflict
from webapp.store.scope import find_workshop

DATABASES = BOTH


def pack(database, case: str) -> bytes:
    with database.reading() as session:
        return archive.write_archive(own_workshop(session), database.photos, case, {"report.pdf": b"%PDF"})


def change(data: bytes, name: str, old: bytes | None = None, new: bytes = b"", resum: bool = False) -> bytes:
    """The archive with one file altered, added or (old None, no new) taken away; `resum`: the manifest altered to match."""
    files = archive.unpack_zip(data)
    if old is None and not new:
        del files[name]
    else:
        files[name] = new if old is None else files[name].replace(old, new)
    if resum:
        manifest = json.loads(files["manifest.json"])
        manifest["files"][name] = archive.hashlib.sha256(files[name]).hexdigest()
        files["manifest.json"] = json.dumps(manifest).encode()
    return archive.pack_zip(files)


def other_id(database) -> str:
    with database.reading() as session:
        return find_workshop(session, "other").id


def take(database, data: bytes, name: str = "other") -> archive_import.Taken:
    with database.reading() as session:
        workshop = find_workshop(session, name)
        assert workshop
    return archive_import.take_in(database, workshop.id, data)


def test_a_case_goes_to_another_workshop_whole_and_once(technician, database):
    case, _ = fill(technician)
    data = pack(database, case)
    files = archive.unpack_zip(data)
    assert {"entries.jsonl", "seals.jsonl", "case.json", "assessment.json", "manifest.json", "report.pdf"} < set(files)
    assert take(database, data)[1:3] == (11, 1)
    assert take(database, data)[1:3] == (0, 0)
    with database.reading() as session:
        mine = cases.get_case(own_workshop(session), case)
        other = cases.get_case(find_workshop(session, "other"), case)
    assert other.document == mine.document
    assert [row.chain for row in other.log] == [row.chain for row in mine.log]
    assert verify.verify(database).problems == []


# name, what is done to the archive, what is said
SPOILT = [
    ("a reading", lambda data: change(data, "entries.jsonl", b"292", b"392"), "entries.jsonl: it was altered"),
    ("a reading and its sum", lambda data: change(data, "entries.jsonl", b"292", b"392", True), "it does not follow"),
    ("no seals", lambda data: change(data, "seals.jsonl"), "seals.jsonl: it is not there"),
    ("no assessment", lambda data: change(data, "assessment.json"), "assessment.json: the manifest names it"),
    ("the report", lambda data: change(data, "report.pdf", b"PDF", b"FDP"), "report.pdf: it was altered"),
    ("one file more", lambda data: change(data, "more.txt", None, b"x"), "more.txt: it is there, but"),
    ("a photo of none", lambda data: change(data, "photos/ab.png", None, b"x", True), "no entry speaks of a photo"),
    ("another case", lambda data: change(data, "manifest.json", b'"case": "0', b'"case": "1'), "manifest speaks of another"),
    ("fewer entries", lambda data: change(data, "manifest.json", b'"entries": 11', b'"entries": 12'), "number of entries"),
    ("another format", lambda data: change(data, "manifest.json", b"archive/1", b"archive/2"), "not of the format"),
    ("no JSON", lambda data: change(data, "entries.jsonl", b'{"at"', b'"at"', True), "line 1: it is not JSON"),
    ("a salt of two", lambda data: change(data, "seals.jsonl", b'"salt": "', b'"salt": "00', True), "its seal is not one"),
    ("cut off", lambda data: data[: len(data) // 2], "not a whole zip"),
    ("no zip", lambda _: b"hello", "not a whole zip"),
    ("flipped bits", lambda data: data[:200] + bytes(byte ^ 255 for byte in data[200:260]) + data[260:], "not a whole zip"),
]  # fmt: skip


@pytest.mark.parametrize(("spoil", "says"), [row[1:] for row in SPOILT], ids=[row[0] for row in SPOILT])
def test_what_was_altered_is_refused_by_name(technician, database, spoil, says):
    case, _ = fill(technician)
    with pytest.raises(BadArchive) as refused:
        take(database, spoil(pack(database, case)))
    assert any(says in row["text"] for row in refused.value.problems), refused.value.problems
    with database.reading() as session:
        assert log.length(find_workshop(session, "other"), case) == 0


def test_a_file_that_is_there_twice_and_one_that_bursts_are_refused(monkeypatch):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("entries.jsonl", b"x")
        with pytest.warns(UserWarning, match="Duplicate name"):
            packed.writestr("entries.jsonl", b"y")
    with pytest.raises(BadArchive, match="twice"):
        archive.read_archive(out.getvalue())
    monkeypatch.setattr(archive, "MOST_BYTES", 1000)
    with pytest.raises(BadArchive, match="unpacks to more"):
        archive.read_archive(archive.pack_zip({"entries.jsonl": b"0" * 2000}))


def test_a_case_that_grew_is_taken_on_and_one_that_parted_is_refused(technician, database):
    case, _ = fill(technician)
    take(database, pack(database, case))
    technician.sync([technician.entry("note_added", {"text": "later"})])
    grown = pack(database, case)
    assert take(database, grown).entries == 1
    with database.writing() as session:
        cases.write_entry(find_workshop(session, "other"), case, "office", "note_added", {"text": "here"})
    technician.sync([technician.entry("note_added", {"text": "there"})])
    assert take(database, grown).entries == 0
    with pytest.raises(Conflict, match="went on differently"):
        take(database, pack(database, case))
    assert verify.verify(database).problems == []


def test_it_is_said_when_the_case_names_limits_that_are_not_these(technician, database):
    with database.writing() as session:
        own = own_workshop(session)
        limits.add_profile(own, "Vans", "family", "generic", "office")
        changed = {"crank_pressure": {**limits.library_limits()["crank_pressure"], "low": 320, "note": "seen"}}
        limits.publish(own, "vans", 1, changed, "why", "office", "Olga")
    technician.sync([*technician.opening(), technician.entry("limits_set", {"profile": "vans.2"})])
    data = pack(database, technician.case)
    assert [note.partition(";")[0] for note in take(database, data).notes] == ["limits vans.2: not known here"]
    with database.writing() as session:
        other = find_workshop(session, "other")
        limits.add_profile(other, "Vans", "family", "generic", "office")
        changed["crank_pressure"]["low"] = 330
        limits.publish(other, "vans", 1, changed, "why", "office", "Olga")
    assert [note.partition(";")[0] for note in take(database, data).notes] == ["limits vans.2: others here"]
    assert take(database, data, "own").notes == []


def test_an_entry_of_another_case_is_not_taken_twice(technician, database):
    case, _ = fill(technician)
    data = pack(database, case)
    take(database, data)
    with everything(database) as session:
        session.query(Entry).filter(Entry.case_id == case, Entry.position > 1).delete()
        session.query(Entry).filter(Entry.case_id == case).update({"case_id": case[:-4] + "beef"})
    with pytest.raises(Conflict, match="in another case"):
        take(database, data)


def test_an_erasure_comes_along_and_stays_done(technician, database):
    case, _ = fill(technician)
    before = pack(database, case)
    take(database, before)
    erase(database, case)
    after = pack(database, case)
    assert b"Quill" not in b"".join(archive.unpack_zip(after).values())
    assert len(database.photos.list_keys(other_id(database))) == 1
    assert take(database, after).erased == 8
    assert database.photos.list_keys(other_id(database)) == []
    assert take(database, before).erased == 0
    assert verify.verify(database).problems == []
    with database.reading() as session:
        other = find_workshop(session, "other")
        assert "Quill" not in json.dumps([row.content for row in log.read_rows(other, case)])
