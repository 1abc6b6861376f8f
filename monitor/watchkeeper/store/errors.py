"""What can go wrong with the durable record, each in one clear sentence for the operator."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

#: what SQLite says, beside "full", where a disk without room cannot be written or a file there cannot grow
_NO_ROOM = frozenset((sqlite3.SQLITE_IOERR_WRITE, sqlite3.SQLITE_IOERR_SHMSIZE))


class StoreError(Exception):
    """Base of every fault of the store. Its text is fit to be shown as it is."""


class StoreHeldError(StoreError):
    """Another watch holds the data folder. ``pid`` is that process, or None when it could not be read."""

    def __init__(self, folder: Path, pid: int | None) -> None:
        who = f"process {pid}" if pid is not None else "another process"
        super().__init__(f"the log in {folder} is held by {who}: one watch at a time")
        self.pid = pid


class FolderError(StoreError):
    """The data folder cannot be made or written."""


class NoLogError(StoreError):
    """There is no log in the data folder yet."""


class DiskFullError(StoreError):
    """There is no room: nothing was written. What was acknowledged before stays, and later writes work again."""


class BusyError(StoreError):
    """Another program kept the database locked for longer than we wait."""


class BrokenOffError(StoreError):
    """An import was ended before its time: nothing of it is in the log."""


class DamagedError(StoreError):
    """The database file is not sound."""


class MigrationError(StoreError):
    """The tables of one plugin could not be made; nothing else is touched. ``plugin`` names it."""

    def __init__(self, plugin: str, why: str) -> None:
        super().__init__(f"the tables of plugin {plugin} could not be made: {why}")
        self.plugin = plugin
        self.why = why


@contextmanager
def in_words(path: Path) -> Iterator[None]:
    """Turn SQLite's faults on the database at ``path`` into ours; anything else passes."""
    try:
        yield
    except sqlite3.Error as fault:
        raise translated(fault, path) from fault


def translated(fault: sqlite3.Error, path: Path) -> Exception:
    """Our exception for SQLite's ``fault``, or the fault itself where we know no better word."""
    code = getattr(fault, "sqlite_errorcode", None)
    primary = code & 0xFF if isinstance(code, int) else None
    if primary == sqlite3.SQLITE_FULL or code in _NO_ROOM:
        return DiskFullError(f"no room left for the log at {path}: nothing was written, make room and it goes on")
    if primary in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return BusyError(f"another program keeps the log at {path} locked")
    if primary in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return FolderError(f"the log at {path} cannot be opened for writing: {fault}")
    if primary in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return DamagedError(f"the log at {path} is damaged: {fault}")
    if primary == sqlite3.SQLITE_IOERR:
        name = getattr(fault, "sqlite_errorname", "")
        return FolderError(f"the disk does not read or write the log at {path}: {fault} ({name})")
    return fault
