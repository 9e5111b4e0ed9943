"""A phone as the server knows it: a durable store that changes in whole transactions, and the sync protocol over it."""

import hashlib
import io
import random
from datetime import UTC, datetime, timedelta

from PIL import Image

from webapp.store.scope import new_id

BATCH = 20
QUANTITIES = ("crank_pressure", "battery_voltage_cranking", "supply_pressure")


class Disk:
    """What outlives a restart of the phone."""

    def __init__(self, install: str, token: str):
        self.install, self.token = install, token
        self.cursor = self.seq = 0
        self.entries: dict[str, dict] = {}
        self.cases: dict[str, list[dict]] = {}
        self.outbox: list[str] = []
        self.refused: dict[str, list] = {}
        self.photos: dict[str, bytes] = {}

    def keep(self, entry: dict) -> None:
        if entry["id"] not in self.entries:
            self.entries[entry["id"]] = entry
            self.cases.setdefault(entry["case"], []).append(entry)


class ChaosPhone:
    """`acknowledged` is what its owner was told is sent: kept outside the phone, for the reckoning at the end."""

    def __init__(self, disk: Disk, by: str, chance: random.Random, acknowledged: set[str]):
        self.disk, self.by, self.chance, self.acknowledged = disk, by, chance, acknowledged
        self.clock_off = timedelta(days=chance.choice((0, 0, -9000, -3, 2, 30_000)))
        self.wanted: list[str] = []

    def restart(self) -> None:
        """Power lost: only the disk is left."""
        self.wanted = []

    def write(self, kind: str, body: dict, case: str) -> dict:
        disk = self.disk
        disk.seq += 1
        clock = 1 + max((entry["clock"] for entry in disk.cases.get(case, ())), default=0)
        at = (datetime.now(UTC) + self.clock_off).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        entry = {
            "id": new_id(), "case": case, "device": disk.install, "seq": disk.seq, "clock": clock,
            "at": at, "by": self.by, "kind": kind, "body": body,
        }  # fmt: skip
        disk.keep(entry)
        disk.outbox.append(entry["id"])
        return entry

    def capture(self) -> None:
        """One thing that a technician does, now and then a new case, an entry of tomorrow's app, or one that is refused."""
        chance, known = self.chance, sorted(self.disk.cases)
        if not known or chance.random() < 0.04:
            case = new_id()
            self.write("case_opened", {}, case)
            self.write("vehicle_set", {"registration": f"R{chance.randrange(9999)}", "cylinders": 4}, case)
            return
        case = chance.choice(known[-12:])
        kind, body = self.invent(chance, case)
        self.write(kind, body, case)

    def invent(self, chance: random.Random, case: str) -> tuple[str, dict]:
        readings = [entry["id"] for entry in self.disk.cases[case] if entry["kind"] == "reading_taken"]
        kinds: list[tuple[str, dict]] = [
            ("reading_taken", {"quantity": chance.choice(QUANTITIES), "value": round(chance.uniform(0, 300), 1)}),
            ("note_added", {"text": f"note {chance.randrange(99)}"}),
            ("step_ticked", {"check": "crank", "step": f"s{chance.randrange(4)}", "ticked": chance.random() < 0.5}),
            ("vehicle_set", {"registration": f"R{chance.randrange(9999)}"}),
            ("codes_set", {"codes": chance.sample(["P0087", "P0191", "P1234"], 2)}),
            ("kind_of_tomorrow", {"x": [chance.randrange(9), None, "ä"]}),
            ("repair_recorded", {"text": "a hose"}),
        ]
        if readings:
            kinds.append(("reading_voided", {"reading": chance.choice(readings), "reason": "slipped"}))
        if chance.random() < 0.03:
            return "reading_taken", {"quantity": "nonsense", "value": 1}
        if chance.random() < 0.05:
            return "photo_added", self.take_photo(chance)
        return chance.choice(kinds)

    def take_photo(self, chance: random.Random) -> dict:
        file, side = io.BytesIO(), chance.randrange(8, 260)
        Image.frombytes("RGB", (side, side), chance.randbytes(3 * side * side)).save(file, "PNG")  # noise: nothing to pack
        data = file.getvalue()
        sha256 = hashlib.sha256(data).hexdigest()
        self.disk.photos[sha256] = data
        return {"sha256": sha256, "type": "image/png", "size": len(data)}

    def message(self) -> dict:
        return {
            "format": "railcase-sync/1", "app": "0.1.0", "cursor": self.disk.cursor,
            "entries": [self.disk.entries[entry_id] for entry_id in self.disk.outbox[:BATCH]],
            "sent_at": (datetime.now(UTC) + self.clock_off).isoformat(),
        }  # fmt: skip

    def read(self, answer: dict) -> None:
        """The answer is here, so its owner may be told; the disk knows nothing of it yet."""
        self.acknowledged |= {row["id"] for row in answer["results"] if row["status"] in ("stored", "known")}

    def take(self, answer: dict) -> None:
        """One transaction of the phone's store."""
        disk = self.disk
        done = {row["id"] for row in answer["results"] if row["status"] in ("stored", "known")}
        disk.refused |= {row["id"]: row["problems"] for row in answer["results"] if row["status"] == "refused"}
        disk.outbox = [entry_id for entry_id in disk.outbox if entry_id not in done and entry_id not in disk.refused]
        for entry in answer["entries"]:
            disk.keep(entry)
        disk.cursor = answer["cursor"]
        disk.token = answer.get("token") or disk.token
        self.wanted = [sha256 for sha256 in answer["photos_wanted"] if sha256 in disk.photos]
