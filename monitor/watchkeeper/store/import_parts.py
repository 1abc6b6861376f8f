"""A part of an ADIF file as rows for the log: pure, and run in a process of its own where there are several parts.

A file is cut where an end mark seems to be. Whether it was one is known when the part before has been read: its last
record then ends exactly at the cut. Otherwise the part behind is read again from where that record truly ends.
"""

from __future__ import annotations

import io
import re
from array import array
from collections.abc import Callable, Iterable, Iterator
from itertools import pairwise
from pathlib import Path
from typing import BinaryIO, NamedTuple, TypeVar

from ..adif import AdifValueError, Reader, Record, adx, encode_record, normalise, parse_when
from ..adif import contact as adif_contact
from ..radio.band import BANDS
from ..schema.events import to_ms
from .told import CONFIRMED, told

K = TypeVar("K")
V = TypeVar("V")
#: a part of this size keeps the memory small and a processor busy for half a second
PART_BYTES = 4 * 1024 * 1024
#: how far behind its end a part is read at most: the longest record
_OVERLAP = 512 * 1024
_LOOK = 4096
_MARK = re.compile(rb"<eor>", re.IGNORECASE)
_HEADER = re.compile(rb"<eoh>", re.IGNORECASE)
#: what was understood once: the same values come again and again, in every part that this process reads
_CACHED = 100_000
_DAYS: dict[str, int] = {}
_TIMES: dict[str, int] = {}
_MODES: dict[tuple[str | None, str | None], tuple[str, bool]] = {}
_TOLD: dict[tuple[str | None, ...], str] = {}
_BANDS = frozenset(band.name for band in BANDS)


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
    #: where each record lies in the file: start and end, in turns
    spans: array[int]
    #: index → the record written anew, where the file's own bytes are not fit to be kept
    anew: dict[int, bytes]
    #: index of those that had to be mended
    mended: list[int]
    refused: list[Refused]
    #: all records, the refused ones too
    read: int
    lines: int
    #: where the last record ends: the next part begins there
    end: int


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
    return _Rows(data, start).read(stop - start)


def read_adx(stream: BinaryIO) -> Part:
    """The records of an open ADX stream, all in one part; each is written anew as ADI."""
    return _Rows(b"", 0).take(Reader(stream))


class _Rows:
    """Turns records into the lists of a part."""

    def __init__(self, data: bytes, start: int) -> None:
        self._data = data
        self._start = start
        self._part = Part([], array("q"), [], [], [], array("q"), {}, [], [], 0, 0, start)

    def read(self, length: int) -> Part:
        """The records that begin within the first ``length`` bytes of the data."""
        return self.take(Reader(io.BytesIO(self._data)), length)

    def take(self, records: Iterable[Record], length: int = 0) -> Part:
        """The ``records``, which lie in the data one behind the other, up to the first that ends at ``length``."""
        part, start, find, plain = self._part, self._start, self._data.find, self._plain
        keep = part.spans.extend
        end = count = 0
        for record in records:
            begin, end = end, record.end
            count += 1
            if count == 1:
                begin = self._behind_header(end)
            try:
                if not (record.sound and plain(record)):
                    self._careful(record)
                if not end:  # ADX: the log keeps records as ADI has them
                    self._write_anew(record, len(part.calls) - 1)
                keep((start + max(begin, find(b"<", begin)), start + end))
            except AdifValueError as fault:
                part.refused.append(Refused(count, record.line, str(fault)))
            if end >= length > 0:
                break
        return part._replace(read=count, end=start + end, lines=self._data.count(b"\n", 0, end))

    def _behind_header(self, stop: int) -> int:
        head = _HEADER.search(self._data, 0, stop)
        return head.end() if head is not None else 0

    def _plain(self, record: Record) -> bool:
        """Add a record whose every value that matters here is as the standard wants it; false for any other."""
        get = record.get
        try:
            call, band, date, time = record["CALL"], record["BAND"], record["QSO_DATE"], record["TIME_ON"]
            started_ms = (_DAYS.get(date) or _day_ms(date)) + (_TIMES.get(time) or _time_ms(time))
            mode, mended = _MODES.get((record["MODE"], get("SUBMODE"))) or _mode(record["MODE"], get("SUBMODE"))
        except (KeyError, ValueError):
            return False
        if band not in _BANDS or not call.isupper() or not call.isascii() or " " in call:
            return False
        part = self._part
        if mended:
            part.mended.append(len(part.calls))
        part.calls.append(call)
        part.started_ms.append(started_ms)
        part.bands.append(band)
        part.modes.append(mode)
        part.told.append(_told_by(record))
        return True

    def _careful(self, record: Record) -> None:
        """Add any other record. Raises ``AdifValueError`` where it makes no contact."""
        found = adif_contact.from_record(record)
        part, contact = self._part, found.contact
        index = len(part.calls)
        if found.mends or not record.sound:
            part.mended.append(index)
        if not record.sound:
            self._write_anew(record, index)
        part.calls.append(contact.call)
        part.started_ms.append(contact.started_ms)
        part.bands.append(contact.band)
        part.modes.append(contact.mode)
        part.told.append(_told_by(record))

    def _write_anew(self, record: Record, index: int) -> None:
        """Keep the record as the writer spells it. One that loses letters by that, for ADI is ASCII, is mended."""
        data, changes = encode_record(record)
        self._part.anew[index] = data
        if changes and self._part.mended[-1:] != [index]:
            self._part.mended.append(index)


def _day_ms(text: str) -> int:
    """The start of a day. Raises ValueError for what is none: the careful way tells what is wrong."""
    day, _ = parse_when({"QSO_DATE": text, "TIME_ON": "0000"})
    return _kept(_DAYS, text, to_ms(day))


def _time_ms(text: str) -> int:
    """HHMM or HHMMSS as ms of the day. Raises ValueError for anything else."""
    if len(text) not in (4, 6) or not (text.isascii() and text.isdecimal()):
        raise ValueError(text)
    hour, minute, second = int(text[:2]), int(text[2:4]), int(text[4:] or 0)
    if hour > 23 or minute > 59 or second > 59:
        raise ValueError(text)
    return _kept(_TIMES, text, (hour * 3600 + minute * 60 + second) * 1000)


def _mode(mode: str, submode: str | None) -> tuple[str, bool]:
    """The mode as on the air, and whether it had to be mended. Raises ValueError where there is none."""
    taken = normalise(mode, submode)
    if not taken.mode:
        raise ValueError(mode)
    return _kept(_MODES, (mode, submode), (taken.submode or taken.mode, taken.mended))


def _kept(known: dict[K, V], key: K, value: V) -> V:
    if len(known) > _CACHED:
        known.clear()
    known[key] = value
    return value


def _told_by(record: Record) -> str:
    """See :mod:`watchkeeper.store.told`: the locator differs from record to record, the rest comes again."""
    get = record.get
    others = (
        get("STATE"),
        get("DXCC"),
        get("CQZ"),
        get("ITUZ"),
        get("CONT"),
        get("QSL_RCVD"),
        get("LOTW_QSL_RCVD"),
        get("EQSL_QSL_RCVD"),
        get("DCL_QSL_RCVD"),
    )
    rest = _TOLD.get(others)
    if rest is None:
        rest = _kept(_TOLD, others, _told_rest(*(text or "" for text in others)))
    locator = get("GRIDSQUARE")
    if not locator:
        return rest
    square = locator[:4].upper()
    return square + rest if square.isalnum() else rest


def _told_rest(state: str, entity: str, cq_zone: str, itu_zone: str, continent: str, *received: str) -> str:
    confirmed = CONFIRMED if any(text.upper() in ("Y", "V") for text in received) else ""
    return told("", state, _digits(entity), _digits(cq_zone), _digits(itu_zone), continent.upper(), confirmed)


def _digits(text: str) -> str:
    """A number without the zeros before it; nothing for what is no number."""
    return str(int(text)) if text.isascii() and text.isdigit() else ""
