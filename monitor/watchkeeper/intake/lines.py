"""Lines of text to events, by a pattern. What cannot be read is told with its reason, never guessed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Any, NamedTuple

import msgspec

from ..schema.events import KINDS, stamp
from .moments import Moments
from .pattern import CARRIED, FieldType, Pattern, Reader, fields_of

#: no decoder writes longer ones, and a regular expression's time grows with them
MAX_LINE_BYTES = 4096


class LineEvent(NamedTuple):
    """One event as the sender takes it."""

    kind: str
    at_ms: int
    fields: dict[str, Any]


class Skipped(NamedTuple):
    """A line of a known form that says nothing."""


class Unread(NamedTuple):
    """A line that could not be read, and why."""

    why: str


class LineReader:
    """Reads line after line; a ``tuning`` line tells dial frequency and mode for those behind it."""

    def __init__(self, pattern: Pattern, clock_ms: Callable[[], int], day: date | None = None) -> None:
        self._pattern = pattern
        self._moments = Moments(pattern.time, clock_ms, day)
        self._carried: dict[str, Any] = {}

    def read(self, line: bytes) -> LineEvent | Skipped | Unread:
        """Read one line, with or without its line break."""
        if len(line) > MAX_LINE_BYTES:
            return Unread(f"longer than {MAX_LINE_BYTES} bytes")
        text = line.decode(self._pattern.encoding, errors="replace").strip("\r\n")
        if not text.strip():
            return Skipped()
        for reader in self._pattern.readers:
            match = reader.match.fullmatch(text)
            if match is None:
                continue
            if reader.kind == "skip":
                return Skipped()
            try:
                return self._event(reader, match.groupdict())
            except ValueError as error:
                return Unread(str(error))
        return Unread("no pattern fits")

    def _event(self, reader: Reader, groups: Mapping[str, str | None]) -> LineEvent | Skipped:
        """Raises ValueError in words for the one who writes the pattern."""
        known = fields_of(reader.kind)
        fields = {name: value for name, value in {**self._pattern.values, **self._carried}.items() if name in known}
        for name, text in groups.items():
            if name in known and text is not None:
                fields[name] = self._value(name, text, known[name], reader.factors.get(name, Decimal(1)))
        if reader.kind == "tuning":
            self._carried.update((name, fields[name]) for name in CARRIED)
        at_ms = self._at(reader.kind, groups, fields)
        if at_ms is None:
            return Skipped()
        _check(reader.kind, at_ms, fields)
        return LineEvent(reader.kind, at_ms, fields)

    def _at(self, kind: str, groups: Mapping[str, str | None], fields: Mapping[str, Any]) -> int | None:
        """None for a tuning line before the first time: those behind it carry what it says."""
        written = _written_time(groups)
        try:
            at_ms = self._moments.read(written)
        except (ValueError, OverflowError) as error:
            raise ValueError(f"time: {error}") from None
        if at_ms is None and kind != "tuning":
            raise ValueError("no time")
        if at_ms is None or kind != "heard" or not isinstance(fields.get("mode"), str):
            return at_ms
        return self._moments.period_start(at_ms, fields["mode"], printed=self._pattern.time.format is None)

    def _value(self, name: str, text: str, field: FieldType, factor: Decimal) -> Any:
        if field.sort is bool:
            return bool(text.strip())
        text = " ".join(text.split())
        text = self._pattern.words.get(name, {}).get(text, text)
        if field.sort is str:
            return text
        number = self._number(name, text) * factor
        if field.sort is int:
            return int(number.to_integral_value())
        return float(number)

    def _number(self, name: str, text: str) -> Decimal:
        if self._pattern.decimal != ".":
            text = text.replace(self._pattern.decimal, ".")
        try:
            number = Decimal(text.replace("\N{MINUS SIGN}", "-"))
        except InvalidOperation:
            raise ValueError(f"{name}: {text[:24]!r} is no number") from None
        if not number.is_finite() or number.adjusted() > 18:
            raise ValueError(f"{name}: {text[:24]!r} is out of range")
        return number


def _written_time(groups: Mapping[str, str | None]) -> str | None:
    parts = [groups[name] for name in ("at", "date", "time") if groups.get(name)]
    return " ".join(part for part in parts if part) if parts else None


def _check(kind: str, at_ms: int, fields: Mapping[str, Any]) -> None:
    """Whether the watch would take it: what it would refuse must not be sent. Raises ValueError."""
    envelope = {"v": 1, "kind": kind, "source": "lines", "at": _stamp(at_ms)}
    try:
        msgspec.convert({**envelope, **fields}, KINDS[kind])
    except msgspec.ValidationError as error:
        what, _, where = str(error).replace("`", "").partition(" - at $.")
        raise ValueError(f"{where}: {what}" if where else what) from None


def _stamp(at_ms: int) -> str:
    try:
        return stamp(at_ms)
    except (ValueError, OverflowError):
        raise ValueError("time: out of range") from None
