"""The ADIF copy of the log beside the database: if the database dies, the log lives.

One file a UTC day of commit, ``adif-copy/contacts-<date>.adi``, which any log program reads. Records are appended
behind the commit of their contact, in the order of the log, and synced. The database remembers how far the copy has
come, so that what a crash or a full disk kept from it is added later; what was added twice is one contact by its key.
"""

from __future__ import annotations

import errno
import os
import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

from .. import __version__
from ..adif import contact as adif_contact
from ..adif import header, read_file, write_record
from ..adif.values import AdifValueError
from ..model import Contact
from .contacts import from_body
from .folder import ADIF_COPY

_RECORD_END = b"<EOR>\n"
_HEADER_END = b"<EOH>\n"
_TAIL = 1 << 16  # holds the last records: ours have no field longer than a few hundred characters
#: imported contacts that a start need not look through again
_LARGE = 10_000
_DIGEST = f"{adif_contact.APP}DIGEST"


class Copied(NamedTuple):
    """One contact read back, with the digest it was logged with; ``why`` instead where it cannot be understood."""

    contact: Contact | None
    digest: bytes
    why: str | None = None


class AdifCopy:
    """Keeps the copy of one data folder up with the log. Used by the writer thread alone, but for ``trouble``."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder / ADIF_COPY
        self._reached: int | None = None
        #: what keeps the copy behind the log, in words, or None
        self.trouble: str | None = None

    def catch_up(self, connection: sqlite3.Connection) -> None:
        """Append the contacts that the copy lacks. Where it cannot, ``trouble`` says why; the log is whole anyhow."""
        again = self._reached is None
        if self._reached is None:
            self._reached = connection.execute("SELECT value FROM kept WHERE name = 'copied_id'").fetchone()[0]
        found = connection.execute(
            "SELECT id, body, digest, committed_ms FROM contact WHERE id > ? AND import_id IS NULL ORDER BY id",
            (self._reached,),
        ).fetchall()
        try:
            for row_id, body, digest, committed_ms in found:
                when = datetime.fromtimestamp(committed_ms / 1000, UTC)
                record = adif_contact.to_record(from_body(body)) | {_DIGEST: digest.hex()}
                self._append(write_record(record), when, again=again)
                self._reached = row_id
        except OSError as fault:
            self.trouble = f"the ADIF copy in {self._folder} is behind the log: {fault.strerror}"
        else:
            self.trouble = None
        if found or (again and self._pass_imported(connection)):
            connection.execute("UPDATE kept SET value = ? WHERE name = 'copied_id'", (self._reached,))

    def _pass_imported(self, connection: sqlite3.Connection) -> bool:
        """Go past a large import, so that the next start need not look through it again; whether there was one."""
        assert self._reached is not None
        newest: int = connection.execute("SELECT coalesce(max(id), 0) FROM contact").fetchone()[0]
        if newest - self._reached < _LARGE:
            return False
        self._reached = newest
        return True

    def _append(self, record: bytes, when: datetime, *, again: bool) -> None:
        """Add a record; ``again``: unless it is there already, as a crash may have come before our note of it."""
        self._folder.mkdir(exist_ok=True)
        path = self._folder / f"contacts-{when:%Y-%m-%d}.adi"
        descriptor = os.open(path, os.O_RDWR | os.O_APPEND | os.O_CREAT | os.O_CLOEXEC, 0o600)
        try:
            tail = _whole_tail(descriptor)
            if not tail:
                _write_all(descriptor, header(__version__, when))
            if not (again and record in tail):
                _write_all(descriptor, record)
            os.fdatasync(descriptor)
        finally:
            os.close(descriptor)


def _whole_tail(descriptor: int) -> bytes:
    """The last records, behind cutting off what a power cut or a full disk left of one: it will be written again."""
    size = os.fstat(descriptor).st_size
    start = max(0, size - _TAIL)
    tail = os.pread(descriptor, size - start, start)
    whole = max(tail.rfind(mark) + len(mark) if mark in tail else 0 for mark in (_RECORD_END, _HEADER_END))
    if whole == 0 and start > 0:
        raise OSError(errno.EFBIG, "its end is no record of ours")
    if whole < len(tail):
        os.ftruncate(descriptor, start + whole)
    return tail[:whole]


def _write_all(descriptor: int, data: bytes) -> None:
    rest = memoryview(data)
    while rest:
        rest = rest[os.write(descriptor, rest) :]


def copied(folder: Path) -> Iterator[Copied]:
    """All contacts in the copies of a data folder, in the order in which they were logged."""
    for path in sorted((folder / ADIF_COPY).glob("contacts-*.adi")):
        for record in read_file(path):
            if not record.complete:
                continue  # a torn tail
            try:
                digest = bytes.fromhex(record.pop(_DIGEST, ""))
                found = adif_contact.from_record(record).contact
            except (AdifValueError, ValueError) as fault:
                yield Copied(None, b"", f"{path.name}, line {record.line}: {fault}")
            else:
                yield Copied(found, digest or bytes.fromhex(adif_contact.digest(record)))
