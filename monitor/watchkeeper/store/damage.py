"""What is done about a damaged database: it is set aside, never mended in place, and the log read back from copies."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import datetime
from pathlib import Path

from . import imports
from .adif_copy import copied
from .contacts import newest, record
from .database import connect_reader
from .errors import DamagedError, translated
from .folder import DATABASE
from .migrations import immediate

_BESIDE = ("", "-wal", "-shm")


def made_sound(folder: Path, now: datetime) -> list[str]:
    """Set a damaged database aside; what to tell about it."""
    path = folder / DATABASE
    fault = _fault_of(path)
    if fault is None:
        return []
    aside = _set_aside(path, now)
    return [f"the log was damaged ({fault}) and was set aside as {aside.name}; a new one was begun"]


def filled_from_copies(connection: sqlite3.Connection, folder: Path, now: datetime) -> list[str]:
    """Fill a log that has never held a contact from the ADIF copies, where there are any; what to tell about it."""
    if newest(connection) > 0 or imports.last_import(connection) is not None:
        return []
    at_ms = round(now.timestamp() * 1000)
    with immediate(connection):
        count, faults = _read_back(connection, folder, at_ms)
    count += imports.read_back(connection, folder, at_ms)
    if not count and not faults:
        return []
    told = [f"{count} contacts were read back from the ADIF copies; what still waited to be forwarded is not known"]
    if faults:
        told.append(f"{len(faults)} records of the ADIF copies could not be understood, the first: {faults[0]}")
    return told


def _fault_of(path: Path) -> str | None:
    """What is wrong with the database at ``path``, or None for a sound one or none at all. Raises other faults."""
    if not path.exists():
        return None
    try:
        # read-only: closing a connection that may write would take the WAL away, which may hold what can be saved
        with closing(connect_reader(path)) as connection:
            found = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
    except sqlite3.Error as fault:
        known = translated(fault, path)
        if isinstance(known, DamagedError):
            return str(fault)
        raise known from fault
    return None if found == "ok" else str(found)


def _set_aside(path: Path, when: datetime) -> Path:
    """Rename the database and what SQLite keeps beside it; the new name."""
    aside = path.with_name(f"{path.name}.damaged-{when:%Y%m%dT%H%M%SZ}")
    for suffix in _BESIDE:  # a stale WAL beside a new database would be replayed into it
        beside = path.with_name(path.name + suffix)
        if beside.exists():
            beside.rename(aside.with_name(aside.name + suffix))
    return aside


def _read_back(connection: sqlite3.Connection, folder: Path, committed_ms: int) -> tuple[int, list[str]]:
    """Within a transaction: take the contacts of the ADIF copies into an empty log, without forwarding them.

    How many there were, and what could not be understood.
    """
    count, faults = 0, []
    for contact, digest, why in copied(folder):
        if contact is None:
            faults.append(why or "")
            continue
        outcome = record(connection, contact, digest, (), committed_ms=committed_ms, forward=False)
        count += outcome.contact_id is not None and outcome.status == "stored"
    connection.execute("UPDATE kept SET value = (SELECT coalesce(max(id), 0) FROM contact) WHERE name = 'copied_id'")
    return count, faults
