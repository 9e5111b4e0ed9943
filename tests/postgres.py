"""A PostgreSQL of the tests' own: a cluster in a temporary folder, run by a user without rights, reached by a socket only.

The server programs are the machine's own (`apt-get install postgresql`). Nothing is synced to the disk: what the tests do
to it is kill it, not cut its power.
"""

import contextlib
import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from sqlalchemy import create_engine

UNPRIVILEGED = "postgres"
CONF = """
listen_addresses = ''
unix_socket_directories = '{folder}'
fsync = off
full_page_writes = off
max_connections = 100
timezone = 'UTC'
"""


def find_programs() -> Path:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda path: float(path.parent.name))
    beside = shutil.which("postgres")
    assert found or beside, "PostgreSQL's programs are not here: apt-get install postgresql"
    return found[-1] if found else Path(str(beside)).parent


class Cluster:
    """`make` gives the address of a new database, empty or copied from another one of the cluster."""

    def __init__(self) -> None:
        self.programs = find_programs()
        self.folder = Path(tempfile.mkdtemp(prefix="railcase-postgres-"))
        self.user = UNPRIVILEGED if os.geteuid() == 0 else None
        if self.user:
            shutil.chown(self.folder, self.user)
        self.data = self.folder / "data"
        self.run("initdb", "-D", self.data, "-A", "trust", "-U", "railcase", "-E", "UTF8", "--no-locale", "--no-sync")
        conf = self.data / "postgresql.conf"
        conf.write_text(conf.read_text() + CONF.format(folder=self.folder))
        self.start()

    def run(self, program: str, *args: object) -> None:
        command = [str(self.programs / program), *map(str, args)]
        done = subprocess.run(command, user=self.user, cwd=self.folder, capture_output=True, text=True, timeout=120)
        assert done.returncode == 0, done.stdout + done.stderr

    def start(self) -> None:
        self.run("pg_ctl", "-D", self.data, "-l", self.folder / "log", "-w", "-s", "start")

    def stop(self, mode: str = "fast") -> None:
        """`fast`: as an administrator would; `immediate`: as a crash would, to be recovered at the next start."""
        self.run("pg_ctl", "-D", self.data, "-m", mode, "-w", "-s", "stop")

    def remove(self) -> None:
        with contextlib.suppress(AssertionError):
            self.stop("immediate")
        shutil.rmtree(self.folder, ignore_errors=True)

    def url(self, name: str) -> str:
        return f"postgresql+psycopg://railcase@/{name}?host={self.folder}"

    def command(self, *statements: str) -> None:
        engine = create_engine(self.url("postgres"), isolation_level="AUTOCOMMIT")
        with engine.connect() as connection:
            for statement in statements:
                connection.exec_driver_sql(statement)
        engine.dispose()

    def make(self, name: str, template: str = "template1") -> str:
        self.command(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)", f"CREATE DATABASE {name} TEMPLATE {template}")
        return self.url(name)

    def drop(self, name: str) -> None:
        self.command(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")

    def wait(self, seconds: float = 30) -> None:
        """Until it answers again."""
        end = time.monotonic() + seconds
        while True:
            try:
                return self.command("SELECT 1")
            except Exception:
                assert time.monotonic() < end, (self.folder / "log").read_text()[-2000:]
                time.sleep(0.05)


@contextlib.contextmanager
def running_cluster() -> Iterator[Cluster]:
    cluster = Cluster()
    try:
        yield cluster
    finally:
        cluster.remove()
