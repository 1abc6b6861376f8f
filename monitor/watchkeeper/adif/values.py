"""Values in ADIF's spelling and in ours: frequencies to the Hz, dates and times in UTC."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from decimal import Decimal

_DATE = re.compile(r"\d{8}", re.ASCII)
_TIME = re.compile(r"\d{4}(?:\d\d)?", re.ASCII)
_MHZ = re.compile(r"[0-9]{1,12}\.?[0-9]{0,12}|\.[0-9]{1,12}")
_ONE_DAY = timedelta(days=1)
_HIGHEST_HZ = 10**13  # the standard's last band ends at 7.5 THz


class AdifValueError(ValueError):
    """A value that cannot be understood: ``field`` says where, the message says what."""

    def __init__(self, field: str, why: str) -> None:
        super().__init__(f"{field}: {why}")
        self.field = field
        self.why = why


def freq_mhz(frequency_hz: int) -> str:
    """A frequency in Hz as ADIF's exact MHz text: ``14075123`` → ``"14.075123"``, ``7000000`` → ``"7"``."""
    whole, rest = divmod(frequency_hz, 1_000_000)
    return f"{whole}.{rest:06d}".rstrip("0").rstrip(".")


def hz(text: str) -> int:
    """ADIF's MHz text as whole Hz, half a Hz rounded to even. Raises ``AdifValueError`` on anything else."""
    given = text.strip()
    if not _MHZ.fullmatch(given):
        raise AdifValueError("FREQ", f"{text!r} is not a number of MHz")
    value_hz = int((Decimal(given) * 1_000_000).to_integral_value())
    if not 0 < value_hz < _HIGHEST_HZ:
        raise AdifValueError("FREQ", f"{text!r} MHz is not a radio frequency")
    return value_hz


def adif_date(when: datetime) -> str:
    """The UTC date as ``YYYYMMDD``."""
    utc = when.astimezone(UTC)
    return f"{utc.year:04d}{utc:%m%d}"  # %Y has no leading zeros everywhere


def adif_time(when: datetime) -> str:
    """The UTC time as ``HHMMSS``."""
    return when.astimezone(UTC).strftime("%H%M%S")


def parse_when(fields: Mapping[str, str]) -> tuple[datetime, datetime | None]:
    """Start and end of a contact in UTC, from QSO_DATE, TIME_ON, QSO_DATE_OFF and TIME_OFF.

    A TIME_OFF earlier than TIME_ON without a QSO_DATE_OFF means the next day (ADIF 3.1.7, TIME_OFF).
    The end is None when the record names none. Raises ``AdifValueError`` on a missing or impossible start, an
    impossible end, or an end before the start.
    """
    start = _moment(fields, "QSO_DATE", "TIME_ON")
    if not fields.get("TIME_OFF"):
        return start, None
    if fields.get("QSO_DATE_OFF"):
        end = _moment(fields, "QSO_DATE_OFF", "TIME_OFF")
        if end < start.replace(second=0 if len(fields["TIME_OFF"].strip()) == 4 else start.second):
            raise AdifValueError("TIME_OFF", f"the contact ends at {end:%Y-%m-%d %H:%M:%S}, before its start")
        return start, max(start, end)
    end = _moment(fields, "QSO_DATE", "TIME_OFF")
    if len(fields["TIME_OFF"].strip()) == 4 and end == start.replace(second=0):
        return start, start  # both in one minute, the end without its seconds
    if end >= start:
        return start, end
    try:
        return start, end + _ONE_DAY
    except OverflowError:
        raise AdifValueError("TIME_OFF", "the contact ends after the last day of the calendar") from None


def _moment(fields: Mapping[str, str], date_field: str, time_field: str) -> datetime:
    date, time = fields.get(date_field, "").strip(), fields.get(time_field, "").strip()
    for field, text, pattern, form in (
        (date_field, date, _DATE, "YYYYMMDD"),
        (time_field, time, _TIME, "HHMM or HHMMSS"),
    ):
        if not text:
            raise AdifValueError(field, "missing")
        if not pattern.fullmatch(text):
            raise AdifValueError(field, f"{text!r} is not {form}")
    try:
        day = datetime(int(date[:4]), int(date[4:6]), int(date[6:]), tzinfo=UTC)
    except ValueError:
        raise AdifValueError(date_field, f"{date!r} is not a date of the calendar") from None
    try:
        return day.replace(hour=int(time[:2]), minute=int(time[2:4]), second=int(time[4:] or 0))
    except ValueError:
        raise AdifValueError(time_field, f"{time!r} is not a time of day") from None
