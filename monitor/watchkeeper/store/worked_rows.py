"""The worked index of a state of the log: the newest snapshot before it, and the rows behind that."""

from __future__ import annotations

import sqlite3

from .told import facts_of
from .worked import Dimension, WorkedIndex

#: rows folded in behind a snapshot before a new one is worth while
SNAPSHOT_AFTER = 2_000
_KEPT_SNAPSHOTS = 2
#: rows that are gathered before they enter the index: bounds the memory
_BLOCK = 50_000
_TWO_DAYS_MS = 2 * 86_400_000

_STANDING = """
    FROM contact WHERE id > :behind AND id < :before
    AND id NOT IN (SELECT supersedes FROM contact WHERE supersedes IS NOT NULL AND id < :before)
    AND (import_id IS NULL OR import_id NOT IN (SELECT import_id FROM undo WHERE undo.id < :before))
"""
_ROWS = f"SELECT call, told, band, mode, id NOT IN (SELECT contact_id FROM same_as) {_STANDING} ORDER BY id"  # noqa: S608 - texts of ours
_CONFIRMED = """
    SELECT call, told, band, mode FROM confirmation JOIN contact ON contact.id = contact_id
    WHERE number > :behind AND number < :before
    AND contact.id NOT IN (SELECT supersedes FROM contact WHERE supersedes IS NOT NULL AND id < :before)
    AND confirmation.import_id NOT IN (SELECT import_id FROM undo WHERE undo.id < :before)
"""
_RECENT = f"""
    SELECT call, band, mode, started_ms {_STANDING}
    AND started_ms > (SELECT committed_ms FROM contact WHERE id < :before ORDER BY id DESC LIMIT 1) - :recent
"""  # noqa: S608 - texts of ours


def index_before(connection: sqlite3.Connection, before_id: int) -> tuple[WorkedIndex, int]:
    """The index of the log as it stood before number ``before_id``, and how many rows had to be read for it."""
    for through_id, body in connection.execute(
        "SELECT through_id, body FROM worked_snapshot WHERE through_id < ? ORDER BY through_id DESC", (before_id,)
    ):
        if _still_holds(connection, through_id, before_id):
            index = WorkedIndex.load(body)
            if index is not None:
                return index, _fold(index, connection, through_id, before_id)
    index = WorkedIndex()
    return index, _fold(index, connection, 0, before_id)


def save(connection: sqlite3.Connection, through_id: int, dumped: bytes) -> None:
    """Keep the dumped index of the log's state ``through_id``; older snapshots go, but for one."""
    connection.execute("INSERT OR REPLACE INTO worked_snapshot (through_id, body) VALUES (?, ?)", (through_id, dumped))
    connection.execute(
        "DELETE FROM worked_snapshot WHERE through_id NOT IN"
        " (SELECT through_id FROM worked_snapshot ORDER BY through_id DESC LIMIT ?)",
        (_KEPT_SNAPSHOTS,),
    )


def _still_holds(connection: sqlite3.Connection, through_id: int, before_id: int) -> bool:
    """Whether nothing between the two numbers took away what the snapshot counts: the index can only grow."""
    corrected, undone = connection.execute(
        "SELECT EXISTS (SELECT 1 FROM contact WHERE supersedes <= :through AND id > :through AND id < :before),"
        " EXISTS (SELECT 1 FROM undo WHERE id > :through AND id < :before)",
        {"through": through_id, "before": before_id},
    ).fetchone()
    return not corrected and not undone


def _fold(index: WorkedIndex, connection: sqlite3.Connection, behind_id: int, before_id: int) -> int:
    """Add the rows between the two numbers that no correction or undo before the second took out; how many."""
    limits = {"behind": behind_id, "before": before_id}
    rows = connection.execute(_ROWS, limits)
    count = 0
    while block := rows.fetchmany(_BLOCK):
        count += len(block)
        gathered: dict[tuple[str, str], int] = {}
        for call, told, band, mode, counts in block:
            key = (call, told)
            gathered[key] = gathered.get(key, 0) | index.bit(band, mode)
            index.count += counts
        for (call, told), bits in gathered.items():
            facts, confirmed = facts_of(call, told)
            index.add_bits(facts, bits, bits if confirmed else 0)
    for call, told, band, mode in connection.execute(_CONFIRMED, limits):
        index.add_bits(facts_of(call, told)[0], 0, index.bit(band, mode))
    recent = connection.execute(_RECENT, limits | {"recent": _TWO_DAYS_MS})
    for call, band, mode, started_ms in recent:
        facts, _ = facts_of(call, "")
        index.touch(facts.values[Dimension.BASE], band, mode, started_ms)
    return count
