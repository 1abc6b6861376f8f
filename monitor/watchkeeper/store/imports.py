"""Imports of ADIF files: each merged into the log without doubling, and each can be taken back.

The parts of a large file are read by several processes; the writer alone touches the database. Contacts keep their
record as it came. One that the log has already (same call, band and mode, a start within some minutes) is *equal* and
adds nothing, unless it is confirmed and the log's is not: then a row says so.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import contextmanager, suppress
from functools import partial
from itertools import compress, islice, pairwise, repeat
from multiprocessing import get_context
from pathlib import Path
from typing import BinaryIO, TypeVar

import msgspec

from ..adif.contact import received_fields
from . import import_parts, worked_rows
from .contacts import LIKE_MS, from_body, newest, take_number
from .folder import ADIF_COPY
from .import_parts import NEVER_MS, Key, Part, Refused
from .migrations import CONTACT_CALL, immediate
from .told import CONFIRMED
from .worked_rows import Gather

T = TypeVar("T")
#: told how much of the file is done, 0 to 1
Progress = Callable[[float], None]
_CACHE_KIB = 24 * 1024
#: refused records that are told one by one
_TOLD = 20
_COUNTS_FOR = "SELECT call, told, band, mode FROM contact WHERE id = ?"
_ADD = (
    "INSERT INTO contact (revision, call, started_ms, band, mode, committed_ms, import_id, told, body)"
    " VALUES (0, ?, ?, ?, ?, ?, ?, ?, ?)"
)
#: a record has about that many bytes
_USUAL_BYTES = 500
#: smaller files are not worth making the index anew
_WORTH_BYTES = 32 * 1024 * 1024
#: rows that may wait for the index
_LATER_LIMIT = 20_000
#: (call, band, mode), start, what it counts for, the record
_Row = tuple[Key, int, str, bytes]


class Summary(msgspec.Struct, kw_only=True):
    """What an import did. Each record read is new, equal or refused; ``mended`` counts new ones that had to be mended,
    and contacts of the log that the import confirmed."""

    read: int = 0
    new: int = 0
    equal: int = 0
    mended: int = 0
    refused: int = 0


class Imported(msgspec.Struct, kw_only=True):
    """An import that was done: its number, for undo, and the first of the refused records."""

    id: int
    summary: Summary
    refused: list[Refused]


def import_file(
    connection: sqlite3.Connection, folder: Path, path: Path, name: str, at_ms: int, progress: Progress
) -> Imported:
    """Take the ADIF file at ``path`` into the log, all of it or, when anything fails, nothing.

    A copy of the file stays beside the database, so that the log can be read back from it. It makes a transaction of
    its own. Raises OSError where the file cannot be read or copied.
    """
    with path.open("rb"):  # one that cannot be read leaves no trace
        pass
    with _in_bulk(connection), immediate(connection), ThreadPoolExecutor(1) as aside:
        row = connection.execute("INSERT INTO import (started_ms, name) VALUES (?, ?)", (at_ms, name))
        import_id = row.lastrowid
        assert import_id is not None
        index, _ = worked_rows.index_before(connection, newest(connection) + 1)
        gather = Gather(index, at_ms)
        copying = aside.submit(_copy, folder, path, import_id)
        merger = _Merger(connection, import_id, at_ms, gather, path.stat().st_size)
        for part, bodies, done in _parts(path):
            merger.take(part, bodies)
            progress(done)
        merger.end()
        gather.flush()
        worked_rows.save(connection, newest(connection), index.dump())
        copying.result()()
    progress(1.0)
    return Imported(id=import_id, summary=merger.summary, refused=merger.refused)


def read_back(connection: sqlite3.Connection, folder: Path, at_ms: int) -> int:
    """Import the copies of earlier imports again, in their order, into a log that lost them; how many contacts."""
    copies = [path for path in (folder / ADIF_COPY).glob("import-*.ad?") if path.suffix in (".adi", ".adx")]
    count = 0
    for path in sorted(copies, key=lambda path: int(path.stem.removeprefix("import-"))):
        done = import_file(connection, folder, path, path.name, at_ms, lambda _done: None)
        path.rename(path.with_name(f"import-{done.id}{path.suffix}"))
        count += done.summary.new
    return count


def undo(connection: sqlite3.Connection, folder: Path, import_id: int, at_ms: int) -> int:
    """Take an import back, by a row that says so; how many contacts it had added. Raises KeyError for none."""
    with immediate(connection):
        known = connection.execute(
            "SELECT (SELECT count(*) FROM contact WHERE import_id = import.id) FROM import"
            " WHERE id = ? AND id NOT IN (SELECT import_id FROM undo)",
            (import_id,),
        ).fetchone()
        if known is None:
            raise KeyError(import_id)
        connection.execute(
            "INSERT INTO undo (id, import_id, at_ms) VALUES (?, ?, ?)", (take_number(connection), import_id, at_ms)
        )
    for copy in (folder / ADIF_COPY).glob(f"import-{import_id}.ad?"):
        copy.rename(copy.with_name(f"{copy.name}.undone"))
    through_id = newest(connection)
    index, _ = worked_rows.index_before(connection, through_id + 1)
    with immediate(connection):  # now, so that the next start need not read every row
        worked_rows.save(connection, through_id, index.dump())
    return int(known[0])


class ImportRow(msgspec.Struct, frozen=True, kw_only=True):
    """One import as the log remembers it."""

    id: int
    started_ms: int
    name: str
    new: int
    done: bool
    undone: bool


def listed(connection: sqlite3.Connection) -> Iterator[ImportRow]:
    """All imports, the oldest first."""
    for row in connection.execute(
        "SELECT id, started_ms, name, new, ended_ms IS NOT NULL, id IN (SELECT import_id FROM undo) FROM import"
        " ORDER BY id"
    ):
        import_id, started_ms, name, new, done, undone = row
        yield ImportRow(id=import_id, started_ms=started_ms, name=name, new=new, done=bool(done), undone=bool(undone))


def last_import(connection: sqlite3.Connection) -> int | None:
    """The newest import that was not taken back."""
    found: int | None = connection.execute(
        "SELECT max(id) FROM import WHERE id NOT IN (SELECT import_id FROM undo)"
    ).fetchone()[0]
    return found


def _copy(folder: Path, path: Path, import_id: int) -> Callable[[], object]:
    """Copy a file to be kept beside the log; what is returned puts the copy into its place."""
    copies = folder / ADIF_COPY
    if path.parent == copies:  # it is read back from there
        return lambda: None
    copies.mkdir(exist_ok=True)
    with path.open("rb") as start:
        suffix = ".adx" if import_parts.is_adx(start) else ".adi"
    copy = copies / f"import-{import_id}{suffix}"
    unfinished = copy.with_name(f"{copy.name}.part")
    shutil.copyfile(path, unfinished)
    return partial(unfinished.replace, copy)


@contextmanager
def _in_bulk(connection: sqlite3.Connection) -> Iterator[None]:
    """While it lasts, many rows cost less: a larger page cache, and each page is written once, by a rollback journal.

    A WAL would have every page written twice. Where another program reads just now, the WAL stays.
    """
    wait = connection.execute("PRAGMA busy_timeout").fetchone()[0]
    cache = connection.execute("PRAGMA cache_size").fetchone()[0]
    connection.execute(f"PRAGMA cache_size = -{_CACHE_KIB:d}")
    connection.execute("PRAGMA busy_timeout = 0")
    with suppress(sqlite3.OperationalError):
        connection.execute("PRAGMA journal_mode = DELETE")
    connection.execute(f"PRAGMA busy_timeout = {wait:d}")
    try:
        yield
    finally:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute(f"PRAGMA cache_size = {cache:d}")
        connection.execute("PRAGMA shrink_memory")


def _parts(path: Path) -> Iterator[tuple[Part, list[bytes], float]]:
    """The parts of a file in order, the records of each, and how much of the file is done with it."""
    with path.open("rb") as file:
        if import_parts.is_adx(file):
            part = import_parts.read_adx(file)
            yield part, [part.anew[index] for index in range(len(part.calls))], 1.0
            return
    cuts = import_parts.cuts(path)
    size = max(1, cuts[-1])
    with path.open("rb") as file:
        for part in _read(path, cuts):
            yield part, _bodies(file, part), part.end / size


def _read(path: Path, cuts: list[int]) -> Iterator[Part]:
    """Read the parts, by several processes where there are several."""
    again = partial(import_parts.read_part, path)
    bounds = list(pairwise(cuts))
    if len(bounds) == 1:
        yield again(*bounds[0])
        return
    workers = min(len(bounds), len(os.sched_getaffinity(0)))
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        yield from import_parts.joined(cuts, _ahead(pool, workers + 1, again, bounds), again)


def _ahead(
    pool: ProcessPoolExecutor, count: int, read: Callable[[int, int], Part], bounds: list[tuple[int, int]]
) -> Iterator[Part]:
    """The parts in order; only ``count`` of them are read ahead, so that the memory stays small."""
    todo = iter(bounds)
    coming = deque(pool.submit(read, *bound) for bound in islice(todo, count))
    while coming:
        part = coming.popleft().result()
        coming.extend(pool.submit(read, *bound) for bound in islice(todo, 1))
        yield part


def _bodies(file: BinaryIO, part: Part) -> list[bytes]:
    """The records of a part as the log keeps them: the file's own bytes where they are fit."""
    first = part.spans[0] if part.spans else 0
    file.seek(first)
    data = file.read(part.end - first)
    starts, ends = part.spans[::2], part.spans[1::2]
    found = [data[start - first : end - first] for start, end in zip(starts, ends, strict=True)]
    for index, body in part.anew.items():
        found[index] = body
    return found


def _left(column: Sequence[T], mask: bytearray) -> list[T]:
    return list(compress(column, mask))


class _Merger:
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
        mask = bytearray(b"\1") * len(bodies)
        for index in doubtful:
            mask[index] = 0
        calls, started_ms, told = _left(part.calls, mask), _left(part.started_ms, mask), _left(part.told, mask)
        bands, modes, bodies = _left(part.bands, mask), _left(part.modes, mask), _left(bodies, mask)
        same = repeat(self._at_ms), repeat(self._import_id)
        self._connection.executemany(_ADD, zip(calls, started_ms, bands, modes, *same, told, bodies, strict=False))
        self._gather.add_all(calls, told, bands, modes, started_ms)
        self.summary.new += len(calls)
        self.summary.mended += len(set(part.mended).difference(doubtful))

    def _judge(self, part: Part, bodies: list[bytes], doubtful: list[int]) -> None:
        """Add those of the ``doubtful`` contacts that the log does not have, or keep them until that can be known."""
        mended = set(part.mended)
        for index in doubtful:
            row = part.key(index), part.started_ms[index], part.told[index], bodies[index]
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
        (call, band, mode), started_ms, told, body = row
        self.summary.new += 1
        self.summary.mended += mended
        self._gather.add(call, told, band, mode, started_ms)
        self._connection.execute(_ADD, (call, started_ms, band, mode, self._at_ms, self._import_id, told, body))

    def _is_known(self, row: _Row) -> bool:
        """Whether the log has such a contact; it is counted then, and what confirms it is kept."""
        (call, band, mode), started_ms, told, body = row
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
