"""Merging the contacts of one import into the log: what it does not have is added, the rest is counted."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from itertools import chain, compress, islice, repeat
from typing import TypeVar

import msgspec

from ..adif.contact import received_fields
from .contacts import LIKE_MS, from_body, take_number
from .import_parts import NEVER_MS, Key, Part, Refused
from .migrations import CONTACT_ACTIVATED, CONTACT_CALL
from .told import CONFIRMED
from .worked_rows import Gather

T = TypeVar("T")
#: refused records that are told one by one
_TOLD = 20
_COUNTS_FOR = "SELECT call, told, band, mode FROM contact WHERE id = ?"
_COLUMNS = ("call", "started_ms", "band", "mode", "committed_ms", "import_id", "told", "activated", "body")
_ROW_OF = f"({', '.join('?' * len(_COLUMNS))}, 0)"
_ADD = f"INSERT INTO contact ({', '.join(_COLUMNS)}, revision) VALUES {_ROW_OF}"  # noqa: S608 - texts of ours
#: rows of one statement: SQLite notes the highest number given once for each, which costs as much as half a row
_AT_ONCE = 10
_ADD_SOME = ", ".join((_ADD, *[_ROW_OF] * (_AT_ONCE - 1)))
#: a record has about that many bytes
_USUAL_BYTES = 500
#: smaller files are not worth making the index anew
_WORTH_BYTES = 32 * 1024 * 1024
#: rows that may wait for the index
_LATER_LIMIT = 20_000
#: (call, band, mode), start, what it counts for, what it was made from, the record
_Row = tuple[Key, int, str, str | None, bytes]


class Summary(msgspec.Struct, kw_only=True):
    """What an import did. Each record read is new, equal or refused; ``mended`` counts new ones that had to be mended,
    and contacts of the log that the import confirmed."""

    read: int = 0
    new: int = 0
    equal: int = 0
    mended: int = 0
    refused: int = 0


def _mask(length: int, without: Sequence[int]) -> bytearray:
    mask = bytearray(b"\1") * length
    for index in without:
        mask[index] = 0
    return mask


def _left(column: Sequence[T], mask: bytearray | None) -> Sequence[T]:
    return column if mask is None else list(compress(column, mask))


class Merger:
    """Adds the contacts of one import that the log does not have.

    What starts behind all that the log had, and not near its like in this import, is new for certain, and cheap.
    """

    def __init__(self, connection: sqlite3.Connection, import_id: int, at_ms: int, gather: Gather, size: int) -> None:
        self.summary = Summary()
        self.refused: list[Refused] = []
        self._connection = connection
        self._import_id = import_id
        self._at_ms = at_ms
        self._gather = gather
        self._lines = 0
        #: what starts behind this cannot be in the log as it was before this import
        newest_ms = connection.execute("SELECT coalesce(max(started_ms), 0) FROM contact").fetchone()[0]
        self._logged_ms: int = newest_ms + LIKE_MS
        #: the newest start so far, and what a contact of the next part may be like
        self._reached_ms = NEVER_MS
        self._tail: dict[Key, int] = {}
        self._confirmed = 0
        rows = connection.execute("SELECT count(*) FROM contact").fetchone()[0]
        #: whether the index by call may be left out meanwhile: sorted at the end it costs a fraction
        self._may_unindex = rows * _USUAL_BYTES < size and size > _WORTH_BYTES
        self._indexed = True
        #: rows that only the index can judge, while there is none, and whether they were mended
        self._later: list[tuple[_Row, bool]] = []

    def take(self, part: Part, bodies: list[bytes]) -> None:
        """Add the contacts of the next part, whose records are ``bodies``."""
        if self._may_unindex and min(part.started_ms, default=0) > self._logged_ms:
            self._connection.execute("DROP INDEX contact_call")
            self._connection.execute("DROP INDEX contact_activated")
            self._indexed = False
        self._may_unindex = False
        doubtful = self._doubtful(part)
        self._add_new(part, bodies, doubtful)
        self._judge(part, bodies, doubtful)
        self._reached_ms = max(self._reached_ms, max(part.started_ms, default=NEVER_MS))
        self._tail = {
            key: near_ms for key, near_ms in (self._tail | part.tail).items() if near_ms >= self._reached_ms - LIKE_MS
        }
        for refused in part.refused[: _TOLD - len(self.refused)]:
            self.refused.append(Refused(self.summary.read + refused.record, self._lines + refused.line, refused.why))
        self.summary.refused += len(part.refused)
        self.summary.read += part.read
        self._lines += part.lines

    def end(self) -> None:
        """Note what was done, and that it is done."""
        if not self._indexed:
            self._index_again()
        summary = self.summary
        self._connection.execute(
            "UPDATE import SET ended_ms = ?, read = ?, new = ?, equal = ?, mended = ?, refused = ? WHERE id = ?",
            (self._at_ms, *msgspec.structs.astuple(summary), self._import_id),
        )
        if self._confirmed:
            number = take_number(self._connection)
            self._connection.execute(
                "UPDATE confirmation SET number = ? WHERE import_id = ?", (number, self._import_id)
            )

    def _doubtful(self, part: Part) -> list[int]:
        """Which contacts may be like one in the log, in an earlier part or in their own, in the order of the file."""
        clear_ms = max(self._logged_ms, self._reached_ms + LIKE_MS)
        early = [index for index, started_ms in enumerate(part.started_ms) if started_ms <= clear_ms]
        return sorted({*part.doubtful, *(index for index in early if self._may_be_known(part, index))})

    def _may_be_known(self, part: Part, index: int) -> bool:
        started_ms = part.started_ms[index]
        if started_ms <= self._logged_ms or started_ms < self._reached_ms:
            return True
        return started_ms - self._tail.get(part.key(index), NEVER_MS) <= LIKE_MS

    def _add_new(self, part: Part, bodies: list[bytes], doubtful: list[int]) -> None:
        """Add all but the ``doubtful`` ones, by columns: a step of Python for each row would cost as much as SQLite."""
        mask = _mask(len(bodies), doubtful) if doubtful else None
        calls, started_ms, told = _left(part.calls, mask), _left(part.started_ms, mask), _left(part.told, mask)
        bands, modes, activated = _left(part.bands, mask), _left(part.modes, mask), _left(part.activated, mask)
        kept = _left(bodies, mask)
        same = repeat(self._at_ms), repeat(self._import_id)
        rows = zip(calls, started_ms, bands, modes, *same, told, activated, kept, strict=False)
        values = chain.from_iterable(islice(rows, len(calls) // _AT_ONCE * _AT_ONCE))
        self._connection.executemany(_ADD_SOME, zip(*[values] * (_AT_ONCE * len(_COLUMNS)), strict=True))
        self._connection.executemany(_ADD, rows)
        self._gather.add_all(calls, told, bands, modes, started_ms)
        self.summary.new += len(calls)
        self.summary.mended += len(set(part.mended).difference(doubtful))

    def _judge(self, part: Part, bodies: list[bytes], doubtful: list[int]) -> None:
        """Add those of the ``doubtful`` contacts that the log does not have, or keep them until that can be known."""
        mended = set(part.mended)
        for index in doubtful:
            row = part.key(index), part.started_ms[index], part.told[index], part.activated[index], bodies[index]
            if self._indexed:
                self._settle(row, mended=index in mended)
            else:
                self._later.append((row, index in mended))
        if len(self._later) > _LATER_LIMIT:
            self._index_again()

    def _settle(self, row: _Row, *, mended: bool) -> None:
        """Add one contact that the log does not have."""
        if self._is_known(row):
            return
        (call, band, mode), started_ms, told, activated, body = row
        self.summary.new += 1
        self.summary.mended += mended
        self._gather.add(call, told, band, mode, started_ms)
        self._connection.execute(
            _ADD, (call, started_ms, band, mode, self._at_ms, self._import_id, told, activated, body)
        )

    def _is_known(self, row: _Row) -> bool:
        """Whether the log has such a contact; it is counted then, and what confirms it is kept."""
        (call, band, mode), started_ms, told, _, body = row
        known = self._find(call, started_ms, band, mode)
        if known is None:
            return False
        self.summary.equal += 1
        if told.endswith(CONFIRMED):
            self.summary.mended += self._confirm(known, body)
        return True

    def _index_again(self) -> None:
        """Make the index by call again, and judge what waited for it, in order."""
        with ThreadPoolExecutor(1) as aside:  # SQLite sorts without keeping Python from its work
            gathering = aside.submit(self._gather.flush)
            self._connection.execute(CONTACT_CALL)
            self._connection.execute(CONTACT_ACTIVATED)
            gathering.result()
        self._indexed = True
        later, self._later = self._later, []
        for row, mended in later:
            self._settle(row, mended=mended)

    def _find(self, call: str, started_ms: int, band: str | None, mode: str) -> tuple[int, str] | None:
        """Row and ``told`` of the contact that stands for the same, or None."""
        found: tuple[int, str] | None = self._connection.execute(
            "SELECT id, told FROM standing WHERE call = ? AND started_ms BETWEEN ? AND ? AND band IS ? AND mode = ?"
            " ORDER BY id LIMIT 1",
            (call, started_ms - LIKE_MS, started_ms + LIKE_MS, band, mode),
        ).fetchone()
        return found

    def _confirm(self, known: tuple[int, str], body: bytes) -> bool:
        """Note that a contact of the log is confirmed; false where that was known."""
        row_id, told = known
        if told.endswith(CONFIRMED):
            return False
        fields = received_fields(from_body(body).extra)
        row = self._connection.execute(
            "INSERT INTO confirmation (contact_id, import_id, fields) SELECT :row, :import, :fields"
            " WHERE NOT EXISTS (SELECT 1 FROM confirmation WHERE contact_id = :row"
            " AND import_id NOT IN (SELECT import_id FROM undo))",
            {"row": row_id, "import": self._import_id, "fields": msgspec.json.encode(fields)},
        )
        self._confirmed += row.rowcount
        if row.rowcount > 0:
            self._gather.confirm(*self._connection.execute(_COUNTS_FOR, (row_id,)).fetchone())
        return row.rowcount > 0
