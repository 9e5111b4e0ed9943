"""Every order of events converges: hypothesis makes up phones, faults and deaths, and shrinks what goes wrong."""

import contextlib
import gc
import json
import random
import shutil
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as some
from hypothesis.stateful import Bundle, RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from tests.chaos import check
from tests.chaos.killing import Killed, Trap, raise_killed
from tests.chaos.phone import ChaosPhone, Disk
from tests.chaos.world import LAST_STATEMENT, set_up
from tests.conftest import BOTH
from webapp.app import create_app
from webapp.settings import Settings
from webapp.store import cases
from webapp.store.db import Database, migrate
from webapp.store.scope import Workshop

DATABASES = BOTH
PHONES = 3
FAULTS = some.sampled_from(["", "", "lost", "unheard", "forget", "twice", "killed", "late"])


class Machine(RuleBasedStateMachine):
    """`prepare` gives the settings of a fresh database with a workshop, its id, a person's and the phones' disks."""

    prepare = None
    app = None
    phones = Bundle("phones")

    @initialize(seed=some.integers(0, 2**16))
    def begin(self, seed: int) -> None:
        self.settings, self.workshop_id, person_id, disks = type(self).prepare()
        self.acknowledged: set[str] = set()
        self.late: list[tuple[ChaosPhone, dict]] = []
        self.people = [ChaosPhone(disk, person_id, random.Random(seed + number), self.acknowledged)
                       for number, disk in enumerate(disks)]  # fmt: skip
        self.start_server()

    def start_server(self) -> None:
        """The same program on another connection pool: nothing of the one before is left."""
        self.database = Database(self.settings)
        self.trap = Trap(raise_killed)
        self.trap.watch(self.database.engine)
        type(self).app.extensions["railcase.database"] = self.database

    def kill_server(self) -> None:
        """A dead process holds no lock: what refers to its last statement, and so keeps its connection, goes now."""
        self.trap.arm(0)
        self.database.engine.dispose()
        gc.collect()
        self.start_server()

    def post(self, phone: ChaosPhone, message: dict, kill_at: int = 0) -> dict | None:
        self.trap.arm(kill_at)
        headers = {"Authorization": f"Bearer {phone.disk.token}"}
        answer = None
        with contextlib.suppress(Killed):
            answer = type(self).app.test_client().post("/api/v1/sync", json=message, headers=headers, buffered=True)
        if answer is None:
            self.kill_server()
            return None
        self.trap.arm(0)
        assert answer.status_code == 200, answer.text
        return answer.json

    @rule(number=some.integers(0, PHONES - 1), count=some.integers(1, 4))
    def capture(self, number: int, count: int) -> None:
        for _ in range(count):
            self.people[number].capture()

    @rule(number=some.integers(0, PHONES - 1), fault=FAULTS, kill_at=some.integers(1, LAST_STATEMENT))
    def sync(self, number: int, fault: str, kill_at: int) -> None:
        phone = self.people[number]
        message = phone.message()
        if fault == "late":
            self.late.append((phone, message))
        if fault in ("late", "lost"):
            return
        if fault == "twice":
            self.post(phone, message)
        answer = self.post(phone, message, kill_at if fault == "killed" else 0)
        if answer is None or fault == "unheard":
            return
        phone.read(answer)
        if fault == "forget":
            phone.restart()
        else:
            phone.take(answer)

    @rule(which=some.integers(0, 99))
    def deliver_late(self, which: int) -> None:
        if self.late:
            self.post(*self.late.pop(which % len(self.late)))

    @rule(which=some.integers(0, 99), kill_at=some.integers(0, LAST_STATEMENT))
    def write_at_the_desk(self, which: int, kill_at: int) -> None:
        known = sorted(self.people[0].disk.cases)
        stored = {json.loads(row.content)["case"] for row in check.read_log(self.database)}
        known = [case for case in known if case in stored]
        if not known:
            return
        self.trap.arm(kill_at)
        is_written = False
        with contextlib.suppress(Killed):
            with self.database.writing() as session:
                workshop = Workshop(session, self.workshop_id)
                cases.write_entry(workshop, known[which % len(known)], "office", "note_added", {"text": "seen"})
            is_written = True
        self.trap.arm(0)
        if not is_written:
            self.kill_server()

    @invariant()
    def what_was_acknowledged_is_there(self) -> None:
        if hasattr(self, "database"):
            check.check_log(check.read_log(self.database), self.acknowledged)

    def teardown(self) -> None:
        if not hasattr(self, "database"):
            return
        disks: list[Disk] = [phone.disk for phone in self.people]
        for phone in self.people * 3:
            while True:
                answer = self.post(phone, phone.message())
                assert answer is not None
                phone.read(answer)
                phone.take(answer)
                if not phone.disk.outbox and not answer["more"]:
                    break
        rows = check.read_log(self.database)
        check.check_log(rows, self.acknowledged)
        for disk in disks:
            check.check_phone(disk, {row.id: json.loads(row.content) for row in rows})
        check.check_cases(self.database, self.workshop_id, disks)
        self.database.engine.dispose()


@pytest.fixture
def machine(database_kind, tmp_path, request):
    """A machine class whose databases are copies of one that was prepared."""
    cluster = request.getfixturevalue("cluster") if database_kind == "postgres" else None
    first = Settings(
        data=tmp_path, secret_key="k" * 40,
        database_url=cluster.make("machine_first") if cluster else f"sqlite:///{tmp_path / 'first.db'}",
    )  # fmt: skip
    migrate(first)
    workshop_id, person_id, disks = set_up(first, PHONES)

    def prepare():
        folder = Path(tempfile.mkdtemp(dir=tmp_path))
        if cluster:
            url = cluster.make("machine", "machine_first")
        else:
            shutil.copy(tmp_path / "first.db", folder / "x.db")
            url = f"sqlite:///{folder / 'x.db'}"
        made = Settings(data=folder, database_url=url, secret_key="k" * 40)
        return made, workshop_id, person_id, [Disk(disk.install, disk.token) for disk in disks]

    class Prepared(Machine):
        pass

    Prepared.prepare, Prepared.app = staticmethod(prepare), create_app(first)
    yield Prepared
    if cluster:
        cluster.drop("machine")
        cluster.drop("machine_first")


def test_every_order_of_events_converges(machine, database_kind):
    run_state_machine_as_test(
        machine,
        settings=settings(
            max_examples=12 if database_kind == "sqlite" else 6, stateful_step_count=25, deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )  # fmt: skip
