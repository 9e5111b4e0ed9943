"""Phones in threads, an office, a server that dies, and a count of everything that was done to them."""

import contextlib
import json
import random
import threading
import time
from collections import Counter
from collections.abc import Callable

from tests.chaos import check
from tests.chaos.link import BREAKS, Link, LinkBroken
from tests.chaos.phone import ChaosPhone, Disk
from tests.chaos.server import Nursery
from webapp.settings import Settings
from webapp.store.db import Database
from webapp.store.devices import make_token
from webapp.store.models import Device
from webapp.store.moments import now
from webapp.store.people import add_person
from webapp.store.scope import add_workshop, new_id
from webapp.store.uploads import PIECE_BYTES

FAULT_SHARE = 0.65
LAST_STATEMENT = 45  # about as many steps as a sync has, so that its whole length is struck


def set_up(settings: Settings, count: int, name: str = "chaos") -> tuple[str, str, list[Disk]]:
    """A workshop, a person and paired phones."""
    database = Database(settings)
    disks = []
    with database.writing() as session:
        workshop = add_workshop(session, name)
        person = add_person(workshop, name="Technician", role="technician")
        for number in range(count):
            token, install = make_token(), new_id()
            workshop.add(Device(key=token.key, install=install, person_id=person.id, name=f"phone {number}",
                                secret_hash=token.hash, paired_at=now(), token_at=now()))  # fmt: skip
            disks.append(Disk(install, token.text))
        found = workshop.id, person.id
    database.engine.dispose()
    return (*found, disks)


class World:
    def __init__(self, settings: Settings, port: int, phones: int, seed: int, disturb: Callable[[], None] | None = None):
        self.settings, self.port, self.seed, self.disturb = settings, port, seed, disturb
        self.workshop_id, person_id, disks = set_up(settings, phones)
        self.nursery = Nursery(settings, port)
        self.nursery.wait()
        self.faults: Counter[str] = Counter()
        self.asked = 0
        self.acknowledged: set[str] = set()
        self.phones = [
            ChaosPhone(disk, person_id, random.Random(f"{seed} {number}"), self.acknowledged)
            for number, disk in enumerate(disks)
        ]
        self.troubles: list[BaseException] = []

    def count_faults(self) -> int:
        return sum(self.faults.values())

    def run(self, wanted: int) -> None:
        """Until so many faults were injected; then heal, and settle what is open."""
        threads = [threading.Thread(target=self.live, args=(phone, wanted)) for phone in self.phones]
        threads.append(threading.Thread(target=self.keep_office, args=(wanted,)))
        for thread in threads:
            thread.start()
        self.trouble_from_outside(wanted)
        for thread in threads:
            thread.join()
        assert not self.troubles, f"{self.troubles[0]}\n{self.read_server_log()}"
        self.nursery.wait()
        for _ in range(3):
            for phone in self.phones:
                self.settle(phone)

    def read_server_log(self) -> str:
        return (self.settings.data / "server.log").read_text()[-6000:]

    def trouble_from_outside(self, wanted: int) -> None:
        chance = random.Random(f"{self.seed} outside")
        while self.count_faults() < wanted and not self.troubles:
            time.sleep(chance.uniform(0.3, 1.5))
            if self.disturb and chance.random() < 0.3:
                self.faults["database restarted"] += 1
                self.disturb()
            else:
                self.faults["server killed from outside"] += 1
                self.nursery.kill_server()

    def live(self, phone: ChaosPhone, wanted: int) -> None:
        late: list[dict] = []
        try:
            while self.count_faults() < wanted and not self.troubles:
                for _ in range(phone.chance.randrange(1, 5)):
                    phone.capture()
                self.sync_badly(phone, late)
        except BaseException as trouble:
            self.troubles.append(trouble)

    def sync_badly(self, phone: ChaosPhone, late: list[dict]) -> None:
        chance = phone.chance
        fault = chance.choice((*BREAKS, "kill", "kill", "twice", "late", "forget")) if chance.random() < FAULT_SHARE else ""
        if fault:
            self.faults[fault] += 1
        message = phone.message()
        if fault == "twice" or (late and chance.random() < 0.3):
            self.send(phone, message if fault == "twice" else late.pop(chance.randrange(len(late))))
        if fault == "late":
            late.append(message)
            return
        answer = self.send(phone, message, fault if fault in BREAKS else "", self.pick_death(chance, fault))
        if answer and fault == "forget":
            phone.restart()
        elif answer:
            phone.take(answer)
        if answer and phone.wanted:
            self.send_photos(phone, FAULT_SHARE)

    def pick_death(self, chance: random.Random, fault: str) -> int:
        return chance.randrange(1, LAST_STATEMENT) if fault == "kill" else 0

    def send(self, phone: ChaosPhone, message: dict, fault: str = "", kill_at: int = 0) -> dict | None:
        self.asked += 1
        link = Link(self.port, phone.disk.token, phone.chance)
        try:
            status, answer = link.ask("POST", "/api/v1/sync", link.write(message), fault, kill_at)
        except LinkBroken:
            time.sleep(0.01)
            return None
        if status == 503:
            return None
        assert status == 200, (status, answer)
        phone.read(answer)
        return answer

    def send_photos(self, phone: ChaosPhone, share: float) -> None:
        link = Link(self.port, phone.disk.token, phone.chance)
        with contextlib.suppress(LinkBroken):
            for sha256 in phone.wanted[:2]:
                self.send_photo(phone, link, sha256, share)

    def send_photo(self, phone: ChaosPhone, link: Link, sha256: str, share: float) -> None:
        data, path = phone.disk.photos[sha256], f"/api/v1/uploads/{sha256}"
        status, state = link.ask("GET", path, b"")
        if status != 200 or state["stored"]:
            return
        for number in set(range(-(-len(data) // PIECE_BYTES))) - set(state["pieces"]):
            fault = phone.chance.choice((*BREAKS, "kill")) if phone.chance.random() < share / 2 else ""
            if fault:
                self.faults[f"piece {fault}"] += 1
            part = data[number * PIECE_BYTES : (number + 1) * PIECE_BYTES]
            kill_at = phone.chance.randrange(1, 12) if fault == "kill" else 0
            status, _ = link.ask("PUT", f"{path}/{number}", part, fault if fault != "kill" else "", kill_at)
            if status != 200:
                return
        status, said = link.ask("POST", f"{path}/finish", link.write({"type": "image/png", "size": len(data)}))
        assert status in (200, 201, 503), said

    def keep_office(self, wanted: int) -> None:
        chance = random.Random(f"{self.seed} office")
        while self.count_faults() < wanted and not self.troubles:
            time.sleep(0.05)
            known = sorted(self.phones[0].disk.cases)
            if known:
                self.write_at_the_desk(chance, chance.choice(known))

    def write_at_the_desk(self, chance: random.Random, case: str) -> None:
        link = Link(self.port, "", chance)
        kill_at = 0
        if chance.random() < 0.3:
            self.faults["kill at the desk"] += 1
            kill_at = chance.randrange(1, LAST_STATEMENT)
        body = {"workshop": self.workshop_id, "case": case, "body": {"text": f"office {chance.randrange(999)}"}}
        try:
            link.ask("POST", "/chaos/office", link.write(body), kill_at=kill_at)
        except LinkBroken:
            time.sleep(0.01)

    def settle(self, phone: ChaosPhone) -> None:
        """Whole links only: send and fetch until nothing is left; every round must bring it nearer."""
        deaths = 0
        for _ in range(5_000):
            answer = self.send(phone, phone.message())
            if answer is None:  # a death ordered earlier may strike late, after its answer was sent
                deaths += 1
                assert deaths < 10, "whole links, and no answers"
                self.nursery.wait()
                continue
            phone.take(answer)
            if phone.wanted:
                self.send_photos(phone, 0)
            if not phone.disk.outbox and not answer["more"] and not phone.wanted:
                return
        raise AssertionError("a phone does not settle")

    def reckon(self) -> str:
        """With the server gone: check everything, and say what was found."""
        database, disks = Database(self.settings), [phone.disk for phone in self.phones]
        rows = check.read_log(database)
        check.check_log(rows, self.acknowledged)
        contents = {row.id: json.loads(row.content) for row in rows}
        for disk in disks:
            check.check_phone(disk, contents)
        cases = check.check_cases(database, self.workshop_id, disks)
        photos = check.check_photos(database, self.workshop_id, disks)
        database.engine.dispose()
        refused = sum(len(disk.refused) for disk in disks)
        return (
            f"{self.asked} messages, {len(self.acknowledged)} entries acknowledged, {len(rows)} stored once, "
            f"{refused} refused by name, {cases} cases alike on {len(disks)} phones and the server, {photos} photos whole"
        )
