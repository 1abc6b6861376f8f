"""Following a file that another program writes: growth, rotation, truncation, rewriting, and not being there yet."""

from __future__ import annotations

import os
from collections.abc import Iterator
from io import FileIO
from pathlib import Path
from typing import NamedTuple

CHUNK = 64 * 1024
#: so much of what was read last is compared before going on: a rewritten file differs there
_MARK_BYTES = 64


class Chunk(NamedTuple):
    """What came next. ``begins``: it begins a file, and what was read before has ended, whole or not."""

    data: bytes
    begins: bool


class Tail:
    """The bytes of one path in order, through every file that stands there in turn.

    A rotated file is read to its end before its successor; one that is truncated or rewritten in place is read again
    from its start.
    """

    def __init__(self, path: Path, *, at_end: bool = False) -> None:
        """``at_end`` passes over what the file holds now. Raises OSError for what is there but cannot be read."""
        self._path = path
        self._file: FileIO | None = None
        self._identity: tuple[int, int] | None = None
        self._mark = b""
        self._begins = False
        self._open()
        if at_end and self._file is not None:
            self._pass_over(self._file)

    def read(self) -> Chunk | None:
        """What there is beyond the last read, at most a chunk; None when nothing has come. Never waits."""
        if self._file is None and not self._open():
            return None
        assert self._file is not None
        if self._is_rewritten(self._file):
            self._file.seek(0)
            self._start()
        data = self._file.read(CHUNK)
        if not data and self._is_replaced():
            self._file.close()
            self._file = None
            return self.read()
        if not data:
            return None
        self._mark = (self._mark + data)[-_MARK_BYTES:]
        begins, self._begins = self._begins, False
        return Chunk(data, begins)

    def close(self) -> None:
        """Close the file that stands open."""
        if self._file is not None:
            self._file.close()
            self._file = None

    def _open(self) -> bool:
        try:
            self._file = self._path.open("rb", buffering=0)  # a buffer would hide that the file was rewritten
        except FileNotFoundError:
            return False
        status = os.fstat(self._file.fileno())
        self._identity = (status.st_dev, status.st_ino)
        self._start()
        return True

    def _start(self) -> None:
        self._mark = b""
        self._begins = True

    def _pass_over(self, file: FileIO) -> None:
        end = file.seek(0, os.SEEK_END)
        file.seek(max(0, end - _MARK_BYTES))
        self._mark = file.read(_MARK_BYTES)
        self._begins = False

    def _is_rewritten(self, file: FileIO) -> bool:
        position = file.tell()
        file.seek(position - len(self._mark))
        return file.read(len(self._mark)) != self._mark

    def _is_replaced(self) -> bool:
        try:
            status = self._path.stat()
        except FileNotFoundError:
            return False  # moved away, and its successor is not there yet
        return (status.st_dev, status.st_ino) != self._identity


class LineSplitter:
    """Bytes to lines. A line over ``limit`` bytes comes cut to one byte more than that, so that it is known as such."""

    def __init__(self, limit: int) -> None:
        self._limit = limit
        self._rest = b""
        self._dropping = False

    def feed(self, data: bytes) -> Iterator[bytes]:
        """The lines that ``data`` completes, without their line feeds."""
        *whole, last = data.split(b"\n")
        for line in whole:
            finished = self._rest + line
            self._rest = b""
            if self._dropping:
                self._dropping = False
            else:
                yield finished[: self._limit + 1]
        self._rest += last
        if len(self._rest) > self._limit:
            if not self._dropping:
                yield self._rest[: self._limit + 1]
            self._dropping = True
            self._rest = b""

    def flush(self) -> Iterator[bytes]:
        """The unfinished last line, when nothing more will come."""
        if self._rest and not self._dropping:
            yield self._rest
        self._rest = b""
        self._dropping = False
