"""Sessions of the watch and their journals, as rows."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from operator import attrgetter

import msgspec

from ..model import Hearing
from .contacts import newest


class SessionRow(msgspec.Struct, frozen=True, kw_only=True):
    """One session. ``baseline`` numbers the state of the log when it began; ``ended_ms`` None: not closed."""

    id: int
    started_ms: int
    ended_ms: int | None
    baseline: int
    header: bytes

    @property
    def closed(self) -> bool:
        """Whether the session ended in good order."""
        return self.ended_ms is not None


class JournalChunk(msgspec.Struct, frozen=True, kw_only=True):
    """Entries ``first_n`` to ``first_n + count - 1`` of a session's journal: ``body`` holds them as lines of JSON."""

    session: int
    first_n: int
    count: int
    body: bytes


def open_session(connection: sqlite3.Connection, header: bytes, started_ms: int) -> int:
    """Begin a session on the contacts there are now; its id."""
    cursor = connection.execute(
        "INSERT INTO session (started_ms, baseline, header) VALUES (?, ?, ?)", (started_ms, newest(connection), header)
    )
    assert cursor.lastrowid is not None
    return cursor.lastrowid


def close_session(connection: sqlite3.Connection, session: int, ended_ms: int) -> None:
    """Note the end of a session."""
    connection.execute("UPDATE session SET ended_ms = ? WHERE id = ?", (ended_ms, session))


def sessions(connection: sqlite3.Connection, *, limit: int = -1) -> Iterator[SessionRow]:
    """The sessions, the newest first; at most ``limit`` of them, where it is not negative."""
    rows = connection.execute(
        "SELECT id, started_ms, ended_ms, baseline, header FROM session ORDER BY id DESC LIMIT ?",
        (limit,),
    )
    for row_id, started_ms, ended_ms, baseline, header in rows:
        yield SessionRow(id=row_id, started_ms=started_ms, ended_ms=ended_ms, baseline=baseline, header=header)


def append(connection: sqlite3.Connection, chunk: JournalChunk) -> None:
    """Add a chunk to its session's journal."""
    connection.execute(
        "INSERT INTO journal (session, first_n, count, body) VALUES (?, ?, ?, ?)",
        (chunk.session, chunk.first_n, chunk.count, chunk.body),
    )


def entries(connection: sqlite3.Connection, session: int) -> Iterator[bytes]:
    """The journal of a session, an entry a line, in order. A number that was written twice is read once."""
    expected = 0
    rows = connection.execute(
        "SELECT first_n, count, body FROM journal WHERE session = ? ORDER BY first_n, id", (session,)
    )
    for first_n, count, body in rows:
        skip = max(0, expected - first_n)
        yield from body.splitlines()[skip:]
        expected = max(expected, first_n + count)


#: the columns of a hearing's row, in the order of :func:`hearing_row`
HEARING_COLUMNS = (
    "session",
    "period_ms",
    "source",
    "mode",
    "band",
    "dial_hz",
    "offset_hz",
    "snr_db",
    "call",
    "locator",
    "distance_km",
    "azimuth_deg",
    "text",
    "copies",
    "late",
    "live",
)
#: all but the session are fields of the hearing
_of_hearing = attrgetter(*HEARING_COLUMNS[1:])
_ADD_HEARING = f"INSERT INTO hearing ({', '.join(HEARING_COLUMNS)}) VALUES ({', '.join('?' * len(HEARING_COLUMNS))})"  # noqa: S608


def hearing_row(session: int, hearing: Hearing) -> tuple[object, ...]:
    """A hearing as its row."""
    return (session, *_of_hearing(hearing))


def add_hearings(connection: sqlite3.Connection, rows: Sequence[Sequence[object]]) -> None:
    """Add a batch of hearings."""
    connection.executemany(_ADD_HEARING, rows)
