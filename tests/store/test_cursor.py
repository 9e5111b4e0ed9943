"""The cursor on PostgreSQL with commits held open: whoever commits late is not stepped over.

Feed numbers that are only unique are not enough: a writer that took 1 may commit after the one that took 2, and a reader
that has seen 2 never asks for 1 again. The last test shows that this is what happens without the workshop's lock.
"""

import threading

import pytest
from sqlalchemy.orm import Session

from tests.conftest import own_workshop
from webapp.store import cases, log
from webapp.store.models import Entry
from webapp.store.moments import now
from webapp.store.scope import Workshop, new_id
from webapp.store.shape import write_content

DATABASES = ("postgres",)
WAIT_S = 20


def make_entry(device: str, number: int = 1) -> dict:
    return {"id": new_id(), "case": new_id(), "device": device, "seq": number, "clock": number,
            "at": "2026-11-24T09:00:00Z", "by": "me", "kind": "note_added", "body": {"text": "x"}}  # fmt: skip


class Writer(threading.Thread):
    """Appends one entry and holds its transaction open until it is told to commit."""

    def __init__(self, database, name: str):
        super().__init__(daemon=True)
        self.database, self.entry = database, make_entry(name)
        self.appended, self.may_commit, self.done = threading.Event(), threading.Event(), threading.Event()
        self.start()

    def run(self) -> None:
        with self.database.writing() as session:
            cases.take_in(own_workshop(session), [self.entry], self.entry["device"], now())
            self.appended.set()
            assert self.may_commit.wait(WAIT_S)
        self.done.set()

    def commit(self) -> None:
        self.may_commit.set()
        assert self.done.wait(WAIT_S)


class Reader:
    """Follows the feed from outside of the lock, in one view."""

    def __init__(self, database):
        self.database, self.cursor, self.seen = database, 0, []

    def follow(self) -> None:
        with self.database.reading() as session:
            workshop = own_workshop(session)
            page = log.read_after(workshop, workshop.row().last_feed, self.cursor, "reader")
        self.cursor = page.cursor
        self.seen += [entry["id"] for entry in page.entries]


# who is told to commit in which order
ORDERS = [("first", "second"), ("second", "first")]


@pytest.mark.parametrize("order", ORDERS, ids="-".join)
def test_two_writers_and_a_reader_that_looks_at_every_moment(database, order):
    reader, writers = Reader(database), {}
    for name in ("first", "second"):
        writers[name] = Writer(database, name)
        writers[name].appended.wait(0.3)
        reader.follow()
    assert writers["first"].appended.is_set()
    assert not writers["second"].appended.is_set(), "the second waits for the workshop's row, or it could commit first"
    for name in order:
        writers[name].may_commit.set()
        writers[name].done.wait(0.3)
        reader.follow()
    for writer in writers.values():
        assert writer.done.wait(WAIT_S)
        reader.follow()
    assert reader.seen == [writers["first"].entry["id"], writers["second"].entry["id"]]


def test_a_sync_waits_for_a_writer_and_then_sees_what_it_wrote(database, technician, apprentice):
    writer = Writer(database, "first")
    assert writer.appended.wait(WAIT_S)
    answers = []
    asker = threading.Thread(target=lambda: answers.append(technician.sync([])), daemon=True)
    asker.start()
    asker.join(0.3)
    assert answers == []
    writer.commit()
    asker.join(WAIT_S)
    assert [entry["id"] for entry in answers[0]["entries"]] == [writer.entry["id"]]


def test_another_workshop_waits_for_nobody(database, other_workshop):
    writer = Writer(database, "first")
    assert writer.appended.wait(WAIT_S)
    assert other_workshop.sync(other_workshop.opening())["results"][0]["status"] == "stored"
    writer.commit()


def write_row(session: Session, workshop_id: str, feed: int) -> str:
    """What a version without the lock would do with a number from a sequence."""
    entry = make_entry("writer")
    row = {"feed": feed, "position": 1, "chain": str(feed), "content": write_content(entry), "kind": "note_added"}
    session.add(Entry(workshop_id=workshop_id, id=entry["id"], case_id=entry["case"], device="d", received_at=now(), **row))
    session.flush()
    return entry["id"]


def test_without_the_lock_an_entry_would_be_stepped_over(database):
    """The naive version: numbers from a sequence, the cursor moves to the greatest that is visible."""
    with Session(database.engine) as first, Session(database.engine) as second, Session(database.engine) as eye:
        workshop_id = own_workshop(eye).id
        early, late = write_row(first, workshop_id, 1), write_row(second, workshop_id, 2)
        second.commit()

        def read_naively(cursor: int) -> tuple[int, list[str]]:
            page = log.read_after(Workshop(eye, workshop_id), 10, cursor, "reader")
            return max([cursor, *(row.feed for row in eye.query(Entry))]), [entry["id"] for entry in page.entries]

        cursor, seen = read_naively(0)
        first.commit()
        _, more = read_naively(cursor)
    assert seen == [late]
    assert early not in more
