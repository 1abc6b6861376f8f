"""The ADIF file of the day: appended and synced, each contact once, whatever crash came between write and mark."""

from __future__ import annotations

import asyncio
import os
import re
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

from watchkeeper.adif import header, write_record
from watchkeeper.adif.contact import to_record
from watchkeeper.api import Contact, Sending, SendResult

from .settings import FILE_NAME

_DATE = re.compile(rb"<QSO_DATE:8>(\d{4})(\d\d)(\d\d)")
_END = re.compile(rb"<EO[RH]>[ \t\r]*\n?", re.IGNORECASE)


class AdifFile:
    """Appends records to ``contacts-<UTC date>.adi``, the date being that of the contact's start."""

    name = FILE_NAME

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        #: the file written last, None before the first
        self.place: Path | None = None

    def encode(self, contact: Contact) -> bytes:
        """The contact as one ADIF record, a line."""
        return write_record(to_record(contact))

    async def send(self, payload: bytes, key: str) -> Sending:
        """Append the record unless it is there. The disk is waited for in a thread."""
        try:
            there = await asyncio.to_thread(self._append, payload)
        except OSError as error:
            return Sending(result=SendResult.TRY_LATER, why=f"{self.folder}: {error.strerror or error}")
        return Sending(result=SendResult.ALREADY_THERE if there else SendResult.DELIVERED)

    def _append(self, payload: bytes) -> bool:
        """Whether the record was in the file already. A crash between write and mark is found by its very bytes."""
        found = _DATE.search(payload)
        date = b"-".join(found.groups()).decode() if found else "undated"
        self.folder.mkdir(parents=True, exist_ok=True)
        path = self.folder / f"contacts-{date}.adi"
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC, 0o644)
        try:
            content = _mended(descriptor, path)
            there = payload.rstrip(b"\n") in content  # the crash may have taken its line feed alone
            if not there:
                _write(descriptor, payload if content else self._header() + payload)
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
        if not content:
            _sync_folder(self.folder)
        self.place = path
        return there

    @staticmethod
    def _header() -> bytes:
        return header(version("watchkeeper"), datetime.now(UTC))


def _mended(descriptor: int, path: Path) -> bytes:
    """The file's content up to the last whole record. A torn one behind it is set aside: its contact comes again."""
    content = b""
    while block := os.pread(descriptor, 1 << 20, len(content)):
        content += block
    whole = 0
    for match in _END.finditer(content):
        whole = match.end()
    torn = content[whole:]
    if torn.strip():
        with path.with_suffix(".torn").open("ab") as aside:
            aside.write(torn + b"\n")
            aside.flush()
            os.fsync(aside.fileno())
    if torn:
        os.ftruncate(descriptor, whole)
    if whole and not content[:whole].endswith(b"\n"):
        _write(descriptor, b"\n")
    return content[:whole]


def _write(descriptor: int, data: bytes) -> None:
    rest = memoryview(data)
    while rest:
        rest = rest[os.write(descriptor, rest) :]


def _sync_folder(folder: Path) -> None:
    """Make the new file's name durable too."""
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
