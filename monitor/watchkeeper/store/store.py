"""The durable record: one object through which the watch opens, reads and writes its data folder."""

from __future__ import annotations

import asyncio
import logging
import sqlite3
from collections.abc import Awaitable, Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future
from contextlib import AbstractContextManager
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from ..model import Contact
from . import contacts, imports, sessions, worked_rows
from .activated import made_from
from .adif_copy import AdifCopy
from .backup import backup
from .contacts import Outcome, Payload
from .damage import filled_from_copies, made_sound
from .database import connect_writer, reading
from .errors import BrokenOffError, FolderError, in_words
from .folder import DATABASE, FolderLock
from .guard import confined
from .imports import Imported, Progress
from .migrations import migrate_core, migrate_plugin
from .sessions import JournalChunk, SessionRow
from .worked import Activated, WorkedIndex
from .writer import Steps, Writer

T = TypeVar("T")
logger = logging.getLogger(__name__)


def _now() -> datetime:
    return datetime.now(UTC)


class Store:
    """The log, the journal and the outbox in one data folder, held by this process alone.

    Reading methods may be called from any thread and are quick; writing ones queue their work for the writer.
    """

    def __init__(
        self,
        folder: Path,
        lock: FolderLock,
        writer: Writer,
        copy: AdifCopy,
        notices: Sequence[str],
        now: Callable[[], datetime],
    ) -> None:
        self.folder = folder
        #: plugin → how often its rows could not be written
        self.plugin_failures: dict[str, int] = {}
        #: steps of imports so far: while they grow, a writer that has time for nothing else works all the same
        self.import_steps = 0
        self._imports_end = False
        self._lock = lock
        self._writer = writer
        self._copy = copy
        self._opening = tuple(notices)
        self._now = now

    @classmethod
    def open(cls, folder: Path, *, now: Callable[[], datetime] = _now, steps: Steps | None = None) -> Store:
        """Lock ``folder``, bring its database up to date, and begin to write.

        A damaged database is set aside and the log read back from the ADIF copies (see ``notices``). Raises
        StoreHeldError, FolderError, DiskFullError or BusyError. ``steps`` is told each step of a commit as it is done.
        """
        lock = FolderLock.take(folder)
        try:
            path = folder / DATABASE
            with in_words(path):
                notices = made_sound(folder, now())
                connection = connect_writer(path)
                migrate_core(connection)
                notices += filled_from_copies(connection, folder, now())
                copy = AdifCopy(folder)
                copy.catch_up(connection)
            return cls(folder, lock, Writer(connection, path, steps), copy, notices, now)
        except OSError as fault:
            lock.release()
            raise FolderError(f"the data folder {folder} cannot be used: {fault}") from fault
        except BaseException:
            lock.release()
            raise

    @property
    def path(self) -> Path:
        """The database file."""
        return self.folder / DATABASE

    @property
    def notices(self) -> list[str]:
        """What the operator should know: what was found at the start, and what is wrong now; one sentence each."""
        return [*self._opening, *filter(None, (self._writer.trouble, self._copy.trouble))]

    def close(self) -> None:
        """Write what is queued, close the database and let the folder go."""
        self._writer.close()
        self._lock.release()

    # sessions and journal

    def open_session(self, header: bytes, started_ms: int) -> int:
        """Begin a session on the contacts that are in the log now; durable on return. Its id."""
        made: int = self._writer.full(lambda db: sessions.open_session(db, header, started_ms)).result()
        return made

    def last_session(self) -> SessionRow | None:
        """The newest session, or None before the first."""
        with self.reader() as db:
            return next(sessions.sessions(db, limit=1), None)

    def close_session(self, session: int, ended_ms: int) -> None:
        """Note a session's end; durable on return, with all that was queued before."""
        self._writer.full(lambda db: sessions.close_session(db, session, ended_ms)).result()

    def journal(self, session: int, first_n: int, count: int, body: bytes) -> None:
        """Queue a chunk of the journal. It is durable at the next contact at the latest."""
        chunk = JournalChunk(session=session, first_n=first_n, count=count, body=body)
        self._writer.queued(lambda db: sessions.append(db, chunk))

    def read_journal(self, session: int) -> Iterator[bytes]:
        """A session's journal as written so far, an entry a line, in order."""
        with self.reader() as db:
            yield from sessions.entries(db, session)

    def hearings(self, rows: Sequence[Sequence[object]]) -> None:
        """Queue a batch of hearings, each as :func:`~watchkeeper.store.sessions.hearing_row` gives it."""
        self._writer.queued(lambda db: sessions.add_hearings(db, rows))

    # contacts

    def commit(
        self,
        contact: Contact,
        digest: bytes,
        payloads: Sequence[Payload],
        journal: JournalChunk | None = None,
        forward: bool = True,
    ) -> Awaitable[Outcome]:
        """Take a contact into the log: it, its outbox rows and the journal so far in one durable transaction.

        The outcome comes after the commit: what it says may be acknowledged. Cancelling the wait does not cancel the
        commit. Raises DiskFullError or BusyError; nothing was written then.
        """
        committed_ms = self._now_ms()

        def work(db: sqlite3.Connection) -> Outcome:
            if journal is not None:
                sessions.append(db, journal)
            return contacts.record(db, contact, digest, payloads, committed_ms=committed_ms, forward=forward)

        return asyncio.shield(asyncio.wrap_future(self._writer.full(work, self._copy.catch_up)))

    def worked(self, *, before_id: int | None = None) -> WorkedIndex:
        """The worked index as the log stood before number ``before_id`` (None: as it stands)."""
        with self.reader() as db:
            if before_id is None:
                before_id = contacts.newest(db) + 1
            index, read = worked_rows.index_before(db, before_id)
        if read > worked_rows.SNAPSHOT_AFTER:
            self._writer.queued(partial(worked_rows.save, through_id=before_id - 1, dumped=index.dump()))
        index.begin_session()
        before = before_id
        index.read_activated_by(lambda programme, reference: self._made_from(before, programme, reference))
        return index

    def _made_from(self, before_id: int, programme: str, reference: str) -> tuple[Activated, ...]:
        with self.reader() as db:
            return made_from(db, programme, reference, before_id)

    def contact_row(self, key: str, digest: bytes) -> int | None:
        """The number of the contact with this key and content, or None."""
        with self.reader() as db:
            return contacts.row_of(db, key, digest)

    def is_announced(self, source: str, source_id: str, call: str, started_ms: int) -> bool:
        """Whether the contact that ``source`` calls ``source_id`` is in the log."""
        with self.reader() as db:
            return contacts.is_announced(db, source=source, source_id=source_id, call=call, started_ms=started_ms)

    def newest_contact(self) -> int:
        """The number of the log's present state: the highest given to a contact or an undo."""
        with self.reader() as db:
            return contacts.newest(db)

    def import_adif(self, path: Path, name: str, progress: Progress, *, shared: bool = False) -> Imported:
        """Merge the ADIF file at ``path``, which the log calls ``name``, and wait for it. Raises OSError too.

        Where it is ``shared``, the log can be read all the while, for somewhat more time. Contacts that come meanwhile
        are committed behind it. Raises BrokenOffError after :meth:`break_off_imports`, which an interrupt calls too.
        """
        at_ms = self._now_ms()

        def step(done: float) -> None:
            self.import_steps += 1
            progress(done)
            if self._imports_end:
                raise BrokenOffError("the import was broken off: nothing of it is kept, import the file again")

        work = self._writer.alone(
            lambda db: imports.import_file(db, self.folder, path, name, at_ms, step, shared=shared)
        )
        try:
            done: Imported = work.result()
        except KeyboardInterrupt:
            self.break_off_imports()
            raise
        return done

    def break_off_imports(self) -> None:
        """Let no import go on, nor any begin, before the log is closed; nothing of one that ran is kept."""
        self._imports_end = True

    def undo_import(self, import_id: int) -> int:
        """Take an import back; how many contacts it had added. Raises KeyError where there is none to take back."""
        at_ms = self._now_ms()
        taken: int = self._writer.alone(lambda db: imports.undo(db, self.folder, import_id, at_ms)).result()
        return taken

    # outbox

    def change(self, work: Callable[[sqlite3.Connection], Any]) -> Awaitable[Any]:
        """Queue work of this package; it is done when awaited, and durable soon after."""
        return asyncio.shield(asyncio.wrap_future(self._writer.queued(work)))

    def change_now(self, work: Callable[[sqlite3.Connection], T]) -> T:
        """Do work of this package as one durable transaction, and wait for it."""
        done: T = self._writer.full(work).result()
        return done

    def backup(self, to: Path) -> int:
        """Copy the whole record to the file ``to``; its size in bytes (see :func:`watchkeeper.store.backup.backup`)."""
        return backup(self.folder, to)

    def pulse(self) -> Awaitable[None]:
        """Done once the writer has come to it, whatever room the disk has: a sign that it works and does not hang."""
        return asyncio.shield(asyncio.wrap_future(self._writer.alone(lambda _db: None)))

    # plugins

    def submit(self, plugin: str, statements: Sequence[tuple[str, Mapping[str, Any]]]) -> None:
        """Queue a plugin's SQL, all or nothing; it may write only tables named ``plugin_<name>_…``.

        What fails is logged and counted in :attr:`plugin_failures`.
        """

        def work(db: sqlite3.Connection) -> None:
            with confined(db, plugin):
                for statement, values in statements:
                    db.execute(statement, values)

        def note(done: Future[Any]) -> None:
            fault = done.exception()
            if fault is not None:
                self.plugin_failures[plugin] = self.plugin_failures.get(plugin, 0) + 1
                logger.warning("rows of plugin %s could not be written: %s", plugin, fault)

        self._writer.queued(work).add_done_callback(note)

    def plugin_migrations(self, plugin: str, scripts: Sequence[str]) -> None:
        """Make or alter a plugin's tables. Raises MigrationError, for that plugin only."""
        self._writer.alone(lambda db: migrate_plugin(db, plugin, scripts)).result()

    def reader(self) -> AbstractContextManager[sqlite3.Connection]:
        """A read-only connection for a short look."""
        return reading(self.folder)

    def _now_ms(self) -> int:
        return round(self._now().timestamp() * 1000)
