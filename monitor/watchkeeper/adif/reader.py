"""Reading ADIF: ADI as a stream in constant memory, and ADX by :mod:`watchkeeper.adif.adx`.

Almost every record of almost every file is plain: ASCII, right lengths, blanks between the fields. Such a record is
split at its ``<`` signs and checked against its lengths at a few hundred nanoseconds a field. Whatever does not fit
goes through the careful scanner, from the same place, so that speed never costs correctness.
"""

from __future__ import annotations

import io
from collections.abc import Generator, Iterator
from pathlib import Path
from typing import BinaryIO

from watchkeeper.adif import adx
from watchkeeper.adif.outline import Outline
from watchkeeper.adif.record import Header, Problem, Record
from watchkeeper.adif.scan import TAG, TAG_LIMIT, Unit, decoded, own_type, scan

#: longer records are cut off and reported: a file without end marks must not fill the memory
RECORD_LIMIT = 256 * 1024
_CHUNK = 1024 * 1024
#: longer records go the careful way: looking far ahead for every odd record would cost the square of the file
_PLAIN_LIMIT = 8192
_BYTE_ORDER_MARK = "\xef\xbb\xbf"
#: what may stand between two fields without a second look
_BLANKS = frozenset(("", " ", "\n", "\r\n", "  ", " \n", " \r\n", "\r", "\t"))
_KNOWN_TAGS_LIMIT = 4096
#: fields and problems of all headers together; more are a hostile file's
_HEADER_LIMIT = 4096
#: fields whose values hardly come again within a file: keeping them would only cost
_SELDOM_AGAIN = frozenset(("CALL", "COMMENT", "FREQ", "FREQ_RX", "NAME", "NOTES", "QSLMSG", "TIME_OFF", "TIME_ON"))
_PIECES_LIMIT = 8192
_PIECE_LENGTH = 16

#: the byte offset behind a record's end mark, and its wanted fields: length, ``>`` and data of each, or None
Excerpt = tuple[int, tuple[str | None, ...]]


class Reader(Iterator[Record]):
    """The records of one ADI or ADX stream, in order; ``header`` is there from the start.

    Nothing in the file raises: a record that had to be mended, or that the end of the file cut off, carries its
    problems. With ``places`` each record also knows the line of every field, at some cost where it has several lines.
    """

    def __init__(self, stream: BinaryIO, *, places: bool = False) -> None:
        self.header = Header()
        start = stream.read(_CHUNK)
        #: true when the stream is ADX, the XML form
        self.is_adx = adx.is_adx(start)
        if self.is_adx:
            self._records = adx.records(stream, start, self.header)
        else:
            adi = _AdiStream(stream, start, self.header, places=places)
            adi.read_header()
            self._records = adi.records()

    def __next__(self) -> Record:
        return next(self._records)


def read(stream: BinaryIO, *, places: bool = False) -> Reader:
    """The records of an open ADI or ADX stream (see :class:`Reader`)."""
    return Reader(stream, places=places)


def read_file(path: Path | str, *, places: bool = False) -> Iterator[Record]:
    """The records of a file, which is closed behind the last one. Raises ``OSError`` when it cannot be read."""
    with Path(path).open("rb") as stream:
        yield from Reader(stream, places=places)


def excerpts(stream: BinaryIO, outline: Outline) -> Iterator[Excerpt | Record]:
    """The records of an open ADI stream; of one that fits the ``outline``, which is sound then, only an excerpt."""
    adi = _AdiStream(stream, stream.read(_CHUNK), Header(), places=False)
    adi.read_header()
    return adi.excerpts(outline)


def header_end(data: bytes) -> int:
    """The byte offset behind the header that the start of an ADI file holds; 0 where it has none."""
    stream = io.BytesIO(data)
    adi = _AdiStream(stream, stream.read(_CHUNK), Header(), places=False)
    adi.read_header()
    return adi.offset if adi.begun else 0


class _AdiStream:
    """A window over an ADI stream: at least one record's greatest length ahead of the position, or up to the end.

    The window holds bytes as Latin-1 characters, so a character's place is a byte's place.
    """

    def __init__(self, stream: BinaryIO, start: bytes, header: Header, *, places: bool) -> None:
        self._stream = stream
        self._header = header
        self._places = places
        self._text = start.decode("latin-1")
        self._final = not start
        self._position = len(_BYTE_ORDER_MARK) if self._text.startswith(_BYTE_ORDER_MARK) else 0
        self._line = 1  # of the position
        self._offset = 0  # of the window's first byte in the stream
        self._number = 0
        self._begun = False  # a header or a record was met
        self._mark = "<EOR>"
        self._known: dict[str, tuple[str, int, str, bool]] = {}
        self._pieces: dict[str, tuple[str, str]] = {}
        self._fill()

    @property
    def offset(self) -> int:
        """The byte offset of the position in the stream."""
        return self._offset + self._position

    @property
    def begun(self) -> bool:
        """Whether a header or a record was met."""
        return self._begun

    def read_header(self) -> None:
        """Take the header if the first end mark is ``<EOH>``; otherwise the stream has none and nothing is taken."""
        unit = self._scan()
        if unit.is_header:
            self._take_header(unit)

    def records(self) -> Iterator[Record]:
        """Every record of the stream."""
        while True:
            self._fill()
            yield from self._plain_records()
            self._fill()
            if self._position == len(self._text):
                return
            record = self._careful_record()
            if record is not None:
                yield record

    def excerpts(self, outline: Outline) -> Iterator[Excerpt | Record]:
        """Every record of the stream, in part where the ``outline`` is enough for it."""
        while not outline.hopeless:
            self._fill()
            yield from self._outlined(outline)
            self._fill()
            if self._position == len(self._text):
                return
            text, begin = self._text, self._position
            plain = self._plain_records()
            record = next(plain, None)
            plain.close()
            if record is not None:
                outline.learn(text[begin : self._position])
            else:
                record = self._careful_record()
            if record is not None:
                yield record
        yield from self.records()

    def _outlined(self, outline: Outline) -> Iterator[Excerpt]:
        """Records as long as they fit the outline and the window holds one of the greatest length."""
        match, groups, text, offset = outline.match, outline.groups, self._text, self._offset
        position = begin = self._position
        last = len(text) if self._final else len(text) - RECORD_LIMIT
        count = 0
        try:
            while position <= last and (found := match(text, position)):
                position = found.end()
                count += 1
                yield offset + position, found.group(*groups)
        finally:
            self._line += text.count("\n", begin, position)
            self._position = position
            self._number += count
            outline.fitted += count

    def _fill(self) -> None:
        """Read on until a whole record's greatest length lies ahead, and drop what lies behind."""
        while not self._final and len(self._text) - self._position < RECORD_LIMIT:
            more = self._stream.read(_CHUNK)
            self._final = not more
            self._text = self._text[self._position :] + more.decode("latin-1")
            self._offset += self._position
            self._position = 0

    def _plain_records(self) -> Generator[Record, None, None]:
        """Records as long as they are plain and the window holds one of the greatest length.

        Everything is inlined and kept in local names: this loop is the speed of an import.
        """
        text, known, mark, blanks, recall = self._text, self._known, self._mark, _BLANKS, self._pieces.get
        position, line, number = self._position, self._line, self._number
        last = len(text) if self._final else len(text) - RECORD_LIMIT
        new = Record.__new__
        try:
            while position <= last:
                stop = text.find(mark, position, position + _PLAIN_LIMIT)
                if stop < 0:
                    return
                part = text[position:stop]
                pieces = part.split("<")
                record = new(Record)
                try:
                    for piece in pieces[1:]:
                        if kept := recall(piece):
                            name, value = kept
                        else:
                            tag, _, value = piece.partition(">")
                            name, length, indicator, comes_again = known[tag]
                            if rest := value[length:]:
                                if rest not in blanks:
                                    return
                                value = value[:length]
                            elif len(value) != length:
                                return
                            if comes_again:
                                self._keep(piece, name, value)
                            elif indicator:
                                record.types[name] = indicator
                        record[name] = value
                except KeyError:
                    if self._learn(pieces[1:]):
                        continue
                    return
                if len(record) != len(pieces) - 1 or not record:
                    return  # a field twice, or nothing but the mark
                before, lines = pieces[0].count("\n"), part.count("\n")
                if self._places and lines != before:
                    return
                if not part.isascii():
                    _decode(record)
                number += 1
                record.number, record.line = number, line + before
                line += lines
                position = stop + len(mark)
                record.end = self._offset + position
                yield record
        finally:
            self._position, self._line, self._number = position, line, number

    def _keep(self, piece: str, name: str, value: str) -> None:
        """Keep a whole field, text and all: bands, modes and dates come again and again, and then cost one look-up."""
        if len(self._pieces) >= _PIECES_LIMIT:
            self._pieces.clear()
        if len(value) <= _PIECE_LENGTH:
            self._pieces[piece] = (name, value)

    def _learn(self, pieces: list[str]) -> bool:
        """Keep the tags of a record for the plain way; false if one of them is no field or all were known."""
        known = self._known
        if len(known) > _KNOWN_TAGS_LIMIT:
            known.clear()
        before = len(known)
        for piece in pieces:
            spelled = piece.partition(">")[0]
            tag = TAG.fullmatch(f"<{spelled}>")
            if tag is None or tag.group(1):
                return False
            name = tag.group(2).upper()
            indicator = own_type(name, tag.group(4))
            known[spelled] = (name, int(tag.group(3)), indicator, not indicator and name not in _SELDOM_AGAIN)
        return len(known) > before

    def _scan(self) -> Unit:
        stop = min(self._position + RECORD_LIMIT, len(self._text))
        return scan(self._text, self._position, stop, final=self._final and stop == len(self._text))

    def _careful_record(self) -> Record | None:
        """The next record by the scanner; None for a blank one, a header in the middle, or blanks at the end."""
        unit = self._scan()
        if unit.is_header:
            self._take_header(unit)
            return None
        if unit.mark:
            self._mark = unit.mark
        torn = not unit.mark and self._final and unit.end == len(self._text)
        if unit.first > self._position and not unit.mark and not torn:
            self._pass(unit.first)  # a comment took most of the length that a record may have: begin behind it
            return None
        if not unit.fields and not unit.findings and (unit.mark or not self._rest_matters(unit)):
            self._pass(unit.end if unit.mark or torn else self._end_of_prose(unit))
            return None
        record = self._record_of(unit)
        if not unit.mark:
            self._report_missing_mark(record, torn=torn)
        self._pass(unit.end)
        if not unit.mark and not torn:
            self._skip_to_mark()
        return record

    def _end_of_prose(self, unit: Unit) -> int:
        """Where to go on behind a comment of a record's greatest length: before a field that may have begun in it."""
        begun = self._text.rfind("<", unit.end - TAG_LIMIT, unit.end)
        return begun if begun >= 0 else unit.end

    def _rest_matters(self, unit: Unit) -> bool:
        """Text without any field at the end of a file is a comment, unless the file holds nothing else."""
        rest = self._text[self._position : unit.end].strip()
        return rest != "" and ((self._final and "<" in rest[-TAG_LIMIT:]) or (self._number == 0 and not self._begun))

    def _record_of(self, unit: Unit) -> Record:
        self._number += 1
        record = Record(unit.fields, number=self._number, line=self._line_at(unit.first))
        record.end = self._offset + unit.end
        for name, indicator in unit.types.items():
            record.types[name] = indicator
        for finding in unit.findings:
            line = self._line_at(finding.offset)
            record.problems.append(Problem(self._number, line, finding.field, finding.severity, finding.why))
        if self._places:
            self._note_places(record, unit)
        return record

    def _note_places(self, record: Record, unit: Unit) -> None:
        line, cursor = self._line, self._position
        for name, offset in unit.offsets.items():
            line += self._text.count("\n", cursor, offset)
            cursor = offset
            record.notes.places[name] = line

    def _report_missing_mark(self, record: Record, *, torn: bool) -> None:
        record.notes.complete = False
        if not record:
            why = "no field of ADIF can be found in this text"
        elif torn:
            why = "the file ends inside this record: <EOR> is missing, so its end may be lost"
        else:
            why = f"no <EOR> within {RECORD_LIMIT} bytes: what follows up to the next one is passed over"
        record.problems.append(Problem(record.number, record.line, None, "error", why))

    def _skip_to_mark(self) -> None:
        """Pass over the text up to and with the next end mark, however far it is."""
        while True:
            found = self._text.lower().find("<eor>", self._position)  # no Latin-1 character changes its length
            if found >= 0:
                self._pass(found + len("<eor>"))
                return
            if self._final:
                self._pass(len(self._text))
                return
            self._pass(max(self._position, len(self._text) - len("<eor>")))
            self._fill()

    def _take_header(self, unit: Unit) -> None:
        """Take the fields of a header; one in the middle of a file (files that were joined) counts as well."""
        header = self._header
        if len(header.fields) + len(header.problems) > _HEADER_LIMIT:
            self._pass(unit.end)
            return
        for finding in unit.findings:
            line = self._line_at(finding.offset)
            header.problems.append(Problem(0, line, finding.field, finding.severity, finding.why))
        for name, value in unit.fields.items():
            number = name.removeprefix("USERDEF")
            if name != number and number.isdecimal():
                header.define(int(number), value, unit.types.get(name))
            header.fields[name] = value
            header.places[name] = self._line_at(unit.offsets[name])
        self._known.clear()
        self._pieces.clear()
        self._begun = True
        self._pass(unit.end)

    def _line_at(self, offset: int) -> int:
        return self._line + self._text.count("\n", self._position, offset)

    def _pass(self, position: int) -> None:
        self._line += self._text.count("\n", self._position, position)
        self._position = position


def _decode(record: Record) -> None:
    for name, value in record.items():
        if not value.isascii():
            record[name] = decoded(value)
