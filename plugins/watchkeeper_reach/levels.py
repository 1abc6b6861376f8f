"""What was heard of each station, kept long enough for reports of us that arrive minutes late."""

from __future__ import annotations

from collections import OrderedDict, deque
from functools import lru_cache
from math import exp
from statistics import NormalDist, median
from typing import NamedTuple

#: stations and levels remembered
MOST_STATIONS = 3_000
MOST_LEVELS = 24
#: a report is compared with a level of ours at most this far from it in time
NEAR_MS = 5 * 60_000
#: slow fading of the short waves: standard deviation, and time after which 1/e of a deviation is left (common
#: practice, no source)
FADING_DB = 3.5
FADING_MS = 90_000
#: how far back the level of the last minutes looks, and how fast what lies back loses weight
LATELY_MS = 6 * 60_000
SMOOTH_MS = 120_000
#: neighbours older than this say nothing of the path now
AREA_MS = 30 * 60_000
MOST_AREAS = 400
#: what is heard at the limit is taken to lie no farther below it (common practice, no source)
MOST_BELOW_DB = 4.0
_NORMAL = NormalDist()
#: the area that all belong to
_ALL = "*"


class Level(NamedTuple):
    """How strong a station was in one period, by which source, and whether that was the least that is displayed."""

    at_ms: int
    snr_db: float
    source: str
    at_floor: bool


class Area(NamedTuple):
    """The stations round a place: how strong they are, and how many."""

    median_db: float
    stations: int


class Around(NamedTuple):
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


class Levels:
    """Levels by band and station, and by band and area."""

    def __init__(self) -> None:
        self._trails: OrderedDict[tuple[str, str], deque[Level]] = OrderedDict()
        self._areas: OrderedDict[tuple[str, str], OrderedDict[str, tuple[int, float]]] = OrderedDict()
        self._medians: dict[tuple[str, str], tuple[int, Area]] = {}

    def heard(self, band: str, call: str, area: str | None, level: Level) -> None:
        """Enter one level."""
        key = (band, call)
        trail = self._trails.get(key)
        if trail is None:
            trail = self._trails[key] = deque(maxlen=MOST_LEVELS)
            if len(self._trails) > MOST_STATIONS:
                self._trails.popitem(last=False)
        else:
            self._trails.move_to_end(key)
        if trail and trail[-1].at_ms == level.at_ms:
            trail.pop()
        trail.append(level)
        self._enter_area((band, _ALL), call, level)
        if area is not None:
            self._enter_area((band, area), call, level)

    def _enter_area(self, key: tuple[str, str], call: str, level: Level) -> None:
        known = self._areas.get(key)
        if known is None:
            known = self._areas[key] = OrderedDict()
            if len(self._areas) > MOST_AREAS:
                gone, _ = self._areas.popitem(last=False)
                self._medians.pop(gone, None)
        else:
            self._areas.move_to_end(key)
        known[call] = (level.at_ms, level.snr_db)
        known.move_to_end(call)

    def near(self, band: str, call: str, at_ms: int) -> Level | None:
        """The level nearest in time, at most :data:`NEAR_MS` away."""
        trail = self._trails.get((band, call), ())
        found = min(trail, key=lambda level: (abs(level.at_ms - at_ms), level.at_ms), default=None)
        return found if found is not None and abs(found.at_ms - at_ms) <= NEAR_MS else None

    def lately(self, band: str, call: str, at_ms: int, least_db: float) -> float | None:
        """The level of the last minutes, the newer the more: one hearing alone tells more of fading than of the path.

        Levels at the displayed floor count as ``least_db``. None where there is none.
        """
        weights = 0.0
        total_db = 0.0
        for level in self._trails.get((band, call), ()):
            if 0 <= at_ms - level.at_ms <= LATELY_MS:
                weight = exp((level.at_ms - at_ms) / SMOOTH_MS)
                weights += weight
                total_db += weight * (least_db if level.at_floor else level.snr_db)
        return total_db / weights if weights else None

    def around(self, band: str, area: str | None, at_ms: int) -> Around:
        """What is heard round a station of ``area``."""
        return Around(self._area(band, area, at_ms), self._area(band, _ALL, at_ms))

    def _area(self, band: str, area: str | None, at_ms: int) -> Area | None:
        """How strong the area's stations are; reckoned once a period."""
        if area is None:
            return None
        key = (band, area)
        cached = self._medians.get(key)
        if cached is not None and cached[0] == at_ms:
            return cached[1]
        known = self._areas.get(key)
        if not known:
            return None
        while known and next(iter(known.values()))[0] < at_ms - AREA_MS:
            known.popitem(last=False)
        if not known:
            return None
        found = Area(median([level_db for _, level_db in known.values()]), len(known))
        self._medians[key] = (at_ms, found)
        return found
