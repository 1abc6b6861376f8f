"""A part of an ADIF file as rows for the log: pure, and run in a process of its own where there are several parts.

A file is cut where an end mark seems to be. Whether it was one is known when the part before has been read: its last
record then ends exactly at the cut. Otherwise the part behind is read again from where that record truly ends.
"""

from __future__ import annotations

import io
import re
from array import array
from collections.abc import Callable, Iterable, Iterator
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import BinaryIO, NamedTuple

from ..adif import AdifValueError, Reader, Record, adx, encode_record
from ..adif import contact as adif_contact
from ..adif.outline import Outline
from ..adif.reader import Excerpt, excerpts, header_end
from .contacts import LIKE_MS
from .import_values import (
    FIELDS,
    MADE_FROM,
    activated,
    bands,
    data_of,
    days,
    fields_of,
    modes,
    times,
    told_of,
)

#: call, band, mode
Key = tuple[str, str | None, str]
#: before all contacts
NEVER_MS = -(2**62)
#: a part of this size keeps the memory small and a processor busy for half a second
PART_BYTES = 4 * 1024 * 1024
#: how far behind its end a part is read at most: the longest record
_OVERLAP = 512 * 1024
_LOOK = 4096
_MARK = re.compile(rb"<eor>", re.IGNORECASE)
_CALL = re.compile(r"[A-Za-z0-9/]+")


class Refused(NamedTuple):
    """A record that makes no contact: its place, counted within the part, and why."""

    record: int
    line: int
    why: str


class Part(NamedTuple):
    """What a part holds: one entry a contact in each list, in the order of the file."""

    calls: list[str]
    started_ms: array[int]
    bands: list[str | None]
    modes: list[str]
    told: list[str]
    activated: list[str | None]
    #: where each record lies in the file: start and end, in turns
    spans: array[int]
    #: index → the record written anew, where the file's own bytes are not fit to be kept
    anew: dict[int, bytes]
    #: index of those that had to be mended
    mended: list[int]
    #: index of those that may be like another of this part, in order; no other one is like any before it
    doubtful: list[int]
    #: (call, band, mode) → the newest start, of those that a contact of the next part may be like
    tail: dict[Key, int]
    refused: list[Refused]
    #: all records, the refused ones too
    read: int
    lines: int
    #: where the last record ends: the next part begins there
    end: int

    def key(self, index: int) -> Key:
        """Call, band and mode of a contact."""
        return self.calls[index], self.bands[index], self.modes[index]


def is_adx(stream: BinaryIO) -> bool:
    """Whether an open file is ADX; it is left at its start."""
    found = adx.is_adx(stream.read(_LOOK))
    stream.seek(0)
    return found


def cuts(path: Path, part_bytes: int = PART_BYTES) -> list[int]:
    """Where to cut the file at ``path`` into parts of about that size: their starts, and the file's size."""
    size = path.stat().st_size
    found = [0]
    with path.open("rb") as file:
        for near in range(part_bytes, size - part_bytes // 2, part_bytes):
            file.seek(near)
            mark = _MARK.search(file.read(_OVERLAP))
            if mark is not None and found[-1] < near + mark.end() < size:
                found.append(near + mark.end())
    return [*found, size]


def joined(cuts: list[int], firsts: Iterable[Part], again: Callable[[int, int], Part]) -> Iterator[Part]:
    """The parts in order. Where a cut was within a record, ``again`` reads from where that record truly ends."""
    end = cuts[0]
    for (start, stop), first in zip(pairwise(cuts), firsts, strict=True):
        if stop <= end:
            continue  # within a record of the part before
        part = first if start == end else again(end, stop)
        end = part.end if part.read else stop
        yield part


def read_part(path: Path, start: int, stop: int) -> Part:
    """The records of the ADI file at ``path`` that begin behind ``start`` and before ``stop``."""
    with path.open("rb") as file:
        file.seek(start)
        data = file.read(stop - start + _OVERLAP)
    return _Rows(data, start).take(excerpts(io.BytesIO(data), _outline(path)), stop - start)


def read_adx(stream: BinaryIO) -> Part:
    """The records of an open ADX stream, all in one part; each is written anew as ADI."""
    return _Rows(b"", 0).take(Reader(stream))


@lru_cache(maxsize=1)
def _outline(path: Path) -> Outline:
    """What this process has learned of the file at ``path`` from its parts so far."""
    del path  # it tells one outline from another
    return Outline(FIELDS)


class _Rows:
    """Turns records into the lists of a part."""

    def __init__(self, data: bytes, start: int) -> None:
        self._data = data
        self._start = start
        self._header_end = header_end(data) if not start else 0
        self._part = Part([], array("q"), [], [], [], [], array("q"), {}, [], [], {}, [], 0, 0, start)
        #: a place in the data and the line there
        self._line_at = (0, 1)

    def take(self, records: Iterable[Excerpt | Record], length: int = 0) -> Part:
        """The ``records``, which lie in the data one behind the other, up to the first that ends at ``length``."""
        part, start, find = self._part, self._start, self._data.find
        keep = part.spans.extend
        end, count = self._header_end, 0
        for record in records:
            begin = end
            end = record[0] if isinstance(record, tuple) else record.end
            count += 1
            begin = max(begin, find(b"<", begin))
            try:
                if isinstance(record, Record):
                    self._take_full(record)
                elif not self._add(record[1]):
                    record = self._in_full(begin, end)
                    self._careful(record)
                keep((start + begin, start + end))
            except AdifValueError as fault:
                assert isinstance(record, Record)
                part.refused.append(Refused(count, record.line, str(fault)))
            if end >= length > 0:
                break
        _compare(part)
        return part._replace(read=count, end=start + end, lines=self._data.count(b"\n", 0, end))

    def _add(self, fields: tuple[str | None, ...]) -> bool:
        """Add a record by its fields, as :data:`FIELDS` names them; false where the careful way must look at it."""
        part = self._part
        try:
            started_ms = days[fields[1]] + times[fields[2]]
            band = bands[fields[3]]
            mode, mended = modes[fields[4:6]]
        except ValueError:
            return False
        if mended:
            part.mended.append(len(part.calls))
        part.calls.append(data_of(fields[0]).upper())
        part.started_ms.append(started_ms)
        part.bands.append(band)
        part.modes.append(mode)
        part.told.append(told_of(fields))
        part.activated.append(activated[fields[MADE_FROM]])
        return True

    def _take_full(self, record: Record) -> None:
        """Add a record that was read in full. Raises ``AdifValueError`` where it makes no contact."""
        if not (record.sound and record.end):
            self._take_anew(record)
        elif not self._plain(record):
            self._careful(record)

    def _take_anew(self, record: Record) -> None:
        """Add a record whose own bytes are not fit to be kept, ADX or broken: as the writer spells it.

        One that had to be mended for it, or loses letters by it, for ADI is ASCII, is mended.
        """
        adif_contact.from_record(record)
        data, changes = encode_record(record)
        index = len(self._part.calls)
        self._careful(next(Reader(io.BytesIO(data))))
        self._part.anew[index] = data
        if (changes or not record.sound) and self._part.mended[-1:] != [index]:
            self._part.mended.append(index)

    def _plain(self, record: Record) -> bool:
        """Add a record that was read in full, if every value that matters here is as the standard wants it."""
        fields = fields_of(record)
        return _CALL.fullmatch(data_of(fields[0])) is not None and self._add(fields)

    def _in_full(self, begin: int, end: int) -> Record:
        """The record between two places of the data, read in full."""
        record = next(Reader(io.BytesIO(self._data[begin:end])))
        place, line = self._line_at
        record.line = line + self._data.count(b"\n", place, begin)
        self._line_at = begin, record.line
        return record

    def _careful(self, record: Record) -> None:
        """Add any other record. Raises ``AdifValueError`` where it makes no contact."""
        found = adif_contact.from_record(record)
        part, contact, fields = self._part, found.contact, fields_of(record)
        if found.mends:
            part.mended.append(len(part.calls))
        part.calls.append(contact.call)
        part.started_ms.append(contact.started_ms)
        part.bands.append(contact.band)
        part.modes.append(contact.mode)
        part.told.append(told_of(fields))
        part.activated.append(activated[fields[MADE_FROM]])


def _compare(part: Part) -> None:
    """Find those that are out of the order of time, or follow one of their call, band and mode within some minutes."""
    reached_ms = NEVER_MS
    near: dict[Key, int] = {}
    keys = zip(part.calls, part.bands, part.modes, strict=True)
    for index, (key, started_ms) in enumerate(zip(keys, part.started_ms, strict=True)):
        near_ms = near.get(key, NEVER_MS)
        if started_ms < reached_ms:
            part.doubtful.append(index)
            near[key] = max(near_ms, started_ms)
            continue
        reached_ms = near[key] = started_ms
        if started_ms - near_ms <= LIKE_MS:
            part.doubtful.append(index)
    part.tail.update((key, near_ms) for key, near_ms in near.items() if near_ms >= reached_ms - LIKE_MS)
