"""Does a log keep to the standard? Driven by the standard's own field, type and enumeration tables.

An error breaks the standard. A warning is lawful but will be regretted: values for import only, deleted entities,
fields that every log needs. Each problem names its record, line and field, and how to mend it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from decimal import Decimal
from functools import lru_cache
from typing import BinaryIO, NamedTuple

from watchkeeper.adif import tables, types
from watchkeeper.adif.modes import normalise
from watchkeeper.adif.reader import Reader
from watchkeeper.adif.record import Header, Problem, Record, Severity, UserField
from watchkeeper.adif.text import quoted
from watchkeeper.adif.values import AdifValueError, parse_when

#: what every log needs to tell one contact from another (common practice, no source)
_NEEDED = ("CALL", "QSO_DATE", "TIME_ON", "MODE")
#: enumerations that only advise: the field's type is String (ADX schema, "checks not required")
_ADVISORY = {"Submode", "Contest_ID", "Country"}
_TOLD_IN_FULL = 12
#: longer values are not kept for their faults: they would fill the memory and hardly come again
_KEPT_LENGTH = 80
_BAND_FIELDS = (("BAND", "FREQ"), ("BAND_RX", "FREQ_RX"))
_ENTITY = re.compile(r"[0-9]{1,6}")
_STATE_FIELDS = (("STATE", "DXCC"), ("MY_STATE", "MY_DXCC"))


class Fault(NamedTuple):
    """A problem that has no place yet."""

    field: str | None
    severity: Severity
    why: str


class Check(Iterator[Problem]):
    """The problems of one stream in order; ``records`` counts the records passed so far."""

    def __init__(self, stream: BinaryIO) -> None:
        self._reader = Reader(stream, places=True)
        self._problems = self._run()
        self.records = 0

    def __next__(self) -> Problem:
        return next(self._problems)

    def _run(self) -> Iterator[Problem]:
        header = self._reader.header
        told = len(header.problems)
        yield from header.problems
        for fault in header_faults(header):
            yield Problem(0, header.places.get(fault.field or "", 1), *fault)
        for record in self._reader:
            yield from header.problems[told:]  # of a header in the middle
            told = len(header.problems)
            self.records = record.number
            yield from record.problems
            for fault in record_faults(record, header.user_fields, xml=self._reader.is_adx):
                line = record.line_of(fault.field) if fault.field else record.line
                yield Problem(record.number, line, *fault)


def check(stream: BinaryIO) -> Check:
    """All problems of an open ADI or ADX stream, one after the other, in constant memory."""
    return Check(stream)


def header_faults(header: Header) -> Iterator[Fault]:
    """What breaks the standard in a header."""
    yield from _release_faults(header.version)
    created = header.fields.get("CREATED_TIMESTAMP")
    if created is not None and not _is_timestamp(created):
        yield Fault("CREATED_TIMESTAMP", "error", f"{quoted(created)} is not a UTC time as 20260713 201509")
    for user_field in header.user_fields.values():
        place = f"USERDEF{user_field.number}"
        if user_field.name in tables.fields():
            yield Fault(place, "error", f"{user_field.name} is a field of the standard: choose another name")
        if user_field.type is not None and user_field.type.upper() not in tables.type_indicators():
            yield Fault(place, "error", f"{quoted(user_field.type)} is not a data type indicator")
    for name, value in header.fields.items():
        if name in tables.fields() and tables.fields()[name].header:
            if why := types.fault("String", value):
                yield Fault(name, "error", f"{quoted(value)} {why}")
        elif not name.startswith("USERDEF"):
            yield Fault(name, "warning", "not a header field of the standard")


def _release_faults(version: str | None) -> Iterator[Fault]:
    if version is None:
        return
    release = _release(version)
    if release is None:
        yield Fault("ADIF_VER", "error", f"{quoted(version)} is not a release as {tables.RELEASE}")
    elif release > (_release(tables.RELEASE) or ()):
        yield Fault("ADIF_VER", "warning", f"{version} is newer than {tables.RELEASE}, by which this check goes")


def _is_timestamp(text: str) -> bool:
    date, _, time = text.partition(" ")
    return types.fault("Date", date) is None and types.fault("Time", time) is None and len(time) == 6


def record_faults(record: Record, user_fields: Mapping[str, UserField], *, xml: bool = False) -> Iterator[Fault]:
    """What breaks the standard, or good practice, in one record."""
    for name, value in record.items():
        if not value:
            continue
        if name in tables.fields():
            judge = _field_faults if len(value) <= _KEPT_LENGTH else _field_faults.__wrapped__
            for severity, why in judge(name, value, xml):
                yield Fault(name, severity, why)
        else:
            yield from _own_field_faults(name, value, record.types.get(name), user_fields.get(name))
    yield from _missing_faults(record)
    yield from _band_faults(record)
    yield from _mode_faults(record)
    yield from _state_faults(record)
    yield from _time_faults(record)


def _release(version: str) -> tuple[int, ...] | None:
    parts = version.split(".")
    if len(parts) != 3 or not all(part.isascii() and part.isdecimal() and len(part) < 4 for part in parts):
        return None
    return tuple(map(int, parts))


@lru_cache(maxsize=32_768)
def _field_faults(name: str, value: str, xml: bool) -> tuple[tuple[Severity, str], ...]:
    """Faults that a value of a standard field has by itself; most values of a log come again and again."""
    field = tables.fields()[name]
    found: list[tuple[Severity, str]] = []
    if field.header:
        found.append(("warning", "a header field: it means nothing in a record"))
    if field.import_only:
        found.append(("warning", f"for import only: write {tables.REPLACED_FIELDS[name]}"))
    if name.endswith("_INTL") and not xml:
        found.append(("error", f"for ADX only: write {name.removesuffix('_INTL')} in ASCII"))
    faults = {type_name: types.fault(type_name, value) for type_name in field.types}
    fitting = {type_name for type_name, why in faults.items() if why is None}
    if not fitting:
        found.append(("error", f"{quoted(value)} {faults[field.types[0]]}"))
        return tuple(found)
    if fitting <= tables.import_only_types():
        found.append(("warning", f"{quoted(value)} is a list for import only, as it {faults[field.types[0]]}"))
    limits = _limit_fault(value, field.minimum, field.maximum)
    if limits:
        found.append(("error", f"{quoted(value)} {limits}"))
    if field.depends_on is None and name != "MODE":  # MODE and what hangs on other fields is judged with them
        found.extend(_value_faults(field, value))
    return tuple(found)


def _limit_fault(value: str, low: Decimal | None, high: Decimal | None) -> str | None:
    amount = types.number(value)
    if amount is None or ((low is None or amount >= low) and (high is None or amount <= high)):
        return None
    return f"is not between {low} and {high}" if high is not None and low is not None else f"is not from {low} up"


def _value_faults(field: tables.Field, value: str) -> Iterator[tuple[Severity, str]]:
    """A value against the enumerations of its field, where the standard's table of them is kept."""
    for name in field.enumerations:
        listed = tables.enumeration(name)
        if listed is None:
            continue
        code = value.upper()
        if name == "DXCC_Entity_Code" and code.isdecimal():
            code = code.lstrip("0") or "0"
        known = listed.get(code)
        if known is None:
            severity: Severity = "warning" if name in _ADVISORY else "error"
            yield severity, f"{quoted(value)} is not in the standard's {name} table{_choices(listed)}"
        elif known.import_only:
            yield "warning", f"{quoted(value)} is for import only: newer files use another value"
        elif known.deleted:
            yield "warning", f"{quoted(value)} is deleted from the standard's {name} table: right for old contacts only"


def _choices(listed: Mapping[str, tables.Value]) -> str:
    """A short table told in full."""
    if len(listed) > _TOLD_IN_FULL:
        return ""
    return ": one of " + ", ".join(value.code for value in listed.values() if not value.import_only)


def _own_field_faults(name: str, value: str, indicator: str | None, user_field: UserField | None) -> Iterator[Fault]:
    """Application-defined and user-defined fields: the name's form, the type, the limits of the definition."""
    if user_field is None and not name.startswith("APP_"):
        yield Fault(name, "error", "neither a field of the standard nor defined in the header: define it there")
        return
    if user_field is None and (name.count("_") < 2 or name.endswith("_")):
        yield Fault(name, "error", "not of the form APP_PROGRAMID_FIELDNAME")
    indicator = (indicator or (user_field.type if user_field else None) or "M").upper()
    type_name = tables.type_indicators().get(indicator)
    if type_name is None:
        yield Fault(name, "error", f"{quoted(indicator)} is not a data type indicator")
        return
    why = types.fault(type_name, value)
    if why:
        yield Fault(name, "error", f"{quoted(value)} {why}")
    elif user_field is not None and user_field.limits is not None:
        yield from _defined_limit_faults(name, value, user_field.limits)


def _defined_limit_faults(name: str, value: str, limits: str) -> Iterator[Fault]:
    low, colon, high = limits.partition(":")
    if colon and types.number(low) is not None and types.number(high) is not None:
        why = _limit_fault(value, types.number(low), types.number(high))
        if why:
            yield Fault(name, "error", f"{quoted(value)} {why}")
    elif value.upper() not in (part.strip().upper() for part in limits.split(",")):
        yield Fault(name, "error", f"{quoted(value)} is none of {quoted(limits)}, as the header defines")


def _missing_faults(record: Record) -> Iterator[Fault]:
    if not record:  # that there is nothing at all has been said
        return
    for name in _NEEDED:
        if not record.get(name):
            yield Fault(name, "warning", "missing: no log can place this contact without it")
    if not record.get("BAND") and not record.get("FREQ"):
        yield Fault("BAND", "warning", "missing, and so is FREQ: give one of them")


def _band_faults(record: Record) -> Iterator[Fault]:
    for band_field, frequency_field in _BAND_FIELDS:
        mhz = types.number(record.get(frequency_field, ""))
        if mhz is None:
            continue
        stated, true = record.get(band_field, ""), tables.band_of(mhz)
        if stated and stated.upper() in tables.bands() and (true or "").upper() != stated.upper():
            place = f"on {true}" if true else "outside all bands"
            yield Fault(
                frequency_field,
                "error",
                f"{quoted(record[frequency_field])} MHz is {place}, but {band_field} says {quoted(stated)}",
            )
        elif true is None:
            yield Fault(
                frequency_field,
                "warning",
                f"{quoted(record[frequency_field])} is outside all bands of the standard: is it in MHz?",
            )


def _mode_faults(record: Record) -> Iterator[Fault]:
    mode, submode = record.get("MODE", "").upper(), record.get("SUBMODE")
    if not mode and not submode:
        return
    found = normalise(mode, submode)
    known = (tables.enumeration("Mode") or {}).get(mode)
    mend = f"write MODE {found.mode}" + (f" and SUBMODE {found.submode}" if found.submode else "")
    if known is None and mode:
        yield Fault(
            "MODE",
            "error",
            f"{quoted(mode)} is not in the standard's Mode table" + (f": {mend}" if found.mended else ""),
        )
    elif known is not None and known.import_only:
        yield Fault("MODE", "warning", f"{mode} is for import only: {mend}")
    elif found.why:
        yield Fault("SUBMODE", "warning", f"{found.why}: {mend}" if found.mended else found.why)


def _state_faults(record: Record) -> Iterator[Fault]:
    for state_field, entity_field in _STATE_FIELDS:
        state, entity = record.get(state_field, "").upper(), record.get(entity_field, "")
        if not state:
            continue
        listed = tables.subdivisions().get(int(entity)) if _ENTITY.fullmatch(entity) else None
        if listed is not None:
            value = listed.get(state)
            if value is None:
                yield Fault(state_field, "error", f"{quoted(state)} is no subdivision of entity {entity}")
            elif value.deleted or value.import_only:
                yield Fault(state_field, "warning", f"{state} is no longer a subdivision of entity {entity}")
        elif not entity and not any(state in codes for codes in tables.subdivisions().values()):
            yield Fault(
                state_field,
                "warning",
                f"{quoted(state)} is no subdivision of any entity, and {entity_field} is missing",
            )


def _time_faults(record: Record) -> Iterator[Fault]:
    """An end before the start; what is missing or malformed is told by the fields themselves."""
    given = ("QSO_DATE", "TIME_ON", "QSO_DATE_OFF", "TIME_OFF")
    if all(record.get(name) and not _field_faults(name, record[name], xml=False) for name in given):
        try:
            parse_when(record)
        except AdifValueError as error:
            yield Fault(error.field, "error", error.why)
