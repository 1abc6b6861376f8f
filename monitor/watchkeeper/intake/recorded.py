"""An exported journal read back: a header line, then one entry a line (see :mod:`watchkeeper.watch.journal`)."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

import msgspec

from ..watch.journal import Entry, Header, JournalError, decode

#: the edition of the format that this program reads
EDITION = 1


class Recording:
    """One exported journal. Use it as a context manager; it is read once, from start to end, in constant memory."""

    def __init__(self, path: Path) -> None:
        """Open and read the header. Raises OSError, and JournalError for what is no journal."""
        self._file: BinaryIO = path.open("rb")
        try:
            self.header = _header(self._file.readline())
        except JournalError:
            self._file.close()
            raise

    def __enter__(self) -> Recording:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    def entries(self) -> Iterator[Entry]:
        """The entries in order. Raises JournalError at the first that is damaged or out of order.

        A last line without its line feed was not written to its end, and does not count.
        """
        last = 0
        for entry in decode(self._whole_lines(), first_line=2):
            if entry.n <= last:
                raise JournalError(f"journal: entry {entry.n} stands behind entry {last}")
            last = entry.n
            yield entry

    def _whole_lines(self) -> Iterator[bytes]:
        return (line for line in self._file if line.endswith(b"\n"))


def _header(line: bytes) -> Header:
    try:
        header = msgspec.json.decode(line, type=Header)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise JournalError(f"journal line 1: not the header of a journal: {error}") from error
    if header.journal != EDITION:
        raise JournalError(f"journal line 1: edition {header.journal}; this program reads {EDITION}")
    return header
