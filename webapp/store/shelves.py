"""Where bytes that are too large for the database lie: a folder of this machine, or a bucket that several machines share.

A shelf knows keys such as `workshop/ab/abcd...` and whole values, nothing of photos or who may see them. Writing is all
or nothing and answers only once the bytes would outlast a power cut, because the phone may then drop its own copy.
"""

import contextlib
import os
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

from webapp.store.refusals import NoRoom

NEW = ".new-"  # a value that is being written


class Shelf(Protocol):
    """What both kinds offer."""

    def write(self, key: str, data: bytes) -> None: ...

    def read(self, key: str) -> bytes | None: ...

    def list_keys(self, prefix: str) -> list[str]: ...

    def remove(self, key: str) -> None: ...

    def list_ages(self, prefix: str) -> dict[str, float]: ...


class Folder:
    """A folder of this machine."""

    def __init__(self, root: Path):
        self.root = root

    def write(self, key: str, data: bytes) -> None:
        """*Refuses* with NoRoom when the disk does not take it; nothing half-written stays."""
        path = self.root / key
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            write_whole(path, data)
        except OSError as problem:
            raise NoRoom("photo", f"photo: it could not be stored ({problem.strerror})") from None

    def read(self, key: str) -> bytes | None:
        try:
            return (self.root / key).read_bytes()
        except FileNotFoundError:
            return None

    def list_keys(self, prefix: str) -> list[str]:
        found = (path for path in self.walk(prefix) if not path.name.startswith(NEW))
        return sorted(path.relative_to(self.root).as_posix() for path in found)

    def list_ages(self, prefix: str) -> dict[str, float]:
        """Seconds since each key was written, half-written ones of a process that was killed included."""
        moment, found = time.time(), {}
        for path in self.walk(prefix):
            with contextlib.suppress(FileNotFoundError):  # another process was first
                found[path.relative_to(self.root).as_posix()] = moment - path.stat().st_mtime
        return found

    def walk(self, prefix: str) -> Iterator[Path]:
        """Not `rglob`: it raises over a folder that another process takes away meanwhile."""
        for folder, _, names in os.walk(self.root / prefix):
            yield from (Path(folder, name) for name in names)

    def remove(self, key: str) -> None:
        """Take a value away, and its folder when that is empty then."""
        path = self.root / key
        path.unlink(missing_ok=True)
        with contextlib.suppress(OSError):  # others lie there, or another process was first
            path.parent.rmdir()


def write_whole(path: Path, data: bytes) -> None:
    with tempfile.NamedTemporaryFile(dir=path.parent, prefix=NEW, delete=False) as file:
        try:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
            os.replace(file.name, path)
        except OSError:
            Path(file.name).unlink(missing_ok=True)
            raise
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
