"""The worked index of a state of the log: the newest snapshot before it, and the rows behind that."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence

from .told import CONFIRMED, facts_of
from .worked import Dimension, WorkedIndex

#: rows folded in behind a snapshot before a new one is worth while
SNAPSHOT_AFTER = 2_000
_KEPT_SNAPSHOTS = 2
#: different stations gathered before they enter the index: bounds the memory
_BLOCK = 160_000
_TWO_DAYS_MS = 2 * 86_400_000

_STANDING = """
    FROM contact WHERE id > :behind AND id < :before
    AND id NOT IN (SELECT supersedes FROM contact WHERE supersedes IS NOT NULL AND id < :before)
    AND (import_id IS NULL OR import_id NOT IN (SELECT import_id FROM undo WHERE undo.id < :before))
"""
_ROWS = f"SELECT call, told, band, mode, started_ms, id NOT IN (SELECT contact_id FROM same_as) {_STANDING} ORDER BY id"  # noqa: S608 - texts of ours
_CONFIRMED = """
    SELECT call, told, band, mode FROM confirmation JOIN contact ON contact.id = contact_id
    WHERE number > :behind AND number < :before
    AND contact.id NOT IN (SELECT supersedes FROM contact WHERE supersedes IS NOT NULL AND id < :before)
    AND confirmation.import_id NOT IN (SELECT import_id FROM undo WHERE undo.id < :before)
"""


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
    last = connection.execute("SELECT committed_ms FROM contact WHERE id < ? ORDER BY id DESC LIMIT 1", (before_id,))
    gather = Gather(index, (last.fetchone() or (0,))[0])
    count = 0
    for call, told, band, mode, started_ms, counts in connection.execute(_ROWS, limits):
        gather.add(call, told, band, mode, started_ms)
        gather.count -= not counts
        count += 1
    for call, told, band, mode in connection.execute(_CONFIRMED, limits):
        gather.confirm(call, told, band, mode)
    gather.flush()
    return count


class Gather:
    """Adds many contacts to an index: those that count for the same are put together first."""

    def __init__(self, index: WorkedIndex, last_ms: int) -> None:
        """``last_ms``: when the last of them was logged; what started long before is not needed for "today"."""
        self._index = index
        self._recent_ms = last_ms - _TWO_DAYS_MS
        self._bits: dict[tuple[str, str], int] = {}
        self._sure: dict[tuple[str, str], int] = {}
        self._pairs: dict[tuple[str | None, str], int] = {}
        #: contacts taken in since the last flush
        self.count = 0

    def add(self, call: str, told: str, band: str | None, mode: str, started_ms: int) -> None:
        """Take in one contact."""
        self.add_all((call,), (told,), (band,), (mode,), (started_ms,))

    def add_all(
        self,
        calls: Sequence[str],
        told: Sequence[str],
        bands: Sequence[str | None],
        modes: Sequence[str],
        started_ms: Sequence[int],
    ) -> None:
        """Take in many contacts, given by columns."""
        pairs, recent_ms, all_bits, sure = self._pairs, self._recent_ms, self._bits, self._sure
        for call, text, band, mode, at_ms in zip(calls, told, bands, modes, started_ms, strict=True):
            bit = pairs.get((band, mode)) or self._bit(band, mode)
            if text[-1:] == CONFIRMED:
                key = (call, text[:-1])
                sure[key] = sure.get(key, 0) | bit
            else:
                key = (call, text)
            all_bits[key] = all_bits.get(key, 0) | bit
            if at_ms > recent_ms:
                self._index.touch(facts_of(call, "").values[Dimension.BASE], band, mode, at_ms)
        self.count += len(calls)
        if len(all_bits) > _BLOCK:
            self.flush()

    def confirm(self, call: str, told: str, band: str | None, mode: str) -> None:
        """Take in that a contact is confirmed."""
        key = (call, told)
        self._sure[key] = self._sure.get(key, 0) | self._bit(band, mode)

    def flush(self) -> None:
        """Bring all that was taken in into the index."""
        worked, confirmed = _Sets(), _Sets()
        for (call, told), bits in self._bits.items():
            values = _apart(call, told)
            worked.add(*values, bits)
            sure = self._sure.pop((call, told), 0)
            if sure:
                confirmed.add(*values, sure)
        for (call, told), sure in self._sure.items():
            confirmed.add(*_apart(call, told), sure)
        self._index.add_sets(worked.by_dimension(), confirmed.by_dimension(), self.count)
        self._bits.clear()
        self._sure.clear()
        self.count = 0

    def _bit(self, band: str | None, mode: str) -> int:
        bit = self._pairs[band, mode] = self._index.bit(band, mode)
        return bit


_Shared = tuple[tuple[Dimension, str], ...]


def _apart(call: str, told: str) -> tuple[str, str, str | None, _Shared]:
    """Call, base and locator of a station, and the rest, which it shares with all others of its place."""
    values = facts_of(call, told).values
    return (
        values.pop(Dimension.CALL),
        values.pop(Dimension.BASE),
        values.pop(Dimension.LOCATOR, None),
        tuple(values.items()),
    )


class _Sets:
    """Bits by dimension and value, put together in few steps."""

    def __init__(self) -> None:
        self._calls: dict[str, int] = {}
        self._bases: dict[str, int] = {}
        self._locators: dict[str, int] = {}
        self._shared: dict[_Shared, int] = {}

    def add(self, call: str, base: str, locator: str | None, shared: _Shared, bits: int) -> None:
        self._calls[call] = self._calls.get(call, 0) | bits
        self._bases[base] = self._bases.get(base, 0) | bits
        if locator is not None:
            self._locators[locator] = self._locators.get(locator, 0) | bits
        self._shared[shared] = self._shared.get(shared, 0) | bits

    def by_dimension(self) -> dict[Dimension, dict[str, int]]:
        found = {Dimension.CALL: self._calls, Dimension.BASE: self._bases, Dimension.LOCATOR: self._locators}
        for values, bits in self._shared.items():
            for dimension, value in values:
                sets = found.setdefault(dimension, {})
                sets[value] = sets.get(value, 0) | bits
        return found
