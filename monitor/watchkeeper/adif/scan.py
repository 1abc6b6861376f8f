"""The careful scanner: one ADI record (or header) from a text, whatever state it is in.

The text is the file's bytes, one character a byte (decoded as Latin-1), so that offsets are byte offsets. Lengths in
real files are wrong in a few well-known ways: they count characters of a UTF-8 text, or one for a CR LF, or two for a
lone LF, or they are simply off. The scanner takes a length as right when a field or an end mark follows the data, tries
the known miscounts next, and at last cuts the data at the next field. Each mend is reported; nothing raises.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import NamedTuple

from watchkeeper.adif import tables
from watchkeeper.adif.record import Severity
from watchkeeper.adif.text import quoted

# A field name is printable ASCII without , : < > { } (ADIF 3.1.7, USERDEFn). Bounded parts keep the search linear.
_NAME = r"[!-+\--9;=?-z|~][ -+\--9;=?-z|~]{0,63}?"
_GAP = r"[ \t]{0,8}"
_TAG = rf"<{_GAP}(?:(eo[rh])|({_NAME}){_GAP}:{_GAP}([0-9]{{1,12}}){_GAP}(?::([^<>:]{{0,8}}))?){_GAP}>"
TAG = re.compile(_TAG, re.IGNORECASE)
#: no tag is longer
TAG_LIMIT = 160
_TAG_FOLLOWS = re.compile(rf"[ \t\r\n]*{_TAG}", re.IGNORECASE)
_BROKEN_TAG = re.compile(rf"<{_GAP}({_NAME}){_GAP}(?::[^<>]{{0,40}})?>", re.IGNORECASE)

#: how many following tags the data may hold before a miscounted length is given up
_TAGS_INSIDE = 4
_FINDINGS_LIMIT = 100
#: blanks in bytes: Python's own notion holds more, among them bytes that are parts of UTF-8 letters
_BLANKS = " \t\r\n"


class Finding(NamedTuple):
    """A problem at an offset of the scanned text."""

    offset: int
    field: str | None
    severity: Severity
    why: str


class Unit:
    """What stood between two end marks: the fields, where they stand, and how it ended."""

    __slots__ = ("end", "fields", "findings", "first", "mark", "offsets", "types")

    def __init__(self, start: int) -> None:
        self.fields: dict[str, str] = {}
        self.types: dict[str, str] = {}
        self.offsets: dict[str, int] = {}
        self.findings: list[Finding] = []
        #: offset of the first field, or of the end mark
        self.first = start
        #: offset just behind the end mark
        self.end = start
        #: the end mark as it is spelled, ``<EOR>`` or ``<EOH>``; empty when the text ended first
        self.mark = ""

    @property
    def is_header(self) -> bool:
        """True when the unit ended with ``<EOH>``."""
        return self.mark.upper().endswith("H>")

    def report(self, offset: int, field: str | None, severity: Severity, why: str) -> None:
        """Note one problem; a record that is nothing but problems is told by the first of them."""
        if len(self.findings) < _FINDINGS_LIMIT:
            self.findings.append(Finding(offset, field, severity, why))


def scan(text: str, position: int, stop: int, *, final: bool) -> Unit:
    """The unit that begins at ``position``, up to and with its end mark, or to ``stop``.

    ``final`` says that the file ends at ``stop``. Without an end mark the unit's ``mark`` is empty.
    """
    unit = Unit(position)
    cursor = position
    previous: str | None = None  # the field whose data ends at the cursor
    while (tag := TAG.search(text, cursor, stop)) is not None:
        _look_between(unit, text, cursor, tag.start(), previous)
        if previous is None:
            unit.first = tag.start()
        mark, name, length, indicator = tag.groups()
        if mark:
            unit.mark, unit.end = tag.group(), tag.end()
            return unit
        previous = name.upper()
        end = _data_end(unit, text, tag, int(length), stop, final=final)
        _keep(unit, tag.start(), previous, decoded(text[tag.end() : end]), indicator)
        cursor = end
    _look_between(unit, text, cursor, stop, previous)
    unit.end = stop
    return unit


def _keep(unit: Unit, offset: int, name: str, value: str, indicator: str | None) -> None:
    if name in unit.fields:
        kept = unit.fields[name]
        unit.report(
            offset,
            name,
            "warning" if kept == value else "error",
            f"stands twice in the record: {quoted(kept)} is kept, {quoted(value)} is not; leave one",
        )
        return
    unit.fields[name] = value
    unit.offsets[name] = offset
    if kind := own_type(name, indicator):
        unit.types[name] = kind


def _data_end(unit: Unit, text: str, tag: re.Match[str], length: int, stop: int, *, final: bool) -> int:
    """Where the data of a field ends, by its length if that can be right, else by what follows."""
    name = tag.group(2).upper()
    start = tag.end()
    end = start + length
    if end <= stop and _TAG_FOLLOWS.match(text, end, stop):
        return end
    counted = _counted_otherwise(text, start, stop, length)
    if counted is not None:
        true_end, how = counted
        unit.report(tag.start(), name, "warning", f"length {length} {how}: write {true_end - start}")
        return true_end
    following = TAG.search(text, start, stop)
    if following is not None and following.start() < end:
        broken = next(_broken_tags(text, start, following.start()), following)
        true_end = start + len(text[start : broken.start()].rstrip(_BLANKS))
        why = f"length {length} runs over the next field: the data is taken as the {true_end - start} bytes before it"
        unit.report(tag.start(), name, "error", f"{why}; mend the length")
        return true_end
    if end > stop:
        why = "the file ends inside its data" if final else f"length {length} is beyond what a record may hold"
        unit.report(tag.start(), name, "error", why)
        return stop
    return end


def _utf8_characters(data: str) -> int:
    return sum(1 for character in data if not "\x80" <= character <= "\xbf")


#: ways in which files miscount: (how many are counted for a piece of data, words for it)
_MISCOUNTS: tuple[tuple[Callable[[str], int], str], ...] = (
    (_utf8_characters, "counts characters, not bytes"),
    (lambda data: len(data) - data.count("\r\n"), "counts one for a line break of two bytes"),
    (lambda data: _utf8_characters(data) - data.count("\r\n"), "counts characters and one for a line break"),
    (lambda data: len(data) + data.count("\n") - data.count("\r\n"), "counts two for a line break of one byte"),
)


def _counted_otherwise(text: str, start: int, stop: int, length: int) -> tuple[int, str] | None:
    """The end of the data if its length follows one of the known miscounts, and words for it."""
    cursor = start
    for _ in range(_TAGS_INSIDE):
        tag = TAG.search(text, cursor, stop)
        if tag is None:
            return None
        between = text[start : tag.start()]
        data = between.rstrip(_BLANKS)
        if len(data) > 4 * length:
            return None
        for count, how in _MISCOUNTS:
            shown = count(data)
            if shown != len(data) and shown <= length <= count(between):
                return start + len(data) + length - shown, how
        if tag.group(1):
            return None
        cursor = tag.end()
    return None


def _look_between(unit: Unit, text: str, start: int, stop: int, previous: str | None) -> None:
    """Report what stands between the end of one field's data and the next field."""
    between = text[start:stop]
    remark = between.strip(_BLANKS)
    if not remark:
        return
    if _report_broken_tags(unit, text, start, stop) or previous is None:
        return
    told = quoted(decoded(remark))
    if between[0] in _BLANKS:
        unit.report(start, previous, "warning", f"{told} stands between the fields: a comment, or a length too short")
    else:
        unit.report(start, previous, "error", f"{told} follows the data: the length is too short; mend it")


def _report_broken_tags(unit: Unit, text: str, start: int, stop: int) -> bool:
    """Report fields whose length cannot be read, each with its place; false if there is none."""
    found = False
    for broken in _broken_tags(text, start, stop):
        found = True
        why = f"{quoted(broken.group())} has no length that can be read, so its data is not taken: give the length"
        unit.report(broken.start(), broken.group(1).upper(), "error", why)
    return found


def _broken_tags(text: str, start: int, stop: int) -> Iterator[re.Match[str]]:
    """Fields of the standard, or of applications, without a usable length; other text in angle brackets is prose."""
    for broken in _BROKEN_TAG.finditer(text, start, stop):
        name = broken.group(1).upper()
        if name in tables.fields() or name.startswith("APP_"):
            yield broken


def decoded(data: str) -> str:
    """Bytes held as characters → text: UTF-8 if they are, else Windows-1252, else Latin-1 as they stand."""
    if data.isascii():
        return data
    raw = data.encode("latin-1")
    for encoding in ("utf-8", "cp1252"):
        try:
            return raw.decode(encoding)
        except UnicodeDecodeError:
            continue
    return data


def own_type(name: str, indicator: str | None) -> str:
    """The type indicator of a field outside the standard, which is needed to write it again; else empty."""
    return (indicator or "").strip().upper() if name not in tables.fields() else ""
