"""Imports of ADIF files: each merged into the log without doubling, and each can be taken back.

The parts of a large file are read by several processes; the writer alone touches the database. Contacts keep their
record as it came. One that the log has already (same call, band and mode, a start within some minutes) is *equal* and
adds nothing, unless it is confirmed and the log's is not: then a row says so.
"""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import contextmanager, suppress
from functools import partial
from itertools import islice, pairwise
from multiprocessing import get_context
from pathlib import Path
from typing import BinaryIO

import msgspec

from . import import_parts, worked_rows
from .contacts import newest, take_number
from .errors import BrokenOffError, FolderError
from .folder import ADIF_COPY
from .import_parts import Part, Refused
from .merging import Merger, Summary
from .migrations import immediate
from .worked_rows import Gather

#: told how much of the file is done, 0 to 1, at each step of the work; what it raises undoes the import
Progress = Callable[[float], None]
#: a copy that is being made
_UNFINISHED = ".unfinished"
_CACHE_KIB = 24 * 1024


class Imported(msgspec.Struct, kw_only=True):
    """An import that was done: its number, for undo, and the first of the refused records."""

    id: int
    summary: Summary
    refused: list[Refused]


def import_file(
    connection: sqlite3.Connection,
    folder: Path,
    path: Path,
    name: str,
    at_ms: int,
    progress: Progress,
    *,
    shared: bool = False,
) -> Imported:
    """Take the ADIF file at ``path`` into the log, all of it or, when anything fails, nothing.

    A copy of the file stays beside the database, so that the log can be read back from it. It makes a transaction of
    its own. ``shared``: others read the log all the while, and must not wait. Raises OSError where the file cannot be
    read, FolderError where it cannot be copied, BrokenOffError where a process that reads it is ended.
    """
    with path.open("rb"):  # one that cannot be read leaves no trace
        pass
    with _clearing(folder), _in_bulk(connection, shared), immediate(connection), ThreadPoolExecutor(1) as aside:
        row = connection.execute("INSERT INTO import (started_ms, name) VALUES (?, ?)", (at_ms, name))
        import_id = row.lastrowid
        assert import_id is not None
        index, _ = worked_rows.index_before(connection, newest(connection) + 1)
        gather = Gather(index, at_ms)
        copying = aside.submit(_copy, folder, path, import_id)
        merger = Merger(connection, import_id, at_ms, gather, path.stat().st_size)
        for part, bodies, done in _parts(path):
            merger.take(part, bodies)
            progress(done)
        merger.end()
        progress(1.0)
        gather.flush()
        worked_rows.save(connection, newest(connection), index.dump())
        progress(1.0)
        try:
            copying.result()()
        except OSError as fault:
            copies = folder / ADIF_COPY
            raise FolderError(f"no copy of it can be kept in {copies}: {fault.strerror}") from fault
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
    unfinished = copies / _UNFINISHED
    shutil.copyfile(path, unfinished)
    return partial(unfinished.replace, copy)


@contextmanager
def _clearing(folder: Path) -> Iterator[None]:
    """Leave no unfinished copy behind, whatever happens."""
    try:
        yield
    finally:
        with suppress(OSError):  # most often there is none
            (folder / ADIF_COPY / _UNFINISHED).unlink()


@contextmanager
def _in_bulk(connection: sqlite3.Connection, shared: bool) -> Iterator[None]:
    """While it lasts, many rows cost less: a larger page cache, and each page is written once, by a rollback journal.

    A WAL has every page written twice, a fifth of the time of an import, but under a rollback journal nobody reads
    while pages are written: the WAL stays where the log is ``shared``, and where another program reads just now.
    """
    cache = connection.execute("PRAGMA cache_size").fetchone()[0]
    connection.execute(f"PRAGMA cache_size = -{_CACHE_KIB:d}")
    if not shared:
        _leave_wal(connection)
    try:
        yield
    finally:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute(f"PRAGMA cache_size = {cache:d}")
        connection.execute("PRAGMA shrink_memory")


def _leave_wal(connection: sqlite3.Connection) -> None:
    """Go over to a rollback journal, if nobody else reads just now."""
    wait = connection.execute("PRAGMA busy_timeout").fetchone()[0]
    connection.execute("PRAGMA busy_timeout = 0")
    with suppress(sqlite3.OperationalError):
        connection.execute("PRAGMA journal_mode = DELETE")
    connection.execute(f"PRAGMA busy_timeout = {wait:d}")


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
    # the operator's Ctrl-C reaches them too, and must come from here alone
    quiet = partial(signal.signal, signal.SIGINT, signal.SIG_IGN)
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=quiet) as pool:
        try:
            yield from import_parts.joined(cuts, _ahead(pool, workers + 1, again, bounds), again)
        except BrokenExecutor as fault:  # a service manager that stops the watch ends them too
            raise BrokenOffError("a process that read the file was ended: nothing of the import is kept") from fault


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
