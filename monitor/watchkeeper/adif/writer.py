"""Writing ADI: ASCII only, lengths in bytes, CR LF in multi-line text, one record a line, so that any reader takes it.

ADI has no place for anything but ASCII: accented and foreign letters are transliterated, and the fields whose names end
in ``_INTL``, which belong to ADX alone, give their text to the plain field of the same name. Nothing of that happens
silently: :func:`encode_record` and :func:`write_file` hand back every :class:`Change`.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Mapping
from datetime import datetime
from pathlib import Path
from typing import BinaryIO, NamedTuple

from watchkeeper.adif import tables
from watchkeeper.adif.record import Record, UserField
from watchkeeper.adif.text import to_ascii
from watchkeeper.adif.values import adif_date, adif_time

PROGRAM_ID = "Watchkeeper"
_INTL = "_INTL"
_MULTILINE = {"MultilineString", "IntlMultilineString"}
_FIELD_NAME = re.compile(r"[!-+\--9;=?-z|~](?:[ -+\--9;=?-z|~]*[!-+\--9;=?-z|~])?")
_LINE_BREAK = re.compile(r"\r\n|\r|\n")
_CONTROL = re.compile(r"[\x00-\x1f\x7f]")
_CONTROL_IN_LINES = re.compile(r"[\x00-\x09\x0b\x0c\x0e-\x1f\x7f]")


class Change(NamedTuple):
    """A value that ADI could not take as it was; ``after`` is None when the value was left out."""

    #: record index from 1 in a file, 1 for a single record
    record: int
    field: str
    before: str
    after: str | None
    why: str


class Encoded(NamedTuple):
    """One record as bytes, with all that had to be changed for it."""

    data: bytes
    changes: tuple[Change, ...]


def write_record(fields: Mapping[str, str], types: Mapping[str, str] | None = None) -> bytes:
    """One ADI record ending ``<EOR>`` and a line feed; :func:`encode_record` tells what had to be changed as well."""
    return encode_record(fields, types).data


def encode_record(fields: Mapping[str, str], types: Mapping[str, str] | None = None, *, number: int = 1) -> Encoded:
    """One ADI record ending ``<EOR>`` and a line feed, in the order of ``fields``, without the empty ones.

    ``types`` gives type indicators (field → letter); a :class:`Record` brings its own. Raises ``ValueError`` on a field
    name that ADIF cannot spell.
    """
    if types is None:
        types = fields.types if isinstance(fields, Record) else {}
    changes: list[Change] = []
    parts = []
    for name, value in _plain_fields(fields, number, changes):
        if (text := _line_safe(name, value, number, changes)) != "":
            parts.append(_field(name, text, types.get(name)))
    return Encoded(f"{' '.join([*parts, '<EOR>'])}\n".encode("ascii"), tuple(changes))


def header(program_version: str, created: datetime, user_fields: Iterable[UserField] = ()) -> bytes:
    """The header of an ADI file: release of the standard, program, time of creation in UTC, user-defined fields."""
    parts = [
        _field("ADIF_VER", tables.RELEASE),
        _field("CREATED_TIMESTAMP", f"{adif_date(created)} {adif_time(created)}"),
        _field("PROGRAMID", PROGRAM_ID),
        _field("PROGRAMVERSION", to_ascii(program_version)),
    ]
    for number, user_field in enumerate(user_fields, 1):
        limits = f",{{{user_field.limits}}}" if user_field.limits else ""
        parts.append(_field(f"USERDEF{number}", to_ascii(user_field.name + limits), user_field.type))
    # the first character of a file with a header is anything but "<"
    return "\n".join([f"ADIF log written by {PROGRAM_ID}", *parts, "<EOH>", ""]).encode("ascii")


def write_file(
    path: Path | str,
    records: Iterable[Mapping[str, str]],
    *,
    program_version: str,
    created: datetime,
    user_fields: Iterable[UserField] = (),
) -> list[Change]:
    """Write a whole ADI file and return what had to be changed. Raises ``OSError`` and then leaves no half file:
    the new one is written and synced beside ``path`` and takes its place at the end. A link stays, and its target is
    written; what is no file (a device, a pipe) is written to as it is."""
    given = Path(path)
    head = header(program_version, created, user_fields)
    if given.exists() and not given.is_file():  # as given: the name that a pipe resolves to leads nowhere
        with given.open("wb") as stream:
            return _write_records(stream, head, records)
    target = given.resolve()
    fresh = target.with_name(f".{target.name}.{os.getpid()}")
    try:
        with fresh.open("wb") as file:
            changes = _write_records(file, head, records)
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(target)
    except BaseException:
        fresh.unlink(missing_ok=True)
        raise
    return changes


def _write_records(stream: BinaryIO, head: bytes, records: Iterable[Mapping[str, str]]) -> list[Change]:
    changes: list[Change] = []
    stream.write(head)
    for number, fields in enumerate(records, 1):
        encoded = encode_record(fields, number=number)
        changes.extend(encoded.changes)
        stream.write(encoded.data)
    return changes


def _plain_fields(fields: Mapping[str, str], number: int, changes: list[Change]) -> Iterable[tuple[str, str]]:
    """Names in capitals and values in ASCII; international fields give way to the plain ones."""
    upper = {name.upper(): value for name, value in fields.items() if value}
    for name, value in upper.items():
        if not _FIELD_NAME.fullmatch(name):
            raise ValueError(f"{name!r} cannot be the name of an ADIF field")
        plain = name.removesuffix(_INTL)
        if plain == name or name not in tables.fields():
            yield name, _ascii(name, value, number, changes)
        elif plain not in upper:
            spelled = to_ascii(value)
            changes.append(Change(number, name, value, spelled, f"{name} is for ADX only: written as {plain}"))
            yield plain, spelled
        else:
            changes.append(Change(number, name, value, None, f"{name} is for ADX only, and {plain} is there already"))


def _ascii(name: str, value: str, number: int, changes: list[Change]) -> str:
    spelled = to_ascii(value)
    if spelled != value:
        changes.append(Change(number, name, value, spelled, "ADI is ASCII: spelled without the other characters"))
    return spelled


def _line_safe(name: str, value: str, number: int, changes: list[Change]) -> str:
    """Line breaks as CR LF where the standard allows them, as blanks elsewhere; other control characters as blanks.

    Fields outside the standard may hold anything, so their line breaks stay.
    """
    if value.isprintable():  # nearly all are
        return value
    field = tables.fields().get(name)
    if field is None or _MULTILINE.intersection(field.types):
        lines = _LINE_BREAK.sub("\r\n", value)
        safe = _CONTROL_IN_LINES.sub(" ", lines)
        changed = safe != lines
    else:
        safe = _CONTROL.sub(" ", _LINE_BREAK.sub(" ", value))
        changed = safe != value
    if changed:
        changes.append(Change(number, name, value, safe, "line breaks and control characters are written as blanks"))
    return safe


def _field(name: str, text: str, type_indicator: str | None = None) -> str:
    """One field. A reader that folds CR LF to one character reads on by one for each: blanks behind are its margin."""
    kind = f":{type_indicator}" if type_indicator else ""
    return f"<{name}:{len(text)}{kind}>{text}{' ' * text.count(chr(10))}"
