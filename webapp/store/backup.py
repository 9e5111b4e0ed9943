"""One file that holds everything: a copy of the database as of one moment, and every photo that this copy names.

Photos are written before the row that names them and never change, so those that a copy names are there when they are
read after it. On PostgreSQL its own tools make the copy. Putting back an older state moves every workshop's feed past all
cursors that were ever handed out: otherwise phones would step over what gets the same numbers a second time.
"""

import hashlib
import io
import json
import os
import shutil
import sqlite3
import tarfile
import tempfile
from contextlib import closing
from pathlib import Path
from typing import IO, NamedTuple

from webapp import __version__
from webapp.settings import Settings
from webapp.store.db import Database, migrate
from webapp.store.moments import now
from webapp.store.refusals import Conflict, NoRoom, Refusal
from webapp.store.scope import list_workshops
from webapp.store.shelves import Shelf

FORMAT = "railcase-backup/1"
FEED_LEAP = 1_000_000_000
POSTGRES = (
    "a PostgreSQL database is backed up with its own tools: first 'pg_dump --format=custom', then a copy of the photos; "
    "put both back, then run 'railcase restore --marked'"
)


class Backup(NamedTuple):
    entries: int
    photos: int
    missing: list[str]


def find_file(settings: Settings) -> Path:
    """*Refuses* another database than SQLite in a file."""
    if not settings.database_url.startswith("sqlite:///"):
        raise Refusal("not_sqlite", "database", f"database: {POSTGRES}")
    return Path(settings.database_url.removeprefix("sqlite:///"))


def sum_file(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def copy_database(source: Path, target: Path) -> None:
    """A whole copy of one moment, while others go on reading and writing."""
    with closing(sqlite3.connect(source)) as reading, closing(sqlite3.connect(target)) as writing:
        reading.backup(writing)
        writing.execute("PRAGMA journal_mode=DELETE")


def query(path: Path, statement: str) -> list[tuple]:
    with closing(sqlite3.connect(path)) as connection, connection:
        return connection.execute(statement).fetchall()


def list_photos(copy: Path) -> list[str]:
    """The keys of all photos that a copy of the database names."""
    found = query(copy, "SELECT workshop_id, sha256 FROM photos ORDER BY 1, 2")
    return [f"{workshop}/{name[:2]}/{name}" for workshop, name in found]


def count_entries(copy: Path) -> int:
    return query(copy, "SELECT count(*) FROM entries")[0][0]


def back_up(settings: Settings, file: Path) -> Backup:
    """Write everything to a file that is only there once it is whole. Photos whose file is gone are named, not hidden."""
    source = find_file(settings)
    if not source.exists():
        raise Refusal("missing", "database", f"database: there is none at '{source}'; check RAILCASE_DATA")
    try:
        with tempfile.TemporaryDirectory(dir=file.parent, prefix=".backup-") as folder:
            copy, pack = Path(folder) / "railcase.db", Path(folder) / "whole.tar"
            copy_database(source, copy)
            missing = write_pack(pack, copy, Database(settings).photos)
            os.replace(pack, file)
            return Backup(count_entries(copy), len(list_photos(copy)) - len(missing), missing)
    except OSError as problem:
        raise NoRoom("file", f"file: '{file}' could not be written ({problem.strerror})") from None


def write_pack(pack: Path, copy: Path, shelf: Shelf) -> list[str]:
    """Return the sums of the photos whose file is gone."""
    missing = []
    with pack.open("wb") as file:
        with tarfile.open(fileobj=file, mode="w") as tar:
            add(tar, "manifest.json", json.dumps(describe(copy), indent=1).encode())
            tar.add(copy, "railcase.db")
            for key in list_photos(copy):
                data = shelf.read(key)
                if data is None:
                    missing.append(key.rpartition("/")[2])
                else:
                    add(tar, f"photos/{key}", data)
        file.flush()
        os.fsync(file.fileno())
    return missing


def describe(copy: Path) -> dict:
    revision = query(copy, "SELECT version_num FROM alembic_version")[0][0]
    return {"format": FORMAT, "made_at": now(), "app": __version__, "revision": revision, "database_sha256": sum_file(copy)}


def add(tar: tarfile.TarFile, name: str, data: bytes) -> None:
    member = tarfile.TarInfo(name)
    member.size, member.mode = len(data), 0o600
    tar.addfile(member, io.BytesIO(data))


def restore(settings: Settings, file: Path) -> Backup:
    """Put a backup back into an empty place. *Refuses* to touch a database that is there, and a file that is not whole."""
    target = find_file(settings)
    if target.exists():
        text = f"database: there is one at '{target}'; move it away, or name another RAILCASE_DATA"
        raise Conflict("taken", "database", text)
    target.parent.mkdir(parents=True, exist_ok=True)
    try:
        with tarfile.open(file) as tar, tempfile.TemporaryDirectory(dir=target.parent, prefix=".restore-") as folder:
            copy = Path(folder) / "railcase.db"
            unpack_database(tar, copy)
            wanted, shelf = list_photos(copy), Database(settings).photos
            missing = [key.rpartition("/")[2] for key in wanted if not put_back(tar, shelf, key)]
            query(copy, f"UPDATE workshops SET last_feed = last_feed + {FEED_LEAP}")
            entries = count_entries(copy)
            os.replace(copy, target)
    except (OSError, tarfile.TarError, KeyError, ValueError, sqlite3.DatabaseError) as problem:
        raise Refusal("not_whole", "file", f"file: '{file}' could not be put back ({problem}); take another copy") from None
    migrate(settings)
    return Backup(entries, len(wanted) - len(missing), missing)


def unpack_database(tar: tarfile.TarFile, copy: Path) -> None:
    """*Refuses* with ValueError what is no backup of ours, or not all of it."""
    manifest = json.loads(open_member(tar, "manifest.json").read())
    with open_member(tar, "railcase.db") as source, copy.open("wb") as file:
        shutil.copyfileobj(source, file)
        file.flush()
        os.fsync(file.fileno())
    if manifest.get("format") != FORMAT or sum_file(copy) != manifest.get("database_sha256"):
        raise ValueError("it is not a whole backup of railcase")


def open_member(tar: tarfile.TarFile, name: str) -> IO[bytes]:
    found = tar.extractfile(name)
    if found is None:
        raise KeyError(name)
    return found


def put_back(tar: tarfile.TarFile, shelf: Shelf, key: str) -> bool:
    """False when the backup has no such photo, or not the one it says."""
    try:
        data = open_member(tar, f"photos/{key}").read()
    except KeyError:
        return False
    if hashlib.sha256(data).hexdigest() != key.rpartition("/")[2]:
        return False
    shelf.write(key, data)
    return True


def mark_restored(database: Database) -> int:
    """After the database was put back by other means: move every feed on; return the number of workshops."""
    with database.writing() as session:
        workshops = list_workshops(session)
        for workshop in workshops:
            workshop.lock().last_feed += FEED_LEAP
    return len(workshops)
