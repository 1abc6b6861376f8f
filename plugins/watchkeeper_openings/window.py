"""What one band let through in the last minutes of event time. A hearing costs the same however many came before."""

from __future__ import annotations

from bisect import bisect_right
from collections import OrderedDict, deque
from collections.abc import Sequence
from statistics import quantiles
from typing import NamedTuple

import msgspec

from watchkeeper.radio.compass import SECTORS, sector_of

from . import change

#: outer bounds of the distance rings, km: ground wave and high angles, one hop, two, …
RINGS_KM = (500, 1500, 3000, 6000, 10_000, 20_040)
#: stations that one band and direction keeps (the one heard longest ago goes first), and at most of one period
_MOST = 2_000
#: stations that report us, kept per band
_MOST_REPORTS = 500
#: points of the history: one for so many ms, three hours of them
HISTORY_MS = 300_000
_POINTS = 36


def ring_of(distance_km: float) -> int:
    """The outer bound of the ring in which a distance lies, km."""
    return RINGS_KM[min(bisect_right(RINGS_KM, distance_km), len(RINGS_KM) - 1)]


class Heard(msgspec.Struct, frozen=True):
    """A station's last hearing within the window."""

    at_ms: int
    snr_db: float
    distance_km: float
    place: str


class Figures(NamedTuple):
    """One direction, or one ring, in figures.

    ``rate`` is in hearings per listened period, None where nothing was listened to. ``since_ms`` says from which
    period on the trend goes its way.
    """

    stations: int
    rate: float | None
    quartiles_db: tuple[float, float, float]
    best_db: float
    nearest_km: float
    farthest_km: float
    farthest_call: str
    place: str
    trend: str
    since_ms: int | None

    @property
    def median_db(self) -> float:
        """The middle of the stations' SNR."""
        return self.quartiles_db[1]


class Direction:
    """The stations heard from one direction, or within one ring."""

    __slots__ = ("_periods", "_stations")

    def __init__(self) -> None:
        self._stations: OrderedDict[str, Heard] = OrderedDict()
        self._periods: deque[tuple[int, set[str]]] = deque()  # (start, who was heard in it), oldest first

    def add(self, call: str, heard: Heard) -> None:
        """Enter one hearing; a station counts once a period, and with its best SNR in it."""
        stations, at_ms = self._stations, heard.at_ms
        known = stations.get(call)
        if known is not None and known.at_ms >= at_ms:
            if known.at_ms == at_ms and known.snr_db < heard.snr_db:
                stations[call] = heard
            return
        stations[call] = heard
        if known is not None:
            stations.move_to_end(call)
        elif len(stations) > _MOST:
            stations.popitem(last=False)
        if not self._periods or self._periods[-1][0] < at_ms:
            self._periods.append((at_ms, set()))
        if len(self._periods[-1][1]) < _MOST:
            self._periods[-1][1].add(call)

    def expire(self, before_ms: int) -> None:
        """Forget what was heard before ``before_ms``."""
        while self._stations and next(iter(self._stations.values())).at_ms < before_ms:
            self._stations.popitem(last=False)
        while self._periods and self._periods[0][0] < before_ms:
            self._periods.popleft()

    def figures(self, listened: Sequence[tuple[int, int]], window_ms: int) -> Figures | None:
        """The figures now, from (start, parity) of the periods listened to; None where nobody was heard."""
        if not self._stations:
            return None
        call, far = max(self._stations.items(), key=lambda item: (item[1].distance_km, item[0]))
        levels = [heard.snr_db for heard in self._stations.values()]
        by_period = dict(self._periods)
        periods = [change.Heard(start_ms, parity, by_period.get(start_ms, ())) for start_ms, parity in listened]
        trend, since_ms = change.in_words(periods, window_ms)
        return Figures(
            stations=len(self._stations),
            rate=sum(map(len, by_period.values())) / len(listened) if listened else None,
            quartiles_db=quartiles(levels),
            best_db=max(levels),
            nearest_km=min(heard.distance_km for heard in self._stations.values()),
            farthest_km=far.distance_km,
            farthest_call=call,
            place=far.place,
            trend=trend,
            since_ms=since_ms,
        )


def quartiles(levels: Sequence[float]) -> tuple[float, float, float]:
    """The quartiles of one or more levels."""
    if len(levels) == 1:
        return levels[0], levels[0], levels[0]
    low, middle, high = quantiles(levels, n=4, method="inclusive")
    return low, middle, high


class Band:
    """One band: its directions and rings, the periods in which it was listened to, its history, and who hears us."""

    __slots__ = ("_credible", "_history", "_periods", "_reports", "_told", "directions", "mode", "rings")

    def __init__(self) -> None:
        self.directions = {sector: Direction() for sector in SECTORS}
        self.rings = {outer_km: Direction() for outer_km in RINGS_KM}
        self.mode = ""
        self._periods: deque[tuple[int, int]] = deque()  # (start, parity)
        self._reports: OrderedDict[str, int] = OrderedDict()
        self._history: deque[list[int]] = deque(maxlen=_POINTS)  # [slice start, stations heard, periods]
        self._told: deque[list[int]] = deque()  # [period start, hearings, credible ones]
        self._credible = [0, 0]

    def tell(self, at_ms: int, *, credible: bool) -> None:
        """One hearing of any kind: how many of them are credible is a figure of its own."""
        if not self._told or self._told[-1][0] < at_ms:
            self._told.append([at_ms, 0, 0])
        self._credible[0] += 1
        self._told[-1][1] += 1
        self._told[-1][2] += credible
        self._credible[1] += credible

    def add(self, call: str, at_ms: int, snr_db: float, distance_km: float, azimuth_deg: float, place: str) -> None:
        """Enter one credible hearing where it came from, and how far it came."""
        heard = Heard(at_ms, snr_db, distance_km, place)
        self.directions[sector_of(azimuth_deg)].add(call, heard)
        self.rings[ring_of(distance_km)].add(call, heard)

    @property
    def credible_share(self) -> float | None:
        """Share of the hearings in the window that are credible."""
        return self._credible[1] / self._credible[0] if self._credible[0] else None

    def reported(self, by_call: str, at_ms: int) -> None:
        """Somebody heard us here."""
        self._reports.pop(by_call, None)
        self._reports[by_call] = at_ms
        if len(self._reports) > _MOST_REPORTS:
            self._reports.popitem(last=False)

    def hear_us(self, since_ms: int) -> int:
        """How many heard us since then."""
        return sum(1 for at_ms in self._reports.values() if at_ms >= since_ms)

    def listen(self, start_ms: int, parity: int, stations: int) -> None:
        """A period was listened to. Several receivers on a band listen to one period together."""
        if self._periods and start_ms <= self._periods[-1][0]:
            return
        self._periods.append((start_ms, parity))
        slice_ms = start_ms - start_ms % HISTORY_MS
        if not self._history or self._history[-1][0] < slice_ms:
            self._history.append([slice_ms, 0, 0])
        self._history[-1][1] += stations
        self._history[-1][2] += 1

    def expire(self, before_ms: int) -> None:
        """Forget what is older."""
        while self._periods and self._periods[0][0] < before_ms:
            self._periods.popleft()
        while self._told and self._told[0][0] < before_ms:
            _, heard, credible = self._told.popleft()
            self._credible = [self._credible[0] - heard, self._credible[1] - credible]
        for where in (*self.directions.values(), *self.rings.values()):
            where.expire(before_ms)

    @property
    def listened(self) -> Sequence[tuple[int, int]]:
        """(start, parity) of the periods listened to, oldest first."""
        return tuple(self._periods)

    @property
    def history(self) -> tuple[tuple[int, float | None], ...]:
        """(ms, stations per listened period) for slices of five minutes, oldest first."""
        return tuple((start_ms, round(heard / periods, 2)) for start_ms, heard, periods in self._history if periods)
