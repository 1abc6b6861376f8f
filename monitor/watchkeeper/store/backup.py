"""A copy of the whole record in one file, taken while the watch goes on."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path

from .database import connect_reader, reading
from .errors import DamagedError, FolderError, in_words
from .folder import DATABASE

#: pages copied at a time: between two steps the watch can write
_STEP = 2048
_SUFFIXES = ("-wal", "-shm", "-journal")


def backup(folder: Path, to: Path) -> int:
    """Copy the database of the data folder ``folder`` to the file ``to``, which then stands alone; its size in bytes.

    The copy is checked and synced before it takes its name, in place of an older copy. Raises NoLogError, FolderError
    where it cannot be written or something would be read along with it, DamagedError where the copy is not sound.
    """
    if to.resolve() == (folder / DATABASE).resolve():
        raise FolderError(f"{to} is the log itself: name another file for the copy")
    beside = [to.with_name(to.name + suffix) for suffix in _SUFFIXES]
    stale = [path.name for path in beside if path.exists()]
    if stale:
        raise FolderError(f"{', '.join(stale)} beside {to} would be taken for a part of the copy: remove it first")
    fresh = to.with_name(f".{to.name}.{os.getpid()}")
    try:
        with reading(folder) as source:
            fresh.touch(0o600)  # what keeps a file from being made is told plainly here
            _copy(source, fresh)
        _sync(fresh)
        fresh.replace(to)
        _sync(to.parent)
        return to.stat().st_size
    except OSError as fault:
        raise FolderError(f"the copy {to} cannot be written: {fault.strerror}") from fault
    finally:
        for path in (fresh, *(fresh.with_name(fresh.name + suffix) for suffix in _SUFFIXES)):
            path.unlink(missing_ok=True)


def _copy(source: sqlite3.Connection, fresh: Path) -> None:
    with in_words(fresh), closing(sqlite3.connect(fresh, isolation_level=None)) as target:
        source.backup(target, pages=_STEP)
        target.execute("PRAGMA journal_mode = DELETE")  # nothing beside it
    with in_words(fresh), closing(connect_reader(fresh)) as copy:
        found = copy.execute("PRAGMA quick_check(1)").fetchone()[0]
    if found != "ok":
        raise DamagedError(f"the copy is not sound ({found}), so the log may be damaged: the old copy is kept")


def _sync(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
