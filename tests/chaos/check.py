"""What must hold once every link is whole and every outbox is empty."""

import json

from sqlalchemy import text
from sqlalchemy.orm import Session

from tests.chaos.phone import Disk
from webapp.engine.entries import fold_log
from webapp.store import log, projection
from webapp.store.db import Database
from webapp.store.judging import book
from webapp.store.models import CaseDocument, Entry
from webapp.store.scope import Workshop

PROJECTIONS = ("cases", "case_documents", "case_words", "photo_refs", "waiting")


def read_log(database: Database) -> list[Entry]:
    with Session(database.engine) as session:
        return list(session.query(Entry).order_by(Entry.feed))


def check_log(rows: list[Entry], acknowledged: set[str]) -> None:
    """Every entry that was said to be stored is there, once; feed numbers have no gap that could hide one."""
    ids = [row.id for row in rows]
    assert len(ids) == len(set(ids))
    assert acknowledged <= set(ids), f"lost: {sorted(acknowledged - set(ids))[:5]}"
    assert [row.feed for row in rows] == list(range(1, len(rows) + 1))


def check_phone(disk: Disk, contents: dict[str, dict]) -> None:
    """The phone has what the server has, content and all, and nothing more than what it was refused."""
    assert disk.outbox == []
    kept = {entry_id: entry for entry_id, entry in disk.entries.items() if entry_id not in disk.refused}
    assert kept.keys() == contents.keys(), (len(kept), len(contents))
    assert kept == contents
    assert all(problems for problems in disk.refused.values())


def check_cases(database: Database, workshop_id: str, disks: list[Disk]) -> int:
    """Chains follow, every phone's fold is the server's, and projections are what a rebuild would make."""
    while projection.catch_up(database, workshop_id, limit_s=60):
        pass
    with database.reading() as session:
        workshop = Workshop(session, workshop_id)
        case_ids = log.list_case_ids(workshop)
        assert [log.verify_case(workshop, case_id) for case_id in case_ids] == [None] * len(case_ids)
        documents = {row.case_id: json.loads(row.document) for row in workshop.all(workshop.select(CaseDocument))}
    assert sorted(documents) == case_ids
    for disk in disks:
        for case_id in case_ids:
            entries = [entry for entry in disk.cases[case_id] if entry["id"] not in disk.refused]
            assert json.loads(json.dumps(fold_log(entries, book()))) == documents[case_id]
    check_rebuild(database, workshop_id)
    return len(case_ids)


def dump(database: Database) -> dict[str, list]:
    with database.engine.connect() as connection:
        return {name: sorted(map(tuple, connection.execute(text(f"select * from {name}")))) for name in PROJECTIONS}


def check_rebuild(database: Database, workshop_id: str) -> None:
    before = dump(database)
    with database.writing() as session:
        projection.rebuild(Workshop(session, workshop_id))
    assert dump(database) == before


def check_photos(database: Database, workshop_id: str, disks: list[Disk]) -> int:
    """Every photo that an accepted entry speaks of is on the shelf, byte for byte."""
    count = 0
    for disk in disks:
        for entry_id, entry in disk.entries.items():
            sha256 = entry["body"].get("sha256")
            if entry["kind"] == "photo_added" and entry_id not in disk.refused and sha256 in disk.photos:
                assert database.photos.read(f"{workshop_id}/{sha256[:2]}/{sha256}") == disk.photos[sha256]
                count += 1
    return count
