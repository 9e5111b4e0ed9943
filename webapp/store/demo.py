"""An invented workshop to look around in: people, phones and cases from demo.json, entered through the same door as real
entries, the same each time. Only the passwords are new each time, because anyone can read this file."""

import hashlib
import json
import secrets
from collections.abc import Callable, Iterator
from itertools import groupby
from pathlib import Path

from sqlalchemy.orm import Session

from webapp.library.loader import load_catalogue
from webapp.store import cases, judging, people
from webapp.store.models import Device
from webapp.store.moments import read_moment, shift
from webapp.store.refusals import Conflict
from webapp.store.scope import Workshop, add_workshop, find_workshop

DATA = Path(__file__).with_name("demo.json")
STEP_S = 95  # invented seconds between two entries
EPOCH = "2026-10-01T07:00:00.000Z"


def make_id(name: str, moment: str) -> str:
    """A uuid7 whose time is the invented moment and whose random part comes from a name."""
    ms = int(read_moment(moment).timestamp() * 1000)
    tail = hashlib.sha256(name.encode()).hexdigest()
    text = f"{ms:012x}7{tail[:3]}8{tail[3:18]}"
    return "-".join((text[:8], text[8:12], text[12:16], text[16:20], text[20:]))


class Story:
    """Tells one case entry by entry; `entries` are what the phones would have sent."""

    def __init__(self, data: dict, number: int, case: dict):
        self.data, self.case, self.number = data, case, number
        self.id = make_id(f"case {number}", case["opened"])
        self.entries: list[dict] = []

    def write(self, kind: str, body: dict, phone: str) -> dict:
        count = len(self.entries) + 1
        at = shift(self.case["opened"], STEP_S * count)
        owner = next(row["person"] for row in self.data["phones"] if row["key"] == phone)
        entry = {
            "id": make_id(f"entry {self.number} {count}", at),
            "case": self.id,
            "device": make_id(f"phone {phone}", EPOCH),
            "seq": self.number * 1000 + count,
            "clock": count,
            "at": at,
            "by": make_id(f"person {owner}", EPOCH),
            "kind": kind,
            "body": body,
        }
        self.entries.append(entry)
        return entry

    def tell(self) -> None:
        phone = self.case["phone"]
        self.write("case_opened", {}, phone)
        self.write("vehicle_set", self.case["vehicle"], phone)
        self.write("complaint_set", {"complaints": self.case["complaints"]}, phone)
        self.write("codes_set", {"codes": self.case["codes"]}, phone)
        for step in self.case["do"]:
            by = step.get("phone", phone)
            for name in step.keys() - {"phone"}:
                TELLERS[name](self, step[name], by)

    def read(self, readings: list, phone: str) -> None:
        for reading in readings:
            healthy = isinstance(reading, str)
            body = {"quantity": reading, **self.data["healthy"][reading]} if healthy else reading
            if isinstance(body["value"], list):
                body = {**body, "value": body["value"][: self.case["vehicle"]["cylinders"]]}
            self.write("reading_taken", body, phone)

    def void(self, reason: str, phone: str) -> None:
        last = next(entry for entry in reversed(self.entries) if entry["kind"] == "reading_taken")
        self.write("reading_voided", {"reading": last["id"], "reason": reason}, phone)

    def tick(self, wanted: dict, phone: str) -> None:
        check = next(row for row in load_catalogue()["checks"] if row["id"] == wanted["check"])
        for step in check["steps"]:
            self.write("step_ticked", {"check": check["id"], "step": step["id"], "ticked": True}, phone)

    def conclude(self, said: dict, phone: str) -> None:
        """What the phone would have concluded from the entries so far; `said` may differ as an old program's answer."""
        _, found, _ = judging.fold_and_judge(self.entries, judging.book())
        other = said.get("verdicts_as", {})
        verdicts = [
            {"reading": row["reading"], "verdict": other.get(row["quantity"], row["verdict"])} for row in found["verdicts"]
        ]
        body = {
            "fault": said.get("fault", (found["conclusion"] or {}).get("fault")),
            "text": said["text"],
            "engine": said.get("engine", found["engine"]),
            "limits": found["limits"],
            "verdicts": verdicts,
            "pump": said.get("pump", found["pump"]["status"]),
        }
        self.write("concluded", body, phone)


TELLERS: dict[str, Callable] = {
    "read": Story.read,
    "void": Story.void,
    "tick": Story.tick,
    "conclude": Story.conclude,
    "vehicle": lambda story, body, phone: story.write("vehicle_set", body, phone),
    "caution": lambda story, name, phone: story.write("caution_acknowledged", {"caution": name}, phone),
    "note": lambda story, text, phone: story.write("note_added", {"text": text}, phone),
    "miss": lambda story, body, phone: story.write("not_measured", body, phone),
    "sign": lambda story, body, phone: story.write("signed_off", body, phone),
    "repair": lambda story, text, phone: story.write("repair_recorded", {"text": text}, phone),
    "confirm": lambda story, body, phone: story.write("outcome_confirmed", body, phone),
}


def add_people(workshop: Workshop, data: dict) -> Iterator[str]:
    for row in data["people"]:
        password = secrets.token_urlsafe(12) if row["login"] else None
        people.add_person(
            workshop,
            name=row["name"],
            role=row["role"],
            login=row["login"],
            password=password,
            person_id=make_id(f"person {row['key']}", EPOCH),
        )
        yield f"{row['name']}, {row['role']}: " + (f"{row['login']} / {password}" if password else "works by phone only")


def add_phones(workshop: Workshop, data: dict) -> None:
    """Invented phones hold no token that anyone knows."""
    for row in data["phones"]:
        workshop.add(
            Device(
                key=secrets.token_hex(12),
                install=make_id(f"phone {row['key']}", EPOCH),
                name=row["name"],
                app="demo",
                person_id=make_id(f"person {row['person']}", EPOCH),
                secret_hash=secrets.token_hex(32),
                paired_at=EPOCH,
            )
        )
    workshop.session.flush()


def fill_demo(session: Session) -> list[str]:
    """Add the invented workshop; return lines to show, sign-in names and passwords among them.

    *Refuses* with Conflict when it is there already.
    """
    data = json.loads(DATA.read_text("utf-8"))
    if find_workshop(session, data["workshop"]):
        raise Conflict("taken", "demo", "the invented workshop is there already; use it, or name another RAILCASE_DATA")
    workshop = add_workshop(session, data["workshop"])
    lines = [f"{data['workshop']}: everything in it is invented.", *add_people(workshop, data)]
    add_phones(workshop, data)
    for number, case in enumerate(data["cases"], start=1):
        story = Story(data, number, case)
        story.tell()
        for device, part in groupby(story.entries, key=lambda entry: entry["device"]):
            batch = list(part)
            arrivals = cases.append_entries(workshop, batch, device, shift(batch[-1]["at"], 60))
            assert all(arrival.status == "stored" for arrival in arrivals), f"demo.json, case {number}: {arrivals}"
    return [*lines, f"{len(data['cases'])} invented cases."]
