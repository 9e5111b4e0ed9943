"""Projections come from the log alone: dropped and made again they are the same, byte for byte."""

from sqlalchemy import text

from tests.conftest import BOTH, everything
from webapp.store import demo, projection
from webapp.store.scope import find_workshop

DATABASES = BOTH

PROJECTIONS = ("cases", "case_documents", "case_words", "photo_refs")


def dump(database) -> dict[str, list]:
    with database.engine.connect() as connection:
        return {name: sorted(map(tuple, connection.execute(text(f"select * from {name}")))) for name in PROJECTIONS}


def rebuild(database, name: str) -> int:
    with database.writing() as session:
        return projection.rebuild(find_workshop(session, name))


def test_it_gives_the_same(database, technician):
    technician.sync([
        *technician.opening(description="blue van"), technician.entry("note_added", {"text": "smells of petrol"}),
        technician.entry("photo_added", {"sha256": "a" * 64, "type": "image/png", "size": 5}),
        technician.reading("crank_pressure", 180),
    ])  # fmt: skip
    with database.writing() as session:
        demo.fill_demo(session)
    before = dump(database)
    assert all(before.values())
    assert rebuild(database, "Invented Workshop (demo)") == 8
    assert rebuild(database, "own") == 1
    assert dump(database) == before


def test_it_mends_what_was_spoilt(database, technician):
    technician.sync(technician.opening())
    before = dump(database)
    with everything(database) as session:
        session.execute(text("delete from case_words"))
        session.execute(text("update cases set state = 'confirmed', registration = 'spoilt'"))
        session.execute(text("insert into photo_refs select workshop_id, 'x', id, 'x', 'x' from cases"))
    rebuild(database, "own")
    assert dump(database) == before


def test_it_touches_no_other_workshop(database, technician, other_workshop):
    technician.sync(technician.opening())
    other_workshop.sync(other_workshop.opening("OTHER"))
    with everything(database) as session:
        session.execute(text("update cases set registration = 'spoilt'"))
    rebuild(database, "own")
    assert sorted(row[3] for row in dump(database)["cases"]) == ["AB12 CDE", "spoilt"]
