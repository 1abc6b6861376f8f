"""Distance and azimuth on the WGS 84 ellipsoid (Karney's method, as GeographicLib computes it)."""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

from geographiclib.constants import Constants
from geographiclib.geodesic import Geodesic

from watchkeeper.radio.locator import centre
from watchkeeper.radio.place import Point

#: WGS 84's mean circumference, 2π × the IUGG mean radius of 6371.0088 km: what the long way round is reckoned from
CIRCUMFERENCE_KM = 40030.230

_WGS84 = Geodesic(Constants.WGS84_a, Constants.WGS84_f)


class Path(NamedTuple):
    """The way from one place to another.

    ``azimuth_deg`` is the bearing at the start, ``back_azimuth_deg`` the bearing at the end that leads back to the
    start, both clockwise from north, 0 ≤ azimuth < 360.
    """

    distance_km: float
    azimuth_deg: float
    back_azimuth_deg: float


def inverse(a: Point, b: Point) -> Path:
    """The shortest way from ``a`` to ``b``. From a place to itself the azimuth is undefined and given as 0."""
    solved = _WGS84.Inverse(a.latitude, a.longitude, b.latitude, b.longitude)
    distance_km = solved["s12"] / 1000
    if distance_km == 0:
        return Path(0.0, 0.0, 0.0)
    return Path(distance_km, _bearing(solved["azi1"]), _bearing(solved["azi2"] + 180))


@lru_cache(maxsize=16384)
def between(locator_a: str, locator_b: str) -> Path:
    """The shortest way between the centres of two locators, remembered; ``ValueError`` where one is no locator."""
    return inverse(centre(locator_a), centre(locator_b))


def direct(start: Point, azimuth_deg: float, distance_km: float) -> Point:
    """Where one arrives after ``distance_km`` from ``start`` in the direction ``azimuth_deg``."""
    solved = _WGS84.Direct(start.latitude, start.longitude, azimuth_deg, distance_km * 1000)
    return Point(solved["lat2"], solved["lon2"])


def long_path(path: Path) -> Path:
    """The way round the other side of the Earth.

    The opposite azimuths, and what the short way leaves of the mean circumference: the ellipsoid's great circles differ
    from it by at most 0.12 % (22 km less over the poles, 45 km more along the equator).
    """
    return Path(
        CIRCUMFERENCE_KM - path.distance_km, _bearing(path.azimuth_deg + 180), _bearing(path.back_azimuth_deg + 180)
    )


def midpoint(a: Point, b: Point) -> Point:
    """The place half-way along the shortest way."""
    path = inverse(a, b)
    return direct(a, path.azimuth_deg, path.distance_km / 2)


def _bearing(degrees: float) -> float:
    turned = degrees % 360.0
    return 0.0 if turned == 360.0 else turned  # a tiny negative angle is rounded up to the full circle
