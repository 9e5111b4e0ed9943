"""Requests as earlier (and one later) versions of the phone sent them, at the server of today.

Each file of `corpus/` is one version: its requests with the answers it needs, and the case they make. A file is written
when a request gets another shape, and never changed afterwards: phones of that version may still be out there.
"""

import hashlib
import json
from pathlib import Path

import pytest

from tests.conftest import BOTH, own_workshop
from tests.web.test_photos import draw
from webapp.store import cases, verify

DATABASES = BOTH
FILES = sorted((Path(__file__).parent / "corpus").glob("*.json"))
PHOTO = draw()


def read_version(file: Path, device: str) -> dict:
    text = file.read_text().replace("$DEVICE", device).replace("$SHA256", hashlib.sha256(PHOTO).hexdigest())
    return json.loads(text)


def send(phone, request: dict):
    sent = {"json": request["body"]} if "body" in request else {"data": PHOTO, "content_type": "image/png"}
    return phone.client.open(request["path"], method=request["method"], headers=phone.headers, buffered=True, **sent)


def check_answer(answer, request: dict) -> None:
    assert answer.status_code == request["status"], answer.text
    assert [row["status"] for row in answer.json.get("results", [])] == request.get("results", [])
    assert set(request["reads"]) <= set(answer.json)
    assert "own" not in request or len(answer.json["entries"]) == request["own"]


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_what_a_phone_of_another_version_sends_is_taken(technician, database, file):
    version = read_version(file, technician.install)
    for request in version["requests"]:
        check_answer(send(technician, request), request)
    wanted = version["document"]
    with database.reading() as session:
        found = cases.get_case(own_workshop(session), wanted["case"])
    document = found.document
    assert found.row.problem is None
    assert document["state"] == wanted["state"]
    assert [row["value"] for row in document["readings"]] == wanted["readings"]
    assert (len(document["not_measured"]), len(document["photos"])) == (wanted["not_measured"], wanted["photos"])
    assert verify.verify(database).problems == []


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_other_phones_get_it_as_it_was_sent(technician, apprentice, file):
    version = read_version(file, technician.install)
    taken = []
    for request in version["requests"]:
        entries = request.get("body", {}).get("entries", [])
        results = send(technician, request).json.get("results", [])
        taken += [entry for entry, row in zip(entries, results, strict=True) if row["status"] == "stored"]
    assert apprentice.sync([])["entries"] == taken
    assert taken
