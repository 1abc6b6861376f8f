"""What was heard in a session, folded into stretches of time, directions and rings of distance."""

from __future__ import annotations

import sqlite3
from typing import NamedTuple

from ..faces.report.facts import Direction, HeardBin, quartiles
from ..radio.compass import SECTORS, sector_of

#: stretches of time that a session is cut into, at most
BINS = 60
LEAST_BIN_MS = 60_000
#: hop by hop, more or less; the last one holds the antipode
RINGS_KM = (0, 1500, 4000, 8000, 20100)


class Spot(NamedTuple):
    """The strongest that a station was heard, and where it lies from us."""

    snr_db: float
    distance_km: float | None
    azimuth_deg: float | None


Best = dict[str, Spot]


class Hearings:
    """All hearings of a session, folded while they are read."""

    def __init__(self, first_ms: int, last_ms: int) -> None:
        self.first_ms = first_ms
        span_ms = last_ms - first_ms
        self.bin_ms = max(LEAST_BIN_MS, -(-span_ms // (BINS * LEAST_BIN_MS)) * LEAST_BIN_MS)
        self.count = 0
        self.best: Best = {}
        self.farthest_call: str | None = None
        self.farthest_km: float | None = None
        self._bins: dict[tuple[int, str], tuple[set[int], set[str], list[float]]] = {}

    @classmethod
    def read(cls, db: sqlite3.Connection, session: int) -> Hearings:
        """Fold the hearings of ``session``."""
        first, last = db.execute(
            "SELECT min(period_ms), max(period_ms) FROM hearing WHERE session = ?", (session,)
        ).fetchone()
        hearings = cls(first or 0, last or 0)
        rows = db.execute(
            "SELECT period_ms, band, call, snr_db, distance_km, azimuth_deg FROM hearing WHERE session = ? ORDER BY id",
            (session,),
        )
        for row in rows:
            hearings._add(*row)
        return hearings

    def _add(
        self,
        period_ms: int,
        band: str | None,
        call: str | None,
        snr_db: float,
        distance_km: float | None,
        azimuth_deg: float | None,
    ) -> None:
        self.count += 1
        start = self.first_ms + (period_ms - self.first_ms) // self.bin_ms * self.bin_ms
        periods, calls, snrs = self._bins.setdefault((start, band or "unknown band"), (set(), set(), []))
        periods.add(period_ms)
        snrs.append(snr_db)
        if call is None:
            return
        calls.add(call)
        known = self.best.get(call)
        if known is None or snr_db > known.snr_db:
            self.best[call] = Spot(snr_db, distance_km, azimuth_deg)
        if distance_km is not None and distance_km > (self.farthest_km or 0):
            self.farthest_call, self.farthest_km = call, distance_km

    def bins(self) -> tuple[HeardBin, ...]:
        """The stretches of time in which something was heard, in order, band by band."""
        found = []
        for (start, band), (periods, calls, snrs) in sorted(self._bins.items()):
            low, median, high = quartiles(snrs)
            found.append(
                HeardBin(
                    at_ms=start,
                    band=band,
                    periods=len(periods),
                    hearings=len(snrs),
                    stations=len(calls),
                    snr_low_db=low,
                    snr_median_db=median,
                    snr_high_db=high,
                )
            )
        return tuple(found)


def directions(heard: Best, hear_us: Best) -> tuple[Direction, ...]:
    """Stations by sector and ring; nothing where no station has a place."""
    cells: dict[tuple[int, int], tuple[list[float], list[float]]] = {}
    for at, stations in enumerate((heard, hear_us)):
        for spot in stations.values():
            if spot.distance_km is not None and spot.azimuth_deg is not None:
                cell = (SECTORS.index(sector_of(spot.azimuth_deg)), _ring(spot.distance_km))
                cells.setdefault(cell, ([], []))[at].append(spot.snr_db)
    return tuple(
        Direction(
            sector=SECTORS[sector],
            from_km=RINGS_KM[ring],
            to_km=RINGS_KM[ring + 1],
            heard=len(ours),
            hear_us=len(theirs),
            best_heard_db=max(ours, default=None),
            best_report_db=max(theirs, default=None),
        )
        for (sector, ring), (ours, theirs) in sorted(cells.items())
    )


def _ring(distance_km: float) -> int:
    return max(at for at, start in enumerate(RINGS_KM[:-1]) if distance_km >= start)
