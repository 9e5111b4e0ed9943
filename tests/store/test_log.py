"""The log: chained, numbered without gaps that hide anything, and safe with many writers at once."""

import json
import threading

import pytest

from tests.actors import Phone
from tests.conftest import BOTH, everything, invite, own_workshop
from webapp.store import log
from webapp.store.log import CHAIN_START, hash_salted, next_chain
from webapp.store.models import Entry
from webapp.store.shape import is_sound, write_content

DATABASES = BOTH


def test_the_chain_follows_from_each_entry(technician, database):
    technician.sync(technician.opening())
    technician.sync([technician.entry("note_added", {"text": "ä \ud83d\ude00"})])
    with database.reading() as session:
        rows = log.read_rows(own_workshop(session), technician.case)
    chain = CHAIN_START
    for row in rows:
        chain = next_chain(chain, hash_salted(row.salt, write_content(json.loads(row.content))))
        assert row.chain == chain
    assert [row.position for row in rows] == [1, 2, 3]


# name, place of the entry, what is done to it
SPOILT = [
    ("content", 2, lambda row: setattr(row, "content", row.content.replace("AB12", "AB13"))),
    ("salt", 2, lambda row: setattr(row, "salt", "0" * 32)),
    ("chain", 2, lambda row: setattr(row, "chain", "0" * 64)),
    ("position", 2, lambda row: setattr(row, "position", 7)),
    ("position of the last", 3, lambda row: setattr(row, "position", 7)),
]


@pytest.mark.parametrize(("name", "place", "spoil"), SPOILT, ids=[row[0] for row in SPOILT])
def test_what_was_altered_is_found(technician, database, name, place, spoil):
    technician.sync([*technician.opening(), technician.entry("note_added", {"text": "x"})])
    with everything(database) as session:
        assert log.verify_case(own_workshop(session), technician.case) is None
        spoil(session.query(Entry).filter(Entry.position == place).one())
    with database.reading() as session:
        assert log.verify_case(own_workshop(session), technician.case) == place


def test_a_removed_entry_is_found(technician, database):
    technician.sync([*technician.opening(), technician.entry("note_added", {"text": "x"})])
    with everything(database) as session:
        session.delete(session.query(Entry).filter(Entry.position == 2).one())
    with database.reading() as session:
        assert log.verify_case(own_workshop(session), technician.case) == 2


def write_many(app, phone: Phone, batches: int, faults: list) -> None:
    phone.client = app.test_client()
    for number in range(batches):
        answer = phone.post_sync([phone.entry("note_added", {"text": f"{number} {part}"}) for part in range(3)], 0)
        if answer.status_code != 200:
            faults.append(answer.text)


def test_many_writers_and_a_reader_that_follows_them_lose_nothing(app, database):
    phones = [Phone(app, invite(database, "own", "technician")) for _ in range(3)]
    reader, seen, faults = Phone(app, invite(database, "own", "office")), [], []
    threads = [threading.Thread(target=write_many, args=(app, phone, 8, faults)) for phone in phones]
    for thread in threads:
        thread.start()
    while any(thread.is_alive() for thread in threads):
        seen += follow(reader)
    seen += follow(reader)
    assert faults == []
    assert len(seen) == len(set(seen)) == 3 * 8 * 3
    with everything(database) as session:
        assert [row.feed for row in session.query(Entry).order_by(Entry.feed)] == list(range(1, 73))


def follow(reader: Phone) -> list[str]:
    answer = reader.sync([])
    reader.cursor = answer["cursor"]
    return [entry["id"] for entry in answer["entries"]]


def test_content_has_one_written_form():
    assert write_content({"b": 1, "a": "ä"}) == '{"a":"\\u00e4","b":1}'
    with pytest.raises(ValueError):
        write_content({"a": float("nan")})


@pytest.mark.parametrize(("value", "sound"), [
    ({"a": [1, 2.5, None, True, "x"]}, True), (float("inf"), False), (float("nan"), False), (2**53, False),
    (-(2**53) + 1, True), ([[[[[[[[[[[[1]]]]]]]]]]]], True), ([[[[[[[[[[[[[1]]]]]]]]]]]]], False),
])  # fmt: skip
def test_soundness(value, sound):
    assert is_sound(value) is sound
