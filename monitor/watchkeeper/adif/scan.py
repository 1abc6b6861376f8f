"""The careful scanner: one ADI record (or header) from a text, whatever state it is in.

The text is the file's bytes, one character a byte (decoded as Latin-1), so that offsets are byte offsets. Lengths in
real files are wrong in a few well-known ways: they count characters of a UTF-8 text, or one for a CR LF, or two for a
lone LF, or they are simply off. The scanner takes a length as right when a field or an end mark follows the data, tries
the known miscounts next, and at last cuts the data at the next field. Each mend is reported; nothing raises.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import NamedTuple

from watchkeeper.adif import tables
from watchkeeper.adif.record import Severity
from watchkeeper.adif.text import quoted

# A field name is printable ASCII without , : < > { } (ADIF 3.1.7, USERDEFn). Bounded parts keep the search linear.
_NAME = r"[!-+\--9;=?-z|~][ -+\--9;=?-z|~]{0,63}?"
_GAP = r"[ \t]{0,8}"
_TAG = rf"<{_GAP}(?:(eo[rh])|({_NAME}){_GAP}:{_GAP}([0-9]{{1,12}}){_GAP}(?::([^<>:]{{0,8}}))?){_GAP}>"
TAG = re.compile(_TAG, re.IGNORECASE)
_TAG_FOLLOWS = re.compile(rf"\s*{_TAG}", re.IGNORECASE)
_BROKEN_TAG = re.compile(rf"<{_GAP}({_NAME}){_GAP}(?::[^<>]{{0,40}})?>", re.IGNORECASE)

#: how many following tags the data may hold before a miscounted length is given up
_TAGS_INSIDE = 4


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
        """Note one problem."""
        self.findings.append(Finding(offset, field, severity, why))


def scan(text: str, position: int, *, final: bool) -> Unit:
    """The unit that begins at ``position``, up to and with its end mark, or to the end of the text.

    ``final`` says that the text ends where the file ends. Without an end mark the unit's ``mark`` is empty.
    """
    unit = Unit(position)
    cursor = position
    previous: str | None = None  # the field whose data ends at the cursor
    while (tag := TAG.search(text, cursor)) is not None:
        _look_between(unit, text, cursor, tag.start(), previous)
        if previous is None:
            unit.first = tag.start()
        mark, name, length, indicator = tag.groups()
        if mark:
            unit.mark, unit.end = tag.group(), tag.end()
            return unit
        previous = name.upper()
        end = _data_end(unit, text, tag, previous, int(length), final=final)
        _keep(unit, tag.start(), previous, _decoded(text[tag.end() : end]), indicator)
        cursor = end
    _look_between(unit, text, cursor, len(text), previous)
    unit.end = len(text)
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
    if indicator and indicator.strip():
        unit.types[name] = indicator.strip().upper()


def _data_end(unit: Unit, text: str, tag: re.Match[str], name: str, length: int, *, final: bool) -> int:
    """Where the data of a field ends, by its length if that can be right, else by what follows."""
    start = tag.end()
    end = start + length
    if end <= len(text) and _TAG_FOLLOWS.match(text, end):
        return end
    counted = _counted_otherwise(text, start, length)
    if counted is not None:
        true_end, how = counted
        unit.report(tag.start(), name, "warning", f"length {length} {how}: write {true_end - start}")
        return true_end
    following = TAG.search(text, start)
    if following is not None and following.start() < end:
        true_end = start + len(text[start : following.start()].rstrip())
        unit.report(
            tag.start(),
            name,
            "error",
            f"length {length} runs over the next field: the data is taken as the {true_end - start} bytes before it; "
            "mend the length",
        )
        return true_end
    if end > len(text):
        why = "the file ends inside its data" if final else f"length {length} is beyond what a record may hold"
        unit.report(tag.start(), name, "error", why)
        return len(text)
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


def _counted_otherwise(text: str, start: int, length: int) -> tuple[int, str] | None:
    """The end of the data if its length follows one of the known miscounts, and words for it."""
    cursor = start
    for _ in range(_TAGS_INSIDE):
        tag = TAG.search(text, cursor)
        if tag is None:
            return None
        between = text[start : tag.start()]
        data = between.rstrip()
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
    if not between or between.isspace():
        return
    if _report_broken_tags(unit, between, start) or previous is None:
        return
    remark = quoted(_decoded(between.strip()))
    if between[0].isspace():
        unit.report(start, previous, "warning", f"{remark} stands between the fields: a comment, or a length too short")
    else:
        unit.report(start, previous, "error", f"{remark} follows the data: the length is too short; mend it")


def _report_broken_tags(unit: Unit, between: str, start: int) -> bool:
    """Report fields of the standard whose length cannot be read; other text in angle brackets is prose."""
    before = len(unit.findings)
    for broken in _BROKEN_TAG.finditer(between):
        name = broken.group(1).upper()
        if name in tables.fields() or name.startswith("APP_"):
            why = f"{quoted(broken.group())} has no length that can be read, so its data is not taken: give the length"
            unit.report(start + broken.start(), name, "error", why)
    return len(unit.findings) > before


def _decoded(data: str) -> str:
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
