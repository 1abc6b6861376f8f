"""The one thread that writes: it owns the one writing connection and takes its work from a queue, in order.

Two kinds of work. *Queued* work (journal, hearings, plugin rows) shares transactions, is made durable lazily
(``synchronous=NORMAL``) and never blocks the caller. *Full* work (contacts, sessions) is one transaction of its own
under ``synchronous=FULL``: when its future resolves, it and all that was queued before it survive a power cut.

What nobody waits for, such as the ADIF copy and SQLite's checkpoints, stands in no commit's way: it is done in quiet
moments.
"""

from __future__ import annotations

import logging
import queue
import sqlite3
import threading
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from enum import Enum, auto
from pathlib import Path
from time import monotonic
from typing import Any, NamedTuple

from .errors import DiskFullError, StoreError, translated
from .migrations import immediate

logger = logging.getLogger(__name__)

Work = Callable[[sqlite3.Connection], Any]
#: told the name of each step as it is done; tests stop the process in it
Steps = Callable[[str], None]
#: queued work that shares one transaction
BATCH = 500
#: how soon held work is tried again, seconds
RETRY_S = 2.0
#: queued work kept while there is no room on the disk; beyond it the oldest is dropped, and counted
HELD_LIMIT = 20_000
#: this long without work is a quiet moment; what follows a commit waits for one, but no longer than this
QUIET_S = 0.02
FOLLOWS_WITHIN_S = 1.0
#: transactions after which a quiet moment is used to move them from the WAL to the database
CHECKPOINT_AFTER = 64


class _Kind(Enum):
    QUEUED = auto()  # shares a transaction
    FULL = auto()  # a durable transaction of its own
    ALONE = auto()  # begins its transactions itself


class _Job(NamedTuple):
    work: Work
    kind: _Kind
    after: Work | None
    future: Future[Any]


def _no_steps(_step: str) -> None:
    """The observer of a store that nobody observes."""


class Writer:
    """Runs work on ``connection`` in a thread of its own until :meth:`close`."""

    def __init__(self, connection: sqlite3.Connection, path: Path, steps: Steps | None = None) -> None:
        self._connection = connection
        self._path = path
        self._steps = steps or _no_steps
        self._jobs: queue.SimpleQueue[_Job | None] = queue.SimpleQueue()
        self._held: deque[_Job] = deque()
        self._following: dict[Work, float] = {}  # by when each is to be done
        self._transactions = 0  # since the last checkpoint
        self._synchronous = "NORMAL"
        self._closed = False
        #: what keeps queued work from being written, in words, or None
        self.trouble: str | None = None
        #: queued work that was given up for want of room
        self.dropped = 0
        self._thread = threading.Thread(target=self._run, name="watchkeeper-writer", daemon=True)
        self._thread.start()

    def queued(self, work: Work) -> Future[Any]:
        """Have ``work`` done soon, in order, together with other queued work. Its own failure undoes it alone."""
        return self._put(_Job(work, _Kind.QUEUED, None, Future()))

    def full(self, work: Work, after: Work | None = None) -> Future[Any]:
        """Have ``work`` done as one durable transaction; the future resolves with its commit.

        It fails with DiskFullError, BusyError, … when nothing was written. ``after`` is done soon behind the commit,
        outside of it, and once for several commits that ask for it.
        """
        return self._put(_Job(work, _Kind.FULL, after, Future()))

    def alone(self, work: Work) -> Future[Any]:
        """Have ``work`` done durably, in order; it begins and ends its transactions itself (migrations, imports)."""
        return self._put(_Job(work, _Kind.ALONE, None, Future()))

    def close(self) -> None:
        """Do what is queued, checkpoint, close the connection and end the thread."""
        self._closed = True
        self._jobs.put(None)
        self._thread.join()

    def _put(self, job: _Job) -> Future[Any]:
        if self._closed:
            raise StoreError("the log is closed")
        self._jobs.put(job)
        return job.future

    def _run(self) -> None:
        going = True
        while going:
            batch, going = self._take()
            ordinary: list[_Job] = []
            for job in batch:
                if job.kind is _Kind.QUEUED:
                    ordinary.append(job)
                    continue
                self._write_queued(ordinary)
                ordinary = []
                self._write_now(job)
            self._write_queued(ordinary)
            self._follow(quiet=not batch)
        self._write_queued([])
        self._follow(quiet=True)
        for job in self._held:
            job.future.set_exception(DiskFullError(self.trouble or "no room left for the log"))
        self._checkpoint("TRUNCATE")
        self._connection.close()

    def _take(self) -> tuple[list[_Job], bool]:
        """The work that waits now, at least one piece, and whether more may come."""
        batch: list[_Job] = []
        try:
            job = self._jobs.get(timeout=self._patience_s())
        except queue.Empty:  # time for what waited for a quiet moment, or to try what is held again
            return batch, True
        while job is not None:
            batch.append(job)
            if len(batch) >= BATCH:
                return batch, True
            try:
                job = self._jobs.get_nowait()
            except queue.Empty:
                return batch, True
        return batch, False

    def _patience_s(self) -> float | None:
        if self._following or self._transactions >= CHECKPOINT_AFTER:
            return QUIET_S
        return RETRY_S if self._held else None

    def _write_now(self, job: _Job) -> None:
        try:
            self._set_synchronous("FULL")
            result = job.work(self._connection) if job.kind is _Kind.ALONE else self._in_one(job.work)
        except Exception as fault:
            job.future.set_exception(self._in_words(fault))
            return
        if job.after is not None:
            self._following.setdefault(job.after, monotonic() + FOLLOWS_WITHIN_S)
        self._transactions += 1
        job.future.set_result(result)
        self._steps("resolved")

    def _follow(self, *, quiet: bool) -> None:
        """Do what is to follow commits, when it is ``quiet`` or has waited long enough; checkpoint when it is quiet."""
        for work, latest_s in list(self._following.items()):
            if not quiet and monotonic() < latest_s:
                continue
            del self._following[work]
            try:
                self._set_synchronous("NORMAL")
                work(self._connection)
            except Exception:  # the commit stands whatever comes behind it
                logger.exception("what follows a commit failed")
            self._steps("followed")
        if quiet and self._transactions >= CHECKPOINT_AFTER:
            self._transactions = 0
            self._checkpoint("PASSIVE")

    def _checkpoint(self, how: str) -> None:
        try:
            self._connection.execute(f"PRAGMA wal_checkpoint({how})").fetchone()
        except sqlite3.Error as fault:  # what was committed lies in the WAL: the next one takes it from there
            logger.warning("the log could not be checkpointed: %s", fault)

    def _in_one(self, work: Work) -> Any:
        with immediate(self._connection):
            self._steps("begun")
            result = work(self._connection)
            self._steps("written")
        self._steps("committed")
        return result

    def _write_queued(self, jobs: list[_Job]) -> None:
        """Write ``jobs`` and what was held before them; hold them all when there is no room or the file is locked."""
        todo = [*self._held, *jobs]
        if not todo:
            return
        self._held.clear()
        try:
            self._set_synchronous("NORMAL")
            with immediate(self._connection):
                outcomes = [self._one_of_many(job.work) for job in todo]
        except sqlite3.Error as fault:
            self._hold(todo, fault)
            return
        self.trouble = None
        self._transactions += 1
        for job, (result, failure) in zip(todo, outcomes, strict=True):
            if failure is not None:
                job.future.set_exception(failure)
            else:
                job.future.set_result(result)

    def _one_of_many(self, work: Work) -> tuple[Any, Exception | None]:
        """Do one piece inside the shared transaction: what fails by its own fault takes only itself back."""
        self._connection.execute("SAVEPOINT piece")
        try:
            result = work(self._connection)
        except Exception as fault:
            if not self._connection.in_transaction or isinstance(self._in_words(fault), StoreError):
                raise  # not this piece's fault: the whole batch waits
            self._connection.execute("ROLLBACK TO piece")
            self._connection.execute("RELEASE piece")
            return None, fault
        self._connection.execute("RELEASE piece")
        return result, None

    def _hold(self, jobs: list[_Job], fault: sqlite3.Error) -> None:
        self.trouble = str(self._in_words(fault))
        logger.warning("%s", self.trouble)
        for job in jobs[: max(0, len(jobs) - HELD_LIMIT)]:
            self.dropped += 1
            job.future.set_exception(self._in_words(fault))
        self._held.extend(jobs[-HELD_LIMIT:])

    def _set_synchronous(self, level: str) -> None:
        if level != self._synchronous:
            self._connection.execute(f"PRAGMA synchronous = {level}")
            self._synchronous = level

    def _in_words(self, fault: Exception) -> Exception:
        return translated(fault, self._path) if isinstance(fault, sqlite3.Error) else fault
