"""Who reported us, the newest report of each station on each band, and how that changed from hour to hour."""

from __future__ import annotations

from collections import Counter, OrderedDict, deque
from typing import NamedTuple

from watchkeeper.radio.compass import sector_of

MOST_STATIONS = 2_000
MOST_SPANS = 96
#: stands for a direction that is not known
_NOWHERE = "?"
#: (start of a quarter hour, stations that reported us in it by direction), oldest first
Quarters = tuple[tuple[int, dict[str, int]], ...]
SPAN_MS = 15 * 60_000


class Report(NamedTuple):
    """One report of us: as given, with what we heard of the station about then and our power in dBW."""

    at_ms: int
    call: str
    band: str
    report_db: float
    heard_db: float | None
    power_dbw: float
    way: str
    locator: str | None
    distance_km: float | None
    azimuth_deg: float | None


class Reports:
    """The reports that count as now: those of the last ``shown_ms``."""

    def __init__(self, shown_ms: int) -> None:
        self._shown_ms = shown_ms
        self._latest: OrderedDict[tuple[str, str], Report] = OrderedDict()
        self._spans: deque[tuple[int, dict[str, str]]] = deque(maxlen=MOST_SPANS)
        self.version = 0

    def add(self, report: Report) -> bool:
        """Enter a report; False for one that was known already."""
        key = (report.band, report.call)
        known = self._latest.get(key)
        if known is not None and (known.at_ms, known.way, known.report_db) == (
            report.at_ms,
            report.way,
            report.report_db,
        ):
            return False
        self.version += 1
        self._count(report)
        if known is None or report.at_ms >= known.at_ms:
            self._latest[key] = report
            self._latest.move_to_end(key)
            if len(self._latest) > MOST_STATIONS:
                self._latest.popitem(last=False)
        return True

    def _count(self, report: Report) -> None:
        start_ms = report.at_ms - report.at_ms % SPAN_MS
        sector = _NOWHERE if report.azimuth_deg is None else sector_of(report.azimuth_deg)
        for at_ms, calls in reversed(self._spans):
            if at_ms == start_ms:
                calls[report.call] = sector
                return
            if at_ms < start_ms:
                break
        if not self._spans or self._spans[-1][0] < start_ms:
            self._spans.append((start_ms, {report.call: sector}))

    def shown(self, now_ms: int) -> list[Report]:
        """The newest report of each station and band, the strongest first."""
        found = [each for each in self._latest.values() if each.at_ms >= now_ms - self._shown_ms]
        return sorted(found, key=lambda each: (-each.report_db, each.call, each.band))

    def by_quarter(self) -> Quarters:
        """How many stations reported us, by quarter hour and direction."""
        return tuple((at_ms, Counter(calls.values())) for at_ms, calls in self._spans)
