"""The few values that the log keeps beside a record's own text, from the record's fields.

A field is the text behind its name and colon, ``8>20260501``, as an outline gives it; what stands before the ``>``
says nothing here. The same fields come again and again, so each is understood once in a process.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from typing import TypeVar

from ..adif import normalise, parse_when
from ..adif.contact import OWN_REFERENCE_FIELDS, own_references
from ..adif.outline import Picked
from ..radio.band import BANDS
from ..schema.events import to_ms
from .activated import activated_by
from .told import CONFIRMED, told

K = TypeVar("K", bound=Hashable)
V = TypeVar("V")
#: what is remembered of one kind
_CACHED = 100_000
_BANDS = frozenset(band.name for band in BANDS)
_TEXT = "[ -;=-~]"
#: the fields in the order in which they are given here
FIELDS = (
    Picked("CALL", "[A-Za-z0-9/]", needed=True),
    Picked("QSO_DATE", "[0-9]", needed=True),
    Picked("TIME_ON", "[0-9]", needed=True),
    Picked("BAND", "[0-9A-Za-z.]", needed=True),
    Picked("MODE", "[!-;=-~]", needed=True),
    *(Picked(name, _TEXT, needed=False) for name in ("SUBMODE", "GRIDSQUARE", "STATE", "DXCC", "CQZ", "ITUZ", "CONT")),
    *(Picked(f"{way}QSL_RCVD", _TEXT, needed=False) for way in ("", "LOTW_", "EQSL_", "DCL_")),
    *(Picked(name, _TEXT, needed=False) for name in OWN_REFERENCE_FIELDS),
)
#: which of them say what the record counts for, beside its locator, and what it was made from
_TOLD, MADE_FROM = slice(7, 16), slice(16, None)


class _Known(dict[K, V]):
    """Understands a key when it is first asked for. What ``understand`` raises is not remembered."""

    def __init__(self, understand: Callable[[K], V]) -> None:
        super().__init__()
        self._understand = understand

    def __missing__(self, key: K) -> V:
        value = self._understand(key)
        if len(self) >= _CACHED:
            self.clear()
        self[key] = value
        return value


def fields_of(record: Mapping[str, str]) -> tuple[str | None, ...]:
    """The fields of a record that was read in full."""
    return tuple(None if (text := record.get(field.name)) is None else f">{text}" for field in FIELDS)


def data_of(field: str | None) -> str:
    """The data of a field."""
    return "" if field is None else field.partition(">")[2]


def told_of(fields: tuple[str | None, ...]) -> str:
    """See :mod:`watchkeeper.store.told`: the locator differs from record to record, the rest comes again."""
    return _squares[fields[6]] + _rests[fields[_TOLD]]


def _day_ms(field: str | None) -> int:
    """The start of a day."""
    day, _ = parse_when({"QSO_DATE": data_of(field), "TIME_ON": "0000"})
    return to_ms(day)


def _time_ms(field: str | None) -> int:
    """HHMM or HHMMSS as ms of the day."""
    text = data_of(field)
    if len(text) not in (4, 6) or not (text.isascii() and text.isdecimal()):
        raise ValueError(text)
    hour, minute, second = int(text[:2]), int(text[2:4]), int(text[4:] or 0)
    if hour > 23 or minute > 59 or second > 59:
        raise ValueError(text)
    return (hour * 3600 + minute * 60 + second) * 1000


def _band(field: str | None) -> str:
    name = data_of(field).lower()
    if name not in _BANDS:
        raise ValueError(name)
    return name


def _mode(fields: tuple[str | None, ...]) -> tuple[str, bool]:
    """The mode as on the air, and whether it had to be mended; what is odd is left to the careful way."""
    mode, submode = map(data_of, fields)
    taken = normalise(mode, submode)
    if not taken.mode or not taken.mode.isprintable() or not submode.strip().isprintable():
        raise ValueError(mode)
    return taken.submode or taken.mode, taken.mended


def _square(field: str | None) -> str:
    square = data_of(field)[:4].upper()
    return square if square.isalnum() else ""


def _rest(fields: tuple[str | None, ...]) -> str:
    state, entity, cq_zone, itu_zone, continent, *received = map(data_of, fields)
    confirmed = CONFIRMED if any(text.upper() in ("Y", "V") for text in received) else ""
    return told("", state, _digits(entity), _digits(cq_zone), _digits(itu_zone), continent.upper(), confirmed)


def _activated(fields: tuple[str | None, ...]) -> str | None:
    given = zip(OWN_REFERENCE_FIELDS, map(data_of, fields), strict=True)
    return activated_by(own_references({name: text for name, text in given if text}))


def _digits(text: str) -> str:
    """A number without the zeros before it; nothing for what is no number."""
    return str(int(text)) if text.isascii() and text.isdigit() else ""


#: the start of a day in ms, and HHMM or HHMMSS as ms of it; they raise ValueError for anything else
days, times = _Known(_day_ms), _Known(_time_ms)
#: a band of the standard; ValueError for what is none
bands = _Known(_band)
#: MODE and SUBMODE → the mode as on the air, and whether it had to be mended; ValueError where there is none
modes = _Known(_mode)
#: the parts of what :func:`told_of` gives: of the locator, and of what stands behind it
_squares, _rests = _Known(_square), _Known(_rest)
#: see :mod:`watchkeeper.store.activated`
activated = _Known(_activated)
