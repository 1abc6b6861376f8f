"""What one band let through in the last minutes of event time. A hearing costs the same however many came before."""

from __future__ import annotations

from collections import OrderedDict, deque
from statistics import median
from typing import NamedTuple

#: the directions, each 45° wide, the first centred on north
SECTORS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
#: stations that one band and direction keeps; the one heard longest ago goes first
_MOST = 2_000
#: below this many listened periods in either half a trend says nothing
_FOR_TREND = 3


def sector_of(azimuth_deg: float) -> str:
    """The direction in which an azimuth lies: ``N`` from 337.5° to 22.5°."""
    return SECTORS[int((azimuth_deg + 22.5) % 360 // 45)]


class Heard(NamedTuple):
    """A station's last hearing within the window."""

    at_ms: int
    snr_db: float
    distance_km: float
    place: str


class Figures(NamedTuple):
    """One direction in figures: ``rate`` in hearings per listened period, None where nothing was listened to."""

    stations: int
    rate: float | None
    median_db: float
    best_db: float
    farthest_km: float
    farthest_call: str
    place: str
    trend: str


class Direction:
    """The stations heard from one direction."""

    __slots__ = ("_counts", "_stations")

    def __init__(self) -> None:
        self._stations: OrderedDict[str, Heard] = OrderedDict()
        self._counts: deque[list[int]] = deque()  # (period start, stations heard in it), oldest first

    def add(self, call: str, at_ms: int, snr_db: float, distance_km: float, place: str) -> None:
        """Enter one hearing; a station counts once a period, and with its best SNR in it."""
        stations = self._stations
        known = stations.get(call)
        if known is not None and known.at_ms >= at_ms:
            if known.at_ms == at_ms and known.snr_db < snr_db:
                stations[call] = Heard(at_ms, snr_db, distance_km, place)
            return
        stations[call] = Heard(at_ms, snr_db, distance_km, place)
        if known is not None:
            stations.move_to_end(call)
        elif len(stations) > _MOST:
            stations.popitem(last=False)
        if self._counts and self._counts[-1][0] >= at_ms:
            self._counts[-1][1] += 1
        else:
            self._counts.append([at_ms, 1])

    def expire(self, before_ms: int) -> None:
        """Forget what was heard before ``before_ms``."""
        while self._stations and next(iter(self._stations.values())).at_ms < before_ms:
            self._stations.popitem(last=False)
        while self._counts and self._counts[0][0] < before_ms:
            self._counts.popleft()

    def figures(self, listened: Listened, middle_ms: int) -> Figures | None:
        """The figures now; None where nobody was heard."""
        if not self._stations:
            return None
        call, far = max(self._stations.items(), key=lambda item: (item[1].distance_km, item[0]))
        levels = [heard.snr_db for heard in self._stations.values()]
        old = sum(count for at_ms, count in self._counts if at_ms < middle_ms)
        new = sum(count for at_ms, count in self._counts) - old
        return Figures(
            stations=len(self._stations),
            rate=None if not listened.all else (old + new) / listened.all,
            median_db=median(levels),
            best_db=max(levels),
            farthest_km=far.distance_km,
            farthest_call=call,
            place=far.place,
            trend=_trend(old, listened.old, new, listened.new),
        )


class Listened(NamedTuple):
    """Periods listened to: in the older and in the newer half of the window."""

    old: int
    new: int

    @property
    def all(self) -> int:
        """In the whole window."""
        return self.old + self.new


class Band:
    """One band: eight directions, and the periods in which it was listened to."""

    __slots__ = ("_periods", "directions", "mode")

    def __init__(self) -> None:
        self.directions = {sector: Direction() for sector in SECTORS}
        self.mode = ""
        self._periods: deque[int] = deque()

    def listen(self, start_ms: int) -> None:
        """A period was listened to. Several receivers on a band listen to one period together."""
        if not self._periods or start_ms > self._periods[-1]:
            self._periods.append(start_ms)

    def expire(self, before_ms: int) -> None:
        """Forget what is older."""
        while self._periods and self._periods[0] < before_ms:
            self._periods.popleft()
        for direction in self.directions.values():
            direction.expire(before_ms)

    def listened(self, middle_ms: int) -> Listened:
        """How many periods were listened to before and since ``middle_ms``."""
        old = sum(1 for start_ms in self._periods if start_ms < middle_ms)
        return Listened(old, len(self._periods) - old)


def _trend(old: int, old_periods: int, new: int, new_periods: int) -> str:
    """How the rate moves from the older to the newer half: beyond what chance makes of such counts.

    Two Poisson counts differ when their square roots do by more than 1 (Anscombe's transform, 1948: a standard
    deviation of one half each), here after both are brought to as many periods.
    """
    if min(old_periods, new_periods) < _FOR_TREND:
        return "opening" if new and not old and new_periods >= _FOR_TREND else "new"
    even = min(old_periods, new_periods)
    step = (new * even / new_periods) ** 0.5 - (old * even / old_periods) ** 0.5
    if step > 1:
        return "opening" if old == 0 else "rising"
    if step < -1:
        return "closed" if new == 0 else "falling"
    return "steady"
