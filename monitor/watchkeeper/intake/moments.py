"""When a line's event happened: from the time as it is written, the zone it is meant in, and the mode's periods."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo
from typing import Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import msgspec

from ..radio import period
from ..radio.mode import timed
from ..schema.events import from_ms, to_ms

_OFFSET = re.compile(r"([+-])(\d\d):?(\d\d)")
_DATE_DIRECTIVES = re.compile(r"%[djxcGu]")
#: how far a line may lie behind the one before it
_LATE = timedelta(hours=1)


class TimeRule(msgspec.Struct, frozen=True, kw_only=True):
    """The ``[time]`` table.

    ``format`` is ``iso``, ``unix`` (seconds since 1970) or one of ``strptime``'s; where it names no day, the day is
    found. ``stamp`` says what the time of a timed mode's line is: its period's ``start``, some moment ``inside`` the
    period, or when the line was ``printed``, which is from late in the period to a third of one behind its end.
    """

    format: str | None = None
    zone: str = "UTC"
    stamp: Literal["start", "inside", "printed"] = "start"

    def __post_init__(self) -> None:
        zone_of(self.zone)
        if self.format not in (None, "iso", "unix"):
            _try_out(self.format)

    @property
    def tells_day(self) -> bool:
        """Whether the written time holds its day."""
        return self.format in ("iso", "unix") or bool(_DATE_DIRECTIVES.search(self.format or ""))


def _try_out(form: str) -> None:
    """Raises ValueError for what ``strptime`` cannot read back."""
    if "%" not in form:
        raise ValueError("format: 'iso', 'unix' or directives such as %H:%M:%S")
    try:
        datetime.strptime(datetime(2026, 5, 17, 12, 34, 56, tzinfo=UTC).strftime(form), form)  # noqa: DTZ007
    except (ValueError, re.error) as error:
        raise ValueError(f"format: {error}") from None


def zone_of(name: str) -> tzinfo:
    """A zone by its IANA name or as ``+02:00``. Raises ValueError."""
    if name in ("UTC", "Z"):
        return UTC
    offset = _OFFSET.fullmatch(name)
    if offset is not None:
        minutes = int(offset[2]) * 60 + int(offset[3])
        if minutes >= 24 * 60:
            raise ValueError(f"zone: no such offset: {name!r}")
        return timezone(timedelta(minutes=-minutes if offset[1] == "-" else minutes))
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise ValueError(f"zone: no such zone: {name!r} (as Europe/Lisbon, +02:00 or UTC)") from None


def _on(day: date, moment: datetime) -> datetime:
    return moment.replace(year=day.year, month=day.month, day=day.day)


class Moments:
    """Reads times by a rule. One without a day is on the day that brings it nearest to ``clock_ms``; with ``day``,
    that of the first line, days are counted on from there."""

    def __init__(self, rule: TimeRule, clock_ms: Callable[[], int], day: date | None = None) -> None:
        self._rule = rule
        self._zone = zone_of(rule.zone)
        self._clock_ms = clock_ms
        self._day = day
        self._last: datetime | None = None
        self._last_ms: int | None = None

    def read(self, text: str | None) -> int | None:
        """Milliseconds since 1970 UTC of a time as written. Raises ValueError.

        A line without one has the time of the line before, or None; in a text that tells no times at all it is now.
        """
        if self._rule.format is None:
            return self._clock_ms()
        if text is not None:
            self._last_ms = self._written(text, self._rule.format)
        return self._last_ms

    def _written(self, text: str, rule: str) -> int:
        if rule == "unix":
            return round(float(text) * 1000)
        moment = datetime.fromisoformat(text) if rule == "iso" else datetime.strptime(text, rule)  # noqa: DTZ007
        if moment.tzinfo is None:
            moment = moment.replace(tzinfo=self._zone)
        if not self._rule.tells_day:
            moment = self._on_a_day(moment)
        return to_ms(moment)

    def _on_a_day(self, moment: datetime) -> datetime:
        if self._day is not None:
            return self._on_the_next_day(moment, self._day)
        near = from_ms(self._clock_ms()).astimezone(moment.tzinfo)
        days = (near.date() + timedelta(days=shift) for shift in (-1, 0, 1))
        return min((_on(day, moment) for day in days), key=lambda candidate: abs(candidate - near))

    def _on_the_next_day(self, moment: datetime, day: date) -> datetime:
        """The first such time that does not lie behind the line before by more than what may be late."""
        if self._last is not None:
            day = (self._last - _LATE).date()
        found = _on(day, moment)
        if self._last is not None and found < self._last - _LATE:
            found = _on(day + timedelta(days=1), moment)
        self._last = found
        return found

    def period_start(self, at_ms: int, mode: str, *, printed: bool) -> int:
        """The nominal start of the period that a time means; for a mode without periods the time itself."""
        if timed(mode) is None:
            return at_ms
        length_ms = period.length_ms(mode)
        if printed or self._rule.stamp == "printed":
            return period.start_ms(at_ms - length_ms // 3, mode)
        if self._rule.stamp == "inside":
            return period.start_ms(at_ms, mode)
        return period.start_ms(at_ms + length_ms // 2, mode)  # whole seconds stand for the 7.5 s periods too
