"""`python -m tests.rolling [--phones 200] [--port 8790]`: two hosts behind nginx on one PostgreSQL, under load.

Phones of several workshops write and sync without pause while each host is restarted in turn, then the database is, once
as an administrator would and once as a crash would. At the end: nothing that was acknowledged is lost, nothing is there
twice, every phone has what its workshop has; and the longest time that anybody waited is said, part by part.
"""

import argparse
import contextlib
import http.client
import itertools
import json
import random
import shutil
import ssl
import subprocess
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

from tests.chaos import check
from tests.chaos.phone import ChaosPhone, Disk
from tests.chaos.world import set_up
from tests.hosts import Host, write_nginx
from tests.postgres import Cluster, running_cluster
from webapp.settings import Settings
from webapp.store.db import Database, migrate
from webapp.store.uploads import PIECE_BYTES

WORKSHOP_PHONES = 10
PAUSE_S = 12.0  # between two syncs of a phone while all is well
AGAIN_S = 0.25  # after a failure: sooner than the app would, so that gaps are the servers' and not the phones'
TRUST = ssl._create_unverified_context()


class Caller:
    """One phone's connection, kept open as a browser does."""

    def __init__(self, port: int, disk: Disk):
        self.port, self.disk, self.wire = port, disk, None

    def ask(self, method: str, path: str, body: bytes = b"") -> tuple[int, dict]:
        """Status and answer; status 0 when there was none."""
        head = {"Authorization": f"Bearer {self.disk.token}", "Content-Type": "application/json"}
        for _ in range(2):  # a browser tries once more when a connection that it kept turns out to be closed
            was_open = self.wire is not None
            self.wire = self.wire or http.client.HTTPSConnection("127.0.0.1", self.port, timeout=60, context=TRUST)
            try:
                self.wire.request(method, path, body, head)
                answer = self.wire.getresponse()
                return answer.status, json.loads(answer.read() or b"{}")
            except ValueError:  # a page of nginx instead of JSON
                return answer.status, {}
            except (OSError, http.client.HTTPException):
                self.wire.close()
                self.wire = None
                if not was_open:
                    break
        return 0, {}


class Workshop:
    def __init__(self, settings: Settings, name: str, port: int, seed: int):
        self.id, person, disks = set_up(settings, WORKSHOP_PHONES, name)
        self.acknowledged: set[str] = set()
        self.phones = [ChaosPhone(disk, person, random.Random(f"{seed} {name} {n}"), self.acknowledged)
                       for n, disk in enumerate(disks)]  # fmt: skip
        self.callers = [Caller(port, disk) for disk in disks]


class Load:
    """All phones at work; `waits` holds what each failed attempt cost: (part, seconds until the next success)."""

    def __init__(self, workshops: list[Workshop]):
        self.workshops, self.part, self.is_over = workshops, "start", threading.Event()
        self.answers: Counter[tuple[str, int]] = Counter()
        self.waits: dict[str, list[float]] = {}
        self.moments: dict[str, list[float]] = {}
        self.troubles: list[BaseException] = []
        self.lock = threading.Lock()

    def live(self, phone: ChaosPhone, caller: Caller) -> None:
        try:
            time.sleep(phone.chance.uniform(0, PAUSE_S))
            while not self.is_over.is_set():
                for _ in range(phone.chance.randrange(1, 4)):
                    phone.capture()
                self.insist(phone, caller, self.is_over.is_set)
                self.is_over.wait(phone.chance.uniform(0.5, 1.5) * PAUSE_S)
        except BaseException as trouble:
            self.troubles.append(trouble)

    def insist(self, phone: ChaosPhone, caller: Caller, is_over: Callable[[], bool]) -> dict:
        """Sync until it succeeds; how long that took is kept."""
        began, part = time.monotonic(), self.part
        while not is_over():
            status, answer = caller.ask("POST", "/api/v1/sync", json.dumps(phone.message()).encode())
            with self.lock:
                self.answers[self.part, status] += 1
            assert status in (0, 200, 502, 503, 504), (status, answer)
            if status == 200:
                now = time.monotonic()
                with self.lock:
                    self.waits.setdefault(part, []).append(now - began)
                    self.moments.setdefault(self.part, []).append(now)
                    phone.read(answer)
                phone.take(answer)
                self.send_photos(phone, caller)
                return answer
            time.sleep(AGAIN_S * phone.chance.uniform(0.5, 1.5))
        return {}

    def send_photos(self, phone: ChaosPhone, caller: Caller) -> None:
        for sha256 in phone.wanted[:2]:
            data, path = phone.disk.photos[sha256], f"/api/v1/uploads/{sha256}"
            for number in range(-(-len(data) // PIECE_BYTES)):
                caller.ask("PUT", f"{path}/{number}", data[number * PIECE_BYTES : (number + 1) * PIECE_BYTES])
            status, said = caller.ask(
                "POST", f"{path}/finish", json.dumps({"type": "image/png", "size": len(data)}).encode()
            )
            assert status in (0, 200, 201, 409, 502, 503, 504), said

    def settle(self) -> None:
        for _ in range(2):  # what the last phone sends, the first one fetches in the second round
            for workshop in self.workshops:
                for phone, caller in zip(workshop.phones, workshop.callers, strict=True):
                    for _ in range(400):
                        answer = self.insist(phone, caller, bool)
                        if not (phone.disk.outbox or answer["more"] or phone.wanted):
                            break
                    else:
                        raise AssertionError("a phone does not settle")

    def tell(self) -> Iterator[str]:
        for part, waits in self.waits.items():
            failed = {status: n for (name, status), n in sorted(self.answers.items()) if name == part and status != 200}
            moments = sorted(self.moments[part])
            gap = max((later - earlier for earlier, later in itertools.pairwise(moments)), default=0)
            median = sorted(waits)[len(waits) // 2]
            yield (f"{part}: {len(waits)} syncs, failed tries by status {failed or 'none'}, median {median:.2f} s, "
                   f"longest wait of a phone {max(waits):.1f} s, longest time without any success {gap:.1f} s")  # fmt: skip


@contextlib.contextmanager
def running_hosts(folder: Path, url: str, port: int) -> Iterator[list[Host]]:
    shared = folder / "photos"
    shared.mkdir()
    hosts = []
    for number in (1, 2):
        (folder / f"host{number}").mkdir()
        (folder / f"host{number}/photos").symlink_to(shared)  # as a shared folder would be mounted
        settings = {"RAILCASE_DATABASE_URL": url, "RAILCASE_SECRET_KEY": "k" * 40, "RAILCASE_PROXIES": "1"}
        hosts.append(
            Host(folder / f"host{number}", port + number, **settings, RAILCASE_URL=f"https://127.0.0.1:{port}").start()
        )
    conf = write_nginx(folder, (port + 1, port + 2), port, port + 3)
    proxy = subprocess.Popen([shutil.which("nginx") or "/usr/sbin/nginx", "-e", str(folder / "nginx.log"), "-c", str(conf)])
    try:
        for host in hosts:
            host.wait()
        yield hosts
        for host in hosts:
            host.stop()
    except BaseException:
        for host in hosts:
            print(*host.list_errors(), sep="\n")
        raise
    finally:
        proxy.terminate()
        proxy.wait(30)
        for host in hosts:
            if host.process:
                host.process.kill()


def disturb(load: Load, hosts: list[Host], cluster: Cluster, calm_s: float) -> None:
    """Every kind of restart, with calm between."""

    def restart_database(mode: str) -> None:
        cluster.stop(mode)
        cluster.start()

    def restart_host(host: Host) -> None:
        host.stop()
        host.start().wait()

    steps: list[tuple[str, Callable[[], None]]] = [("all is well", lambda: time.sleep(calm_s))]
    steps += [(f"host {n} restarted", lambda host=host: restart_host(host)) for n, host in enumerate(hosts, 1)]  # type: ignore
    steps += [("database restarted", lambda: restart_database("fast"))]
    steps += [("database crashed", lambda: restart_database("immediate"))]
    for part, step in steps:
        load.part = part
        step()
        time.sleep(calm_s)
        assert not load.troubles, load.troubles[0]


def reckon(settings: Settings, workshops: list[Workshop]) -> str:
    database = Database(settings)
    by_workshop: dict[str, list] = {workshop.id: [] for workshop in workshops}
    for row in check.read_log(database):
        by_workshop[row.workshop_id].append(row)
    cases = photos = 0
    for workshop in workshops:
        rows, disks = by_workshop[workshop.id], [phone.disk for phone in workshop.phones]
        check.check_log(rows, workshop.acknowledged)
        contents = {row.id: json.loads(row.content) for row in rows}
        for disk in disks:
            check.check_phone(disk, contents)
        cases += check.check_cases(database, workshop.id, disks[:1])
        photos += check.check_photos(database, workshop.id, disks)
    database.engine.dispose()
    stored, said = sum(map(len, by_workshop.values())), sum(len(workshop.acknowledged) for workshop in workshops)
    return f"{said} entries acknowledged, {stored} stored, each once; {cases} cases, {photos} photos whole on all phones"


def roll(phones: int, port: int, calm_s: float, seed: int) -> Load:
    with tempfile.TemporaryDirectory(prefix="railcase-rolling-") as name, running_cluster() as cluster:
        folder = Path(name)
        settings = Settings(data=folder, database_url=cluster.make("rolling"), secret_key="k" * 40)
        migrate(settings)
        workshops = [Workshop(settings, f"workshop {n}", port, seed) for n in range(max(1, phones // WORKSHOP_PHONES))]
        load = Load(workshops)
        with running_hosts(folder, settings.database_url, port) as hosts:
            pairs = [pair for one in workshops for pair in zip(one.phones, one.callers, strict=True)]
            threads = [threading.Thread(target=load.live, args=pair) for pair in pairs]
            for thread in threads:
                thread.start()
            try:
                disturb(load, hosts, cluster, calm_s)
            finally:
                load.is_over.set()
                for thread in threads:
                    thread.join()
            load.part = "settling"
            load.settle()
        print(*load.tell(), reckon(settings, workshops), sep="\n", flush=True)
        return load


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.rolling", description=__doc__)
    parser.add_argument("--phones", type=int, default=200)
    parser.add_argument("--port", type=int, default=8790, help="of nginx; the three after it are used too")
    parser.add_argument("--calm", type=float, default=12.0, help="seconds between two restarts")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    roll(asked.phones, asked.port, asked.calm, asked.seed)


if __name__ == "__main__":
    main()
