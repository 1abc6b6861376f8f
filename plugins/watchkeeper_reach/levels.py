"""What was heard of each station, kept long enough for reports of us that arrive minutes late."""

from __future__ import annotations

from collections import OrderedDict, deque
from functools import lru_cache
from math import exp
from statistics import NormalDist, median
from typing import NamedTuple

import msgspec

#: stations and levels remembered, and how long after a station was heard last: late reports of us ask for no more
MOST_STATIONS = 3_000
MOST_LEVELS = 24
KEPT_MS = 60 * 60_000
#: a report is compared with a level of ours at most this far from it in time
NEAR_MS = 5 * 60_000
#: slow fading of the short waves: standard deviation, and time after which 1/e of a deviation is left (common
#: practice, no source)
FADING_DB = 3.5
FADING_MS = 90_000
#: after so long a silence what was heard before it counts no more; how fast what lies back loses weight
LATELY_MS = 6 * 60_000
SMOOTH_MS = 120_000
#: neighbours older than this say nothing of the path now
AREA_MS = 30 * 60_000
MOST_AREAS = 400
#: what is heard at the limit is taken to lie no farther below it (common practice, no source)
MOST_BELOW_DB = 4.0
_NORMAL = NormalDist()


class Level(msgspec.Struct, frozen=True):
    """How strong a station was in one period, by which source, and whether that was the least that is displayed."""

    at_ms: int
    snr_db: float
    source: str
    at_floor: bool


class Area(NamedTuple):
    """The stations round a place: how strong they are, and how many."""

    median_db: float
    stations: int


class Around(msgspec.Struct, frozen=True):
    """What is heard round a station: in its area, and on the whole band; None where nothing is."""

    area: Area | None
    band: Area | None


def fading_var(gap_ms: float) -> float:
    """The variance in dB² between two levels of one path that lie ``gap_ms`` apart."""
    return 2 * FADING_DB**2 * (1 - exp(-abs(gap_ms) / FADING_MS))


@lru_cache(maxsize=4096)
def median_db(heard_db: float, limit_db: float) -> float:
    """The level round which a path fades that was heard at ``heard_db`` on the average.

    Near the decoding limit we hear only what has just faded upwards: the mean of a normal distribution cut off at the
    limit is ``heard_db``, and its centre lies lower, at most by :data:`MOST_BELOW_DB`.
    """
    if heard_db > limit_db + 2.5 * FADING_DB:
        return heard_db
    if heard_db <= limit_db:
        return heard_db - MOST_BELOW_DB
    low, high = heard_db - MOST_BELOW_DB, heard_db
    for _ in range(8):
        middle = (low + high) / 2
        cut = (limit_db - middle) / FADING_DB
        if middle + FADING_DB * _NORMAL.pdf(cut) / max(1e-9, 1 - _NORMAL.cdf(cut)) > heard_db:
            high = middle
        else:
            low = middle
    return (low + high) / 2


def _left(age_ms: int) -> float:
    """The weight that is left of a level after so long."""
    return exp(-age_ms / SMOOTH_MS) if age_ms <= LATELY_MS else 0.0


class _Sums(NamedTuple):
    """Weights of levels, those levels times their weights, and the weights of those at the floor."""

    at_ms: int
    weights: float
    total_db: float
    at_floor: float


_NOTHING = _Sums(0, 0.0, 0.0, 0.0)


class _Trail:
    """One station's levels, and their mean of late: the newer a level, the more it counts."""

    __slots__ = ("_before", "_sums", "levels")

    def __init__(self) -> None:
        self.levels: deque[Level] = deque(maxlen=MOST_LEVELS)
        #: what the levels add up to, and without the newest one: a better copy takes its place
        self._sums = self._before = _NOTHING

    def add(self, level: Level) -> None:
        """Enter a level; it takes the place of one of the same period."""
        levels = self.levels
        if levels and levels[-1].at_ms == level.at_ms:
            levels.pop()
        else:
            self._before = self._sums
        levels.append(level)
        before = self._before
        newest_ms = max(level.at_ms, before.at_ms)
        left, weight = _left(newest_ms - before.at_ms), _left(newest_ms - level.at_ms)
        self._sums = _Sums(
            newest_ms,
            before.weights * left + weight,
            before.total_db * left + (0.0 if level.at_floor else weight * level.snr_db),
            before.at_floor * left + (weight if level.at_floor else 0.0),
        )

    def lately(self, at_ms: int, least_db: float) -> float | None:
        """As :meth:`BandLevels.lately`."""
        newest_ms, weights, total_db, at_floor = self._sums
        return (total_db + at_floor * least_db) / weights if abs(at_ms - newest_ms) <= LATELY_MS else None


class _Neighbours:
    """The stations of an area, the one heard last at the end."""

    __slots__ = ("_as_of_ms", "_found", "_levels")

    def __init__(self) -> None:
        self._levels: OrderedDict[str, tuple[int, float]] = OrderedDict()
        self._as_of_ms: int | None = None
        self._found: Area | None = None

    def add(self, call: str, level: Level) -> None:
        """Enter the level of one of them."""
        self._levels[call] = (level.at_ms, level.snr_db)
        self._levels.move_to_end(call)

    def area(self, at_ms: int) -> Area | None:
        """How strong they are, None where none is heard any more; reckoned once a period."""
        if self._as_of_ms != at_ms or self._found is None:
            levels = self._levels
            while levels and next(iter(levels.values()))[0] < at_ms - AREA_MS:
                levels.popitem(last=False)
            self._as_of_ms = at_ms
            self._found = Area(median([level_db for _, level_db in levels.values()]), len(levels)) if levels else None
        return self._found


class BandLevels:
    """What was heard on one band, by station and by area."""

    def __init__(self) -> None:
        self._trails: OrderedDict[str, _Trail] = OrderedDict()
        self._areas: OrderedDict[str, _Neighbours] = OrderedDict()
        self._all = _Neighbours()

    def heard(self, call: str, area: str | None, level: Level) -> None:
        """Enter one level."""
        trail = self._trails.get(call)
        if trail is None:
            trail = self._trails[call] = _Trail()
        else:
            self._trails.move_to_end(call)
        trail.add(level)
        self._forget(level.at_ms)
        self._all.add(call, level)
        if area is not None:
            self._in(area).add(call, level)

    def _forget(self, now_ms: int) -> None:
        """Let go of the stations that were heard too long ago, and of the longest silent where there are too many."""
        trails = self._trails
        while len(trails) > MOST_STATIONS or next(iter(trails.values())).levels[-1].at_ms < now_ms - KEPT_MS:
            trails.popitem(last=False)

    def _in(self, area: str) -> _Neighbours:
        found = self._areas.get(area)
        if found is None:
            found = self._areas[area] = _Neighbours()
            if len(self._areas) > MOST_AREAS:
                self._areas.popitem(last=False)
        else:
            self._areas.move_to_end(area)
        return found

    def near(self, call: str, at_ms: int) -> Level | None:
        """The level nearest in time, at most :data:`NEAR_MS` away."""
        trail = self._trails.get(call)
        if trail is None:
            return None
        found = min(trail.levels, key=lambda level: (abs(level.at_ms - at_ms), level.at_ms))
        return found if abs(found.at_ms - at_ms) <= NEAR_MS else None

    def lately(self, call: str, at_ms: int, least_db: float) -> float | None:
        """The level of the last minutes, the newer the more: one hearing alone tells more of fading than of the path.

        Levels at the displayed floor count as ``least_db``. None where there is none.
        """
        trail = self._trails.get(call)
        return None if trail is None else trail.lately(at_ms, least_db)

    def around(self, area: str | None, at_ms: int) -> Around:
        """What is heard round a station of ``area``."""
        neighbours = None if area is None else self._areas.get(area)
        return Around(None if neighbours is None else neighbours.area(at_ms), self._all.area(at_ms))
