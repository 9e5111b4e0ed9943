"""How fast entries come in, beside what the same database does with bare bulk inserts of the same rows.

Both write batches of 200 rows (a phone's largest) in a transaction each, in turn, so that a busy machine slows both; the
figure is the ratio of the medians. `answered`: until the phone has its answer. `and judged`: until the office's rows are
written too, which happens after the answer.
"""

import statistics
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from sqlalchemy import text

from tests.actors import Phone
from tests.postgres import running_cluster
from webapp.app import create_app
from webapp.settings import Settings
from webapp.store import pairings
from webapp.store.db import Database, migrate
from webapp.store.models import Entry
from webapp.store.people import add_person
from webapp.store.scope import add_workshop, new_id

BATCHES, JOBS, ENTRIES = 40, 4, 50
Row = tuple[str, str, str]


def tell_job(phone: Phone) -> list[dict]:
    """One job as a technician leaves it: 50 entries of one case."""
    phone.case = new_id()
    entries = [*phone.opening(), phone.entry("complaint_set", {"complaints": ["no_start"]})]
    entries += [phone.reading("crank_pressure", 180), phone.reading("supply_pressure", 4.1)]
    entries += [phone.entry("step_ticked", {"check": "crank", "step": f"s{n}", "ticked": True}) for n in range(25)]
    while len(entries) < ENTRIES:
        entries.append(phone.entry("note_added", {"text": f"smells of diesel, the seat is wet, note {len(entries)}"}))
    return entries


class Ingest:
    def __init__(self, settings: Settings):
        migrate(settings)
        self.database = Database(settings)
        with self.database.writing() as session:
            workshop = add_workshop(session, "bench")
            person = add_person(workshop, name="Technician", role="technician")
            code = pairings.invite(workshop, person.id, needs_check=False).code
            self.other = add_workshop(session, "bare").id
        self.phone, self.feed = Phone(create_app(settings), code), 0

    def sync(self) -> tuple[float, float]:
        entries = [entry for _ in range(JOBS) for entry in tell_job(self.phone)]
        message = {"format": "railcase-sync/1", "app": "0.1.0", "entries": entries, "cursor": self.phone.cursor}
        began = time.perf_counter()
        answer = self.phone.client.post("/api/v1/sync", json=message, headers=self.phone.headers)
        answered = time.perf_counter() - began
        assert {row["status"] for row in answer.json["results"]} == {"stored"}
        self.phone.cursor = answer.json["cursor"]
        answer.close()
        return answered, time.perf_counter() - began

    def insert_bare(self) -> float:
        """The rows of the last sync once more, for a workshop that nobody looks at."""
        with self.database.engine.connect() as connection:
            found = connection.execute(text("select * from entries where feed > :feed and workshop_id <> :other"),
                                       {"feed": self.feed, "other": self.other})  # fmt: skip
            rows = [{**row._mapping, "workshop_id": self.other} for row in found]
        self.feed = max(row["feed"] for row in rows)
        began = time.perf_counter()
        with self.database.engine.execution_options(writes=True).begin() as connection:
            connection.execute(Entry.__table__.insert(), rows)
        return time.perf_counter() - began


def bench_one(name: str, settings: Settings) -> Iterator[Row]:
    ingest = Ingest(settings)
    answered, judged, bare = [], [], []
    for _ in range(BATCHES):
        for kept, spent in zip((answered, judged), ingest.sync(), strict=True):
            kept.append(spent)
        bare.append(ingest.insert_bare())
    ingest.database.engine.dispose()
    usual = statistics.median(bare)
    for what, spent in (("answered", answered), ("answered and judged", judged)):
        rate, ratio = JOBS * ENTRIES / statistics.median(spent), usual / statistics.median(spent)
        yield f"sync, {name}, {what}", f"{rate:.0f}/s = {ratio:.2f} of bare", "0.30" if what == "answered" else ""


def bench_ingest() -> Iterator[Row]:
    with tempfile.TemporaryDirectory() as folder, running_cluster() as cluster:
        for name, url in (("SQLite", f"sqlite:///{Path(folder) / 'x.db'}"), ("PostgreSQL", cluster.make("ingest"))):
            data = Path(folder) / name
            data.mkdir()
            yield from bench_one(name, Settings(data=data, database_url=url, secret_key="k" * 40))


if __name__ == "__main__":
    for row in bench_ingest():
        print(*row, sep="   ")
