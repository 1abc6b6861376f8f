"""Contacts as rows: identity, correction, likeness, and their outbox rows, all within the caller's transaction."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from enum import StrEnum
from io import BytesIO

import msgspec

from ..adif import read
from ..adif.contact import from_record
from ..model import Contact
from ..radio import mode as radio_mode
from .activated import activated_by
from .told import told_by

#: contacts of one call, band and mode that start within this time are alike
LIKE_MS = 5 * 60_000

#: a contact that ends this far beyond the clock has a wrong date: a flag says so
FUTURE_MS = 120_000
IN_FUTURE = "ends in the future"

#: destination, the frozen payload, and why there is none
Payload = tuple[str, bytes | None, str | None]

_encode = msgspec.json.Encoder().encode
_decode = msgspec.json.Decoder(Contact).decode


class Status(StrEnum):
    """What became of a contact that was offered to the log."""

    STORED = "stored"
    REPEATED = "repeated"
    REFUSED = "refused"


class Outcome(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What became of a contact: its row, and the first of its group when it is like an earlier one."""

    status: Status
    why: str | None = None
    contact_id: int | None = None
    same_as: int | None = None
    corrects: int | None = None  # the row that it supersedes


def record(
    connection: sqlite3.Connection,
    contact: Contact,
    digest: bytes,
    payloads: Sequence[Payload],
    *,
    committed_ms: int,
    forward: bool,
) -> Outcome:
    """Take ``contact`` into the log, or say why not. ``digest`` stands for its content as the source sent it."""
    before = connection.execute(
        "SELECT id, revision, digest FROM contact WHERE key = ? AND import_id IS NULL ORDER BY revision DESC",
        (contact.key,),
    ).fetchall()
    for row_id, revision, known in before:
        if revision == contact.revision:
            return _met_again(row_id, same=known == digest, revision=revision)
    if before and contact.revision < before[0][1]:
        why = f"revision {contact.revision} comes after revision {before[0][1]}, which is in the log"
        return Outcome(status=Status.REFUSED, why=why, contact_id=before[0][0])
    corrected = before[0][0] if before else None
    first = _first_of_group(connection, contact) if corrected is None else _known_first(connection, corrected)
    row_id = _insert(connection, contact, digest, corrected, committed_ms)
    if first is not None:
        connection.execute("INSERT INTO same_as (contact_id, first_id) VALUES (?, ?)", (row_id, first))
    if forward and first is None:
        _enqueue(connection, row_id, contact, payloads, committed_ms)
    return Outcome(status=Status.STORED, contact_id=row_id, same_as=first, corrects=corrected)


def _met_again(row_id: int, *, same: bool, revision: int) -> Outcome:
    if same:
        return Outcome(status=Status.REPEATED, contact_id=row_id)
    why = f"the log has another contact under this id (revision {revision}); a correction needs a higher revision"
    return Outcome(status=Status.REFUSED, why=why, contact_id=row_id)


def _insert(
    connection: sqlite3.Connection, contact: Contact, digest: bytes, corrected: int | None, committed_ms: int
) -> int:
    cursor = connection.execute(
        "INSERT INTO contact"
        " (key, revision, digest, call, started_ms, band, mode, committed_ms, supersedes, told, activated, body)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            contact.key,
            contact.revision,
            digest,
            contact.call,
            contact.started_ms,
            contact.band,
            contact.mode,
            committed_ms,
            corrected,
            told_by(contact),
            activated_by(contact.activations),
            _encode(contact),
        ),
    )
    assert cursor.lastrowid is not None
    return cursor.lastrowid


def _enqueue(
    connection: sqlite3.Connection, row_id: int, contact: Contact, payloads: Sequence[Payload], at_ms: int
) -> None:
    """One outbox row for each destination. A payload that could not be made is a dead letter from the start."""
    key = f"{contact.key}#{contact.revision}" if contact.revision else contact.key
    for destination, payload, error in payloads:
        state, why = ("waiting", None) if payload is not None else ("dead", f"cannot be encoded: {error}")
        connection.execute(
            "INSERT INTO outbox (contact_id, destination, lane, key, payload, state, created_ms, why)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            (row_id, destination, contact.key, key, payload, state, at_ms, why),
        )


def _first_of_group(connection: sqlite3.Connection, contact: Contact) -> int | None:
    """The first contact that is like this one, or None."""
    rows = connection.execute(
        "SELECT id, mode, body FROM standing WHERE call = ? AND started_ms BETWEEN ? AND ? AND band IS ? ORDER BY id",
        (contact.call, contact.started_ms - LIKE_MS, contact.started_ms + LIKE_MS, contact.band),
    )
    for row_id, mode, body in rows:
        if modes_alike(mode, contact.mode) and _same_station(from_body(body), contact):
            return _known_first(connection, row_id) or row_id
    return None


def _known_first(connection: sqlite3.Connection, row_id: int) -> int | None:
    found = connection.execute("SELECT first_id FROM same_as WHERE contact_id = ?", (row_id,)).fetchone()
    return found[0] if found else None


def _same_station(one: Contact, other: Contact) -> bool:
    return one.station_call is None or other.station_call is None or one.station_call == other.station_call


def modes_alike(one: str, other: str) -> bool:
    """Whether two names may stand for one mode: equal, or a submode and the mode that the standard files it under."""
    return one == other or _filed_under(one) == other or _filed_under(other) == one


def _filed_under(name: str) -> str:
    try:
        return radio_mode.to_adif(name)[0]
    except ValueError:
        return name


def standing(connection: sqlite3.Connection, *, behind_id: int = 0) -> Iterator[tuple[int, Contact]]:
    """The log with its row numbers, in the order of the rows, behind row ``behind_id``.

    What was corrected or taken back is left out, and so is what is like an earlier contact.
    """
    rows = connection.execute(
        "SELECT id, body, fields, committed_ms FROM confirmed_standing WHERE id > ? ORDER BY id", (behind_id,)
    )
    return contacts_of(rows)


def contacts_of(rows: Iterable[tuple[int, bytes, bytes | None, int]]) -> Iterator[tuple[int, Contact]]:
    """Contacts from rows of number, body, the fields of a later confirmation or None, and when it was logged."""
    for row_id, body, fields, committed_ms in rows:
        contact = from_body(body)
        if contact.ended_ms > committed_ms + FUTURE_MS and IN_FUTURE not in contact.flags:  # an import's
            contact = msgspec.structs.replace(contact, flags=(*contact.flags, IN_FUTURE))
        if fields is not None:
            extra = contact.extra | msgspec.json.decode(fields, type=dict[str, str])
            contact = msgspec.structs.replace(contact, confirmed=True, extra=extra)
        yield row_id, contact


def by_id(connection: sqlite3.Connection, row_id: int) -> Contact | None:
    """The contact in row ``row_id``."""
    found = connection.execute("SELECT body FROM contact WHERE id = ?", (row_id,)).fetchone()
    return None if found is None else from_body(found[0])


def row_of(connection: sqlite3.Connection, key: str, digest: bytes) -> int | None:
    """The number of the contact that came under ``key`` with the content of ``digest``."""
    found = connection.execute(
        "SELECT max(id) FROM contact WHERE key = ? AND digest = ? AND import_id IS NULL", (key, digest)
    ).fetchone()
    number: int | None = found[0]
    return number


def is_announced(connection: sqlite3.Connection, *, source: str, source_id: str, call: str, started_ms: int) -> bool:
    """Whether the log has the contact that ``source`` calls ``source_id``, whatever the own call it came under."""
    keys = connection.execute(
        "SELECT key FROM contact WHERE call = ? AND started_ms = ? AND import_id IS NULL", (call, started_ms)
    )
    return any(key.partition("|")[2] == f"{source}|{source_id}" for (key,) in keys)


def newest(connection: sqlite3.Connection) -> int:
    """The number of the log's present state: the highest given to a contact, an undo or an import's confirmations."""
    found = connection.execute("SELECT seq FROM sqlite_sequence WHERE name = 'contact'").fetchone()
    return 0 if found is None else int(found[0])


def take_number(connection: sqlite3.Connection) -> int:
    """Within a transaction: take the next number of the contacts' sequence for something that changes the log."""
    number = newest(connection) + 1
    if not connection.execute("UPDATE sqlite_sequence SET seq = ? WHERE name = 'contact'", (number,)).rowcount:
        connection.execute("INSERT INTO sqlite_sequence (name, seq) VALUES ('contact', ?)", (number,))
    return number


def from_body(body: bytes) -> Contact:
    """The contact that a row keeps: JSON, or the ADIF record of an import."""
    if body.startswith(b"{"):
        return _decode(body)
    return from_record(next(read(BytesIO(body)))).contact
