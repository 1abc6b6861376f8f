"""A part of an ADIF file as rows for the log: pure, and run in a process of its own where there are several parts.

A file is cut where an end mark seems to be. Whether it was one is known when the part before has been read: its last
record then ends exactly at the cut. Otherwise the part behind is read again from where that record truly ends.
"""

from __future__ import annotations

import io
import re
from array import array
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, NamedTuple

from ..adif import AdifValueError, Reader, Record, adx, normalise, parse_when, write_record
from ..adif import contact as adif_contact
from .told import told

#: a part of this size keeps the memory small and a processor busy for half a second
PART_BYTES = 6 * 1024 * 1024
#: how far behind its end a part is read at most: the longest record
_OVERLAP = 512 * 1024
_LOOK = 4096
_MARK = re.compile(rb"<eor>", re.IGNORECASE)
_HEADER = re.compile(rb"<eoh>", re.IGNORECASE)
_CACHED = 100_000


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


def cuts(path: Path) -> list[int]:
    """Where to cut the file at ``path``: the parts' starts and the file's size."""
    size = path.stat().st_size
    found = [0]
    with path.open("rb") as file:
        for near in range(PART_BYTES, size - PART_BYTES // 2, PART_BYTES):
            file.seek(near)
            mark = _MARK.search(file.read(_OVERLAP))
            if mark is not None and near + mark.end() < size:
                found.append(near + mark.end())
    return [*found, size]


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
    """Turns records into the lists of a part. What comes again and again is understood once."""

    def __init__(self, data: bytes, start: int) -> None:
        self._data = data
        self._start = start
        self._part = Part([], array("q"), [], [], [], array("q"), {}, [], [], 0, 0, start)
        self._dates: dict[str, int] = {}
        self._modes: dict[tuple[str | None, str | None], tuple[str, bool]] = {}
        self._told: dict[tuple[str | None, ...], str] = {}

    def read(self, length: int) -> Part:
        return self.take(self._within(length))

    def take(self, records: Iterator[Record]) -> Part:
        part, end, count = self._part, 0, 0
        for record in records:
            count += 1
            begin, end = end, record.end
            try:
                plain = record.sound and self._plain(record)
                if not plain:
                    self._careful(record)
            except AdifValueError as fault:
                part.refused.append(Refused(count, record.line, str(fault)))
                continue
            if count == 1:
                begin = self._behind_header(end)
            part.spans.append(self._start + max(begin, self._data.find(b"<", begin)))
            part.spans.append(self._start + end)
        return part._replace(read=count, end=self._start + end, lines=self._data.count(b"\n", 0, end))

    def _behind_header(self, stop: int) -> int:
        head = _HEADER.search(self._data, 0, stop)
        return head.end() if head is not None else 0

    def _within(self, length: int) -> Iterator[Record]:
        for record in Reader(io.BytesIO(self._data)):
            yield record
            if record.end >= length:
                return

    def _plain(self, record: Record) -> bool:
        """Add a record whose every value that matters here is as the standard wants it; false for any other."""
        get = record.get
        try:
            started = self._date(record["QSO_DATE"]) + self._time(record["TIME_ON"])
            call, band = record["CALL"], record["BAND"]
            mode, mended = self._mode(get("MODE"), get("SUBMODE"))
        except (KeyError, ValueError):
            return False
        if not (call.isupper() and call.isascii() and band.islower()) or " " in call or " " in band:
            return False
        part = self._part
        if mended:
            part.mended.append(len(part.calls))
        part.calls.append(call)
        part.started_ms.append(started)
        part.bands.append(band)
        part.modes.append(mode)
        part.told.append(self._told_by(record))
        return True

    def _careful(self, record: Record) -> None:
        """Add any other record. Raises ``AdifValueError`` where it makes no contact."""
        found = adif_contact.from_record(record)
        part, contact = self._part, found.contact
        index = len(part.calls)
        if found.mends or not record.sound:
            part.mended.append(index)
        if not record.sound or not record.end:
            part.anew[index] = write_record(record)
        part.calls.append(contact.call)
        part.started_ms.append(contact.started_ms)
        part.bands.append(contact.band)
        part.modes.append(contact.mode)
        part.told.append(self._told_by(record))

    def _date(self, text: str) -> int:
        found = self._dates.get(text)
        if found is None:
            day, _ = parse_when({"QSO_DATE": text, "TIME_ON": "0000"})
            found = self._dates[text] = round(day.timestamp()) * 1000
        return found

    @staticmethod
    def _time(text: str) -> int:
        """HHMM or HHMMSS as ms of the day. Raises ValueError for anything else: the careful way says what it is."""
        if len(text) == 6:
            second = int(text[4:])
        elif len(text) == 4:
            second = 0
        else:
            raise ValueError(text)
        hour, minute = int(text[:2]), int(text[2:4])
        if not (hour < 24 and minute < 60 and second < 60 and text.isdecimal()):
            raise ValueError(text)
        return (hour * 3600 + minute * 60 + second) * 1000

    def _mode(self, mode: str | None, submode: str | None) -> tuple[str, bool]:
        found = self._modes.get((mode, submode))
        if found is None:
            taken = normalise(mode, submode)
            if not taken.mode:
                raise AdifValueError("MODE", "missing")
            found = self._modes[mode, submode] = (taken.submode or taken.mode, taken.mended)
        return found

    def _told_by(self, record: Record) -> str:
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
        rest = self._told.get(others)
        if rest is None:
            rest = self._told[others] = _told_rest(*(text or "" for text in others))
            if len(self._told) > _CACHED:
                self._told.clear()
        locator = (get("GRIDSQUARE") or "")[:4].upper()
        return locator + rest if locator.isalnum() or not locator else rest


def _told_rest(state: str, entity: str, cq_zone: str, itu_zone: str, continent: str, *received: str) -> str:
    confirmed = "C" if any(text.upper() in ("Y", "V") for text in received) else ""
    return told("", state, _digits(entity), _digits(cq_zone), _digits(itu_zone), continent.upper(), confirmed)


def _digits(text: str) -> str:
    """A number without the zeros before it; nothing for what is no number."""
    return str(int(text)) if text.isascii() and text.isdigit() else ""
