"""How sync messages travel: packed both ways, bombs and broken packing refused, and a wrong clock said to its owner."""

import gzip
import json
import time

import pytest

from tests.conftest import BOTH
from webapp.phone.messages import LARGEST_MESSAGE_BYTES
from webapp.store import clocks
from webapp.store.moments import now, shift

DATABASES = BOTH


def post(phone, body: bytes, encoding: str = "gzip", accept: str = "gzip"):
    headers = {**phone.headers, "Content-Encoding": encoding, "Accept-Encoding": accept}
    return phone.client.post("/api/v1/sync", data=body, headers=headers, content_type="application/json")


def message(phone, count: int = 30, **other) -> bytes:
    entries = [phone.entry("note_added", {"text": "the same words again"}) for _ in range(count)]
    return json.dumps({"format": "railcase-sync/1", "app": "0.1.0", "cursor": 0, "entries": entries, **other}).encode()


def test_a_packed_message_is_taken_and_the_answer_comes_packed(technician):
    answer = post(technician, gzip.compress(message(technician)))
    assert answer.status_code == 200, answer.text
    assert answer.headers["Content-Encoding"] == "gzip"
    assert "Accept-Encoding" in answer.headers["Vary"]
    results = json.loads(gzip.decompress(answer.data))["results"]
    assert [row["status"] for row in results] == ["stored"] * 30


def test_who_does_not_take_packed_gets_plain(technician):
    answer = post(technician, gzip.compress(message(technician)), accept="identity")
    assert "Content-Encoding" not in answer.headers
    assert len(answer.json["results"]) == 30


WHOLE = gzip.compress(b"{}")
BROKEN = [
    ("cut", WHOLE[:-5], 422), ("not packed", b"{}", 422), ("something after it", WHOLE + b"x", 422), ("empty", b"", 422),
    ("a bomb", gzip.compress(bytes(60 * LARGEST_MESSAGE_BYTES)), 413), ("just too large", gzip.compress(
        b" " * (LARGEST_MESSAGE_BYTES + 1)), 413),
]  # fmt: skip


@pytest.mark.parametrize(("name", "body", "status"), BROKEN, ids=[row[0] for row in BROKEN])
def test_broken_packing_is_refused(technician, name, body, status):
    answer = post(technician, body)
    assert (answer.status_code, len(answer.json["error"])) == (status, 1)


def test_other_packing_is_not_known(technician):
    assert post(technician, b"x", "br").json["error"][0]["code"] == "wrong_encoding"


# seconds the phone is ahead, what its owner reads
CLOCKS = [
    (0, None), (590, None), (-590, None), (700, "11 minutes ahead"), (-7_300, "2 hours behind"),
    (86_400 * 400 + 600, "400 days ahead"), (-86_400 * 20_000, "20000 days behind"),
]  # fmt: skip


@pytest.mark.parametrize(("ahead_s", "words"), CLOCKS)
def test_a_wrong_clock_is_said_and_changes_nothing_else(technician, ahead_s, words):
    asked_s = time.monotonic()
    answer = post(technician, message(technician, 1, sent_at=shift(now(), ahead_s)), "identity").json
    taken_s = time.monotonic() - asked_s  # a machine may stand still for a while
    assert answer["results"][0]["status"] == "stored"
    warning = answer["clock_warning"]
    if words is None:
        assert warning is None
    else:
        assert words in warning["text"]
        assert ahead_s - taken_s - 2 <= warning["off_s"] <= ahead_s + 2


def test_a_clock_that_is_not_told_is_not_judged(technician):
    assert post(technician, message(technician, 1), "identity").json["clock_warning"] is None
    assert clocks.compare("2026-11-24T10:00:00", "2026-11-24T10:05:00Z") is None


def test_a_phone_learns_what_the_server_has_of_it_and_gets_it_back(technician, apprentice):
    sent = [technician.entry("note_added", {"text": str(number)}) for number in range(3)]
    assert technician.sync(sent)["device"] == {"id": technician.install, "last_seq": 3, "held": 0}
    assert technician.sync(sent[:1])["device"]["held"] == 3
    assert technician.sync([])["entries"] == []
    assert technician.post_sync([], 0, own=True).json["entries"] == sent
    assert apprentice.sync([])["device"]["last_seq"] == 0
