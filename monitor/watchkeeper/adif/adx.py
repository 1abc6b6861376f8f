"""Reading ADX, the XML form of ADIF, in constant memory.

The parser is expat from the standard library. A document type declaration is refused, and with it every entity of the
file's own: ADX needs none, and they are how a small file grows to fill the memory.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import BinaryIO
from xml.parsers import expat  # a DOCTYPE is refused below, so no entity is ever declared

from watchkeeper.adif.record import Header, Problem, Record, Severity

_CHUNK = 64 * 1024
#: text of one element; longer ones are cut and reported
_TEXT_LIMIT = 256 * 1024
_FIELDS_LIMIT = 4096
_ADX_START = re.compile(rb"(?:\xef\xbb\xbf)?\s*<(?:\?xml|!--|!DOCTYPE|adx[\s>])", re.IGNORECASE)
#: what no field name may hold in ADI, where the same record may have to go
_UNSPELLABLE = re.compile(r"[^ !-+\--9;=?-z|~]")
_UTF16_MARKS = (b"\xff\xfe", b"\xfe\xff")


class _RefusedError(Exception):
    """The file holds something that no ADX file needs."""


def is_adx(start: bytes) -> bool:
    """True when a file's first bytes look like XML rather than ADI."""
    return _ADX_START.match(start) is not None or start.startswith(_UTF16_MARKS)


def records(stream: BinaryIO, start: bytes, header: Header) -> Iterator[Record]:
    """The records of an ADX stream whose first bytes were read already; they fill the header at once.

    XML that breaks off ends the records: the last one says where.
    """
    document = _Document(header)
    document.feed(start)
    return _rest(document, stream, start)


def _rest(document: _Document, stream: BinaryIO, chunk: bytes) -> Iterator[Record]:
    while True:
        yield from document.take()
        if document.broken is not None:
            yield document.broken
            return
        if not chunk:
            return
        chunk = stream.read(_CHUNK)
        document.feed(chunk)


class _Document:
    """The state of one document: where the parser stands in it, and the records that are finished."""

    def __init__(self, header: Header) -> None:
        self.broken: Record | None = None
        self._header = header
        self._finished: list[Record] = []
        self._number = 0
        self._path: list[str] = []
        self._record: Record | None = None
        self._name = ""
        self._type: str | None = None
        self._attributes: dict[str, str] = {}
        self._text: list[str] = []
        self._length = 0
        self._line = 0
        self._parser = expat.ParserCreate()
        self._parser.buffer_text = True
        self._parser.StartDoctypeDeclHandler = self._refuse_doctype
        self._parser.StartElementHandler = self._start
        self._parser.EndElementHandler = self._end
        self._parser.CharacterDataHandler = self._characters

    def feed(self, chunk: bytes) -> None:
        """Parse one more piece; an empty one ends the document."""
        try:
            self._parser.Parse(chunk, not chunk)
        except expat.ExpatError as error:
            self._break_off(f"the XML is broken: {expat.ErrorString(error.code)}")
        except _RefusedError as refused:
            self._break_off(str(refused))
        except (ValueError, LookupError) as error:  # an encoding that the parser cannot use
            self._break_off(f"the XML cannot be decoded: {error}")

    def take(self) -> list[Record]:
        """The records finished since the last call."""
        done, self._finished = self._finished, []
        return done

    def _break_off(self, why: str) -> None:
        record = self._record
        if record is None:
            self._number += 1
            record = Record(number=self._number, line=self._parser.CurrentLineNumber)
        record.notes.complete = False
        record.problems.append(Problem(record.number, self._parser.CurrentLineNumber, None, "error", why))
        self.broken = record

    def _refuse_doctype(self, *_: object) -> None:
        raise _RefusedError("a document type declaration is refused: ADX has none")

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        name = name.upper()
        self._path.append(name)
        depth = len(self._path)
        if depth == 1 and name != "ADX":
            raise _RefusedError(f"the outermost element is {name[:40]!r}, not ADX")
        if self._path == ["ADX", "RECORDS", "RECORD"]:
            self._number += 1
            self._record = Record(number=self._number, line=self._parser.CurrentLineNumber)
        elif depth == (3 if self._path[1:2] == ["HEADER"] else 4):
            self._name, self._attributes = name, {key.upper(): value for key, value in attributes.items()}
            self._text, self._length, self._line = [], 0, self._parser.CurrentLineNumber
        elif depth > 8:
            raise _RefusedError("elements are nested too deeply for ADX")

    def _characters(self, text: str) -> None:
        self._length += len(text)
        if self._length <= _TEXT_LIMIT:
            self._text.append(text)

    def _end(self, _: str) -> None:
        depth = len(self._path)
        if self._record is not None and depth == 3:
            self._finished.append(self._record)
            self._record = None
        elif self._record is not None and depth == 4:
            self._keep(self._record)
        elif depth == 3 and self._path[1] == "HEADER":
            self._keep_in_header()
        self._path.pop()

    def _keep(self, record: Record) -> None:
        name, indicator = self._field_name()
        if name is None:
            self._report(record, self._name, "error", f"<{self._name}> lacks its FIELDNAME or PROGRAMID")
            return
        spelled = _UNSPELLABLE.sub("_", name).strip()
        if spelled != name:
            self._report(record, spelled, "warning", "its name has characters that no ADIF field name may have")
            name = spelled
        if self._length > _TEXT_LIMIT:
            self._report(record, name, "error", f"more than {_TEXT_LIMIT} characters: the rest is cut off")
        value = "".join(self._text)
        if name in record:
            same = record[name] == value
            self._report(record, name, "warning" if same else "error", "stands twice in the record: the first is kept")
            return
        if len(record) == _FIELDS_LIMIT:
            raise _RefusedError(f"more than {_FIELDS_LIMIT} fields in one record")
        record[name] = value
        record.notes.places[name] = self._line
        if indicator:
            record.types[name] = indicator.upper()

    def _field_name(self) -> tuple[str | None, str | None]:
        """The field's name as ADI spells it, and its type indicator; None for an APP or USERDEF without a name."""
        if self._name not in {"APP", "USERDEF"}:
            return self._name, None
        field = self._attributes.get("FIELDNAME", "").upper()
        if self._name == "USERDEF":
            defined = self._header.user_fields.get(field)
            return field or None, defined.type if defined else None
        program = self._attributes.get("PROGRAMID", "").upper()
        return (f"APP_{program}_{field}" if field and program else None), self._attributes.get("TYPE")

    def _keep_in_header(self) -> None:
        header, name, text = self._header, self._name, "".join(self._text)
        if len(header.fields) + len(header.user_fields) >= _FIELDS_LIMIT:
            raise _RefusedError(f"more than {_FIELDS_LIMIT} fields in the header")
        if name == "USERDEF":
            limits = self._attributes.get("ENUM") or self._attributes.get("RANGE")
            given = self._attributes.get("FIELDID", "")
            number = int(given) if given.isascii() and given.isdecimal() and len(given) < 10 else 0
            name, text = f"USERDEF{number}", f"{text},{limits}" if limits else text
            header.define(number, text, self._attributes.get("TYPE"))
        header.fields[name] = text
        header.places[name] = self._line

    def _report(self, record: Record, field: str, severity: Severity, why: str) -> None:
        record.problems.append(Problem(record.number, self._line, field, severity, why))
