"""The outbox as rows: what waits for which destination, and what became of it."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from enum import StrEnum

import msgspec


class State(StrEnum):
    """Where a payload stands."""

    WAITING = "waiting"
    DELIVERED = "delivered"
    DEAD = "dead"  # refused for good, or never encoded: waits for the operator
    DROPPED = "dropped"  # given up by the operator


class OutboxRow(msgspec.Struct, frozen=True, kw_only=True):
    """One contact on its way to one destination. ``payload`` is None while it could not be encoded."""

    id: int
    contact_id: int
    destination: str
    lane: str  # rows of one lane go out in order
    key: str  # the same on every try
    payload: bytes | None
    state: State
    created_ms: int
    tries: int
    due_ms: int  # not to be tried before
    done_ms: int | None
    why: str | None


class Backlog(msgspec.Struct, frozen=True, kw_only=True):
    """How much of what kind a destination has; ``oldest_ms``: when the oldest waiting row was made."""

    waiting: int = 0
    dead: int = 0
    oldest_ms: int | None = None


_COLUMNS = "id, contact_id, destination, lane, key, payload, state, created_ms, tries, due_ms, done_ms, why"
_ROW = f"SELECT {_COLUMNS} FROM outbox"  # noqa: S608 - names of ours


def _rows(found: sqlite3.Cursor) -> Iterator[OutboxRow]:
    for row_id, contact_id, destination, lane, key, payload, state, created_ms, tries, due_ms, done_ms, why in found:
        yield OutboxRow(
            id=row_id,
            contact_id=contact_id,
            destination=destination,
            lane=lane,
            key=key,
            payload=payload,
            state=State(state),
            created_ms=created_ms,
            tries=tries,
            due_ms=due_ms,
            done_ms=done_ms,
            why=why,
        )


def next_due(connection: sqlite3.Connection, destination: str, now_ms: int) -> OutboxRow | None:
    """The row to try now: due, nothing older of its lane waiting; the least tried, of those the oldest.

    So a contact that fails for ever does not stand before all others.
    """
    found = connection.execute(
        f"{_ROW} AS row WHERE destination = :destination AND state = 'waiting' AND due_ms <= :now"  # noqa: S608
        " AND NOT EXISTS (SELECT 1 FROM outbox AS older WHERE older.destination = :destination"
        " AND older.state = 'waiting' AND older.lane = row.lane AND older.id < row.id)"
        " ORDER BY tries, id LIMIT 1",
        {"destination": destination, "now": now_ms},
    )
    return next(_rows(found), None)


def next_due_ms(connection: sqlite3.Connection, destination: str) -> int | None:
    """When the next waiting row falls due; None where nothing waits."""
    found: int | None = connection.execute(
        "SELECT min(due_ms) FROM outbox WHERE destination = ? AND state = 'waiting'", (destination,)
    ).fetchone()[0]
    return found


def find(connection: sqlite3.Connection, row_id: int) -> OutboxRow | None:
    """One row."""
    return next(_rows(connection.execute(f"{_ROW} WHERE id = ?", (row_id,))), None)


def listed(
    connection: sqlite3.Connection, *, states: Sequence[State], destination: str | None = None, limit: int = 1000
) -> Iterator[OutboxRow]:
    """Rows in ``states``, the oldest first."""
    places = ", ".join("?" * len(states))
    return _rows(
        connection.execute(
            f"{_ROW} WHERE state IN ({places}) AND (? IS NULL OR destination = ?) ORDER BY id LIMIT ?",
            (*states, destination, destination, limit),
        )
    )


def backlogs(connection: sqlite3.Connection) -> dict[str, Backlog]:
    """What waits and what is dead, by destination. Reads the partial indexes only, never what was delivered."""
    waiting = {
        destination: (count, created_ms)
        for destination, count, _, created_ms in connection.execute(
            # SQLite takes the bare column from the row that holds the minimum
            "SELECT destination, count(*), min(id), created_ms FROM outbox WHERE state = 'waiting' GROUP BY destination"
        )
    }
    dead = dict(
        connection.execute("SELECT destination, count(*) FROM outbox WHERE state = 'dead' GROUP BY destination")
    )
    found = {}
    for name in sorted(waiting.keys() | dead.keys()):
        count, oldest_ms = waiting.get(name, (0, None))
        found[name] = Backlog(waiting=count, dead=dead.get(name, 0), oldest_ms=oldest_ms)
    return found


def delivered(connection: sqlite3.Connection) -> dict[str, int]:
    """How many rows were ever delivered, by destination. Reads the whole table."""
    return dict(
        connection.execute("SELECT destination, count(*) FROM outbox WHERE state = 'delivered' GROUP BY destination")
    )


def mark(connection: sqlite3.Connection, row_id: int, state: State, now_ms: int, why: str | None) -> None:
    """Note how the last try of a waiting row ended for good."""
    connection.execute(
        "UPDATE outbox SET state = ?, done_ms = ?, why = ?, tries = tries + 1 WHERE id = ? AND state = 'waiting'",
        (state, now_ms, why, row_id),
    )


def postpone(connection: sqlite3.Connection, row_id: int, due_ms: int, why: str | None) -> None:
    """Note a failed try, and when the next may be made."""
    connection.execute(
        "UPDATE outbox SET due_ms = ?, why = ?, tries = tries + 1 WHERE id = ? AND state = 'waiting'",
        (due_ms, why, row_id),
    )


def release(connection: sqlite3.Connection, destination: str) -> None:
    """Make all that waits for a destination due now."""
    connection.execute(
        "UPDATE outbox SET due_ms = 0 WHERE destination = ? AND state = 'waiting' AND due_ms > 0", (destination,)
    )


def freeze(connection: sqlite3.Connection, row_id: int, payload: bytes) -> None:
    """Keep the payload of a row that had none: from now on every try sends these bytes."""
    connection.execute("UPDATE outbox SET payload = ? WHERE id = ? AND payload IS NULL", (payload, row_id))


def retry(connection: sqlite3.Connection, ids: Sequence[int]) -> int:
    """Have dead and dropped rows tried again, and waiting ones at once; how many there were."""
    return sum(
        connection.execute(
            "UPDATE outbox SET state = 'waiting', due_ms = 0, done_ms = NULL WHERE id = ? AND state != 'delivered'",
            (row_id,),
        ).rowcount
        for row_id in ids
    )


def drop(connection: sqlite3.Connection, ids: Sequence[int], now_ms: int) -> int:
    """Give up waiting and dead rows; they stay to be seen. How many there were."""
    return sum(
        connection.execute(
            "UPDATE outbox SET state = 'dropped', done_ms = ? WHERE id = ? AND state IN ('waiting', 'dead')",
            (now_ms, row_id),
        ).rowcount
        for row_id in ids
    )
