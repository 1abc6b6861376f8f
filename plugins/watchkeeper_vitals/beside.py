"""What is known of a band beside one receiver's own evidence: the hour and season, and who reports us there."""

from __future__ import annotations

from collections import OrderedDict

from watchkeeper.api import Period, Reception, from_ms, to_ms
from watchkeeper.radio import band as bands
from watchkeeper.radio import locator
from watchkeeper.radio.band_hours import band_hours
from watchkeeper.radio.message import reports_own

from .silence import Beside

#: a report so old still tells of a band that is open; reports come minutes late
_REPORTED_MS = 900_000
_MOST_REPORTS = 500


class Around:
    """Remembers who reported us, band by band."""

    def __init__(self) -> None:
        self._reports: OrderedDict[tuple[str, str], int] = OrderedDict()

    def reported(self, event: Reception, own_call: str | None) -> None:
        """Somebody heard a station; it counts if that is us."""
        band = bands.of(event.dial_hz)
        if band is None or not reports_own(own_call, event.call):
            return
        key = (band, event.by_call.upper())
        self._reports[key] = max(to_ms(event.at), self._reports.pop(key, 0))
        if len(self._reports) > _MOST_REPORTS:
            self._reports.popitem(last=False)

    def beside(
        self,
        period: Period,
        own_locator: str | None,
        others: tuple[str, int] | None,
        elsewhere: tuple[str, int] | None,
    ) -> Beside:
        """What is known as of a period, with what other receivers hear on its band and elsewhere."""
        band = period.band
        if band is None:
            return Beside(others=others, elsewhere=elsewhere)
        hours = None
        if own_locator is not None and locator.is_locator(own_locator):
            hours = band_hours(band, locator.centre(own_locator), from_ms(period.start_ms))
        since_ms = period.start_ms - _REPORTED_MS
        reports = sum(1 for (on, _), at_ms in self._reports.items() if on == band and at_ms >= since_ms)
        return Beside(band, hours, others, elsewhere, reports)
