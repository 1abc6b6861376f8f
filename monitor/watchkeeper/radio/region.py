"""The ITU region of a place: Radio Regulations 5.2-5.9, the lines A, B and C and the countries that the treaty names.

Over the latitudes each line has one longitude, so a place is told by where it lies between them: from B eastwards to A
is Region 1, from A to C Region 3, from C to B Region 2. Named countries (5.3, 5.5) belong to a region as a whole,
whatever side of a line they lie on.
"""

from __future__ import annotations

from itertools import pairwise
from math import acos, atan2, cos, degrees, radians, sin, tan
from typing import NamedTuple

from watchkeeper.radio.locator import from_point
from watchkeeper.radio.place import Point
from watchkeeper.radio.subdivision import countries

_BERING_STRAIT = Point(65.5, -(168 + 58 / 60 + 37 / 3600))  # the boundary of 1867 that line C names
_TROPIC_OF_CANCER = 23 + 26 / 60

# RR 5.7-5.9 from the North Pole on: the last point is followed by its meridian, as is the first before it.
_LINE_A = (Point(40, 40), Point(_TROPIC_OF_CANCER, 60))
_LINE_B = (Point(72, -10), Point(40, -50), Point(-10, -20))
_LINE_C = (_BERING_STRAIT, Point(50, 165), Point(10, -170), Point(10, -120))

# RR 5.3 and 5.5: countries by the outlines' names, and ADIF's codes of their entities.
_COUNTRIES = {
    "Armenia": 1,
    "Azerbaijan": 1,
    "Georgia": 1,
    "Iran": 3,
    "Kazakhstan": 1,
    "Kyrgyzstan": 1,
    "Mongolia": 1,
    "Russia": 1,
    "Tajikistan": 1,
    "Turkmenistan": 1,
    "Türkiye": 1,
    "Ukraine": 1,
    "Uzbekistan": 1,
}
_IRAN = 330
_ENTITIES = dict.fromkeys((14, 15, 18, 54, 61, 75, 126, 130, 135, 262, 280, 288, 292, 363, 390), 1) | {_IRAN: 3}

# North of this, all between A and C is Russian land or the sea north of the Russian Federation, which is in Region 1.
_ARCTIC_LATITUDE = 66.0


class _Crossings(NamedTuple):
    """The longitudes of the lines at one latitude."""

    a: float
    b: float
    c: float


def itu_region(latitude: float, longitude: float, entity_code: int | None = None) -> int:
    """The ITU region (1, 2 or 3) of a place in degrees, north and east positive.

    ``entity_code`` (ADIF's) tells the country where it is known; else the country outlines do. A place on a line counts
    to the east of it. ``ValueError`` for a latitude beyond ±90°.
    """
    if not -90 <= latitude <= 90:
        raise ValueError(f"the latitude must lie within -90 to 90 degrees, not {latitude}")
    by_treaty = _by_outline(latitude, longitude) if entity_code is None else _ENTITIES.get(entity_code)
    return by_treaty or _by_lines(latitude, longitude)


def _by_outline(latitude: float, longitude: float) -> int | None:
    found = countries(from_point(latitude, longitude, 6))
    return _COUNTRIES.get(found[0][0]) if found else None


def _by_lines(latitude: float, longitude: float) -> int:
    lines = _Crossings(*(_longitude_of(line, latitude) for line in (_LINE_A, _LINE_B, _LINE_C)))
    if _east_of(lines.b, longitude) < _east_of(lines.b, lines.a):
        return 1
    if _east_of(lines.c, longitude) < _east_of(lines.c, lines.b):
        return 2
    return 1 if latitude >= _ARCTIC_LATITUDE else 3


def _east_of(start: float, longitude: float) -> float:
    """How many degrees a longitude lies east of another, 0 ≤ angle < 360."""
    return (longitude - start) % 360.0


def _longitude_of(line: tuple[Point, ...], latitude: float) -> float:
    """Where a line crosses a parallel. Its points run southwards; it ends in the last one's meridian."""
    if latitude >= line[0].latitude:
        return line[0].longitude
    for north, south in pairwise(line):
        if latitude > south.latitude:
            return _great_circle_longitude(north, south, latitude)
    return line[-1].longitude


def _great_circle_longitude(north: Point, south: Point, latitude: float) -> float:
    """Where the great circle between two points, on which latitude falls steadily, crosses a parallel."""
    lat1, lon1, lat2, lon2 = map(radians, (*north, *south))
    # The normal of the circle's plane, the vector product of its ends; n · p = 0 for the wanted point p.
    x = cos(lat1) * sin(lon1) * sin(lat2) - sin(lat1) * cos(lat2) * sin(lon2)
    y = sin(lat1) * cos(lat2) * cos(lon2) - cos(lat1) * cos(lon1) * sin(lat2)
    z = cos(lat1) * cos(lat2) * sin(lon2 - lon1)
    steepest = atan2(y, x)
    aside = acos(max(-1.0, min(1.0, -z * tan(radians(latitude)) / (x * x + y * y) ** 0.5)))
    return degrees(steepest - aside)  # the crossing at plus is the one on the way north
