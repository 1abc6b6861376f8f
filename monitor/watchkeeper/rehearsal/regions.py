"""Where the simulated stations live: regions with an activity weight, and call signs that belong to nobody.

Weights, centres and radii are plausible figures of our own, not a census. Every call sign ends in a suffix from QRA to
QUZ, which administrations do not issue because the Q code uses them (ITU Radio Regulations, Article 19; Recommendation
ITU-R M.1172).
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from math import cos, pi, radians, sin, sqrt
from random import Random

from watchkeeper.radio import locator

SUFFIXES = tuple(f"Q{middle}{last}" for middle in "RSTU" for last in "ABCDEFGHIJKLMNOPQRSTUVWXYZ")
_KM_PER_DEGREE = 111.2


@dataclass(frozen=True, slots=True)
class Region:
    """A patch of land of one entity: ``dxcc`` is ADIF's entity code, the radius reaches no sea and no neighbour."""

    index: int
    dxcc: int
    name: str
    prefixes: tuple[str, ...]
    latitude: float
    longitude: float
    radius_km: float
    weight: float


@cache
def regions() -> tuple[Region, ...]:
    """Return all regions in the order of the table."""
    text = files("watchkeeper.rehearsal").joinpath("data", "regions.csv").read_text(encoding="utf-8")
    return tuple(_region(index, row) for index, row in enumerate(csv.DictReader(text.splitlines())))


def _region(index: int, row: dict[str, str]) -> Region:
    return Region(
        index,
        int(row["dxcc"]),
        row["place"],
        tuple(prefix + digit for prefix in row["prefixes"].split() for digit in row["digits"].split() or [""]),
        float(row["latitude"]),
        float(row["longitude"]),
        float(row["radius_km"]),
        float(row["weight"]),
    )


def place_in(region: Region, random: Random) -> tuple[float, float]:
    """Return a place (latitude, longitude) anywhere within the region's circle."""
    away_km, bearing = region.radius_km * sqrt(random.random()), 2 * pi * random.random()
    latitude = region.latitude + away_km * cos(bearing) / _KM_PER_DEGREE
    longitude = region.longitude + away_km * sin(bearing) / (_KM_PER_DEGREE * cos(radians(region.latitude)))
    return latitude, (longitude + 180.0) % 360.0 - 180.0


def locator_of(place: tuple[float, float]) -> str:
    """Return the four characters that stations send."""
    return locator.from_point(place[0], place[1], 4)


class CallBook:
    """Hands out call signs, none of them twice at a time."""

    def __init__(self, random: Random) -> None:
        self._random = random
        self._taken: set[str] = set()

    def take(self, region: Region) -> str:
        """Return a call sign of ``region`` that nobody on the air has."""
        for _ in range(1000):
            call = self._random.choice(region.prefixes) + self._random.choice(SUFFIXES)
            if call not in self._taken:
                self._taken.add(call)
                return call
        raise RuntimeError(f"all call signs of {region.name} are on the air at once")

    def reserve(self, call: str) -> None:
        """Never hand out ``call``."""
        self._taken.add(call)

    def give_back(self, call: str) -> None:
        """Let a call sign be taken again."""
        self._taken.discard(call)
