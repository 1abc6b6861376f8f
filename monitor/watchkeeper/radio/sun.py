"""Where the Sun stands: elevation, azimuth, rise and set, the grey line.

Low-accuracy method of J. Meeus, *Astronomical Algorithms*, 2nd edition, chapters 12, 13, 22 and 25: good to 0.01° from
1950 to 2050. Latitudes are degrees north, longitudes degrees **east**. Elevations are geometric: refraction is left
out. Terrestrial Time is taken as UTC; the minute between them moves the Sun by less than 0.001°.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from functools import lru_cache
from math import acos, asin, atan2, cos, degrees, radians, sin
from typing import NamedTuple

from watchkeeper.radio import geodesic
from watchkeeper.radio.place import Point

#: zenith distance of the Sun's centre at rise and set: 50′ of refraction and semidiameter below the horizon
OFFICIAL_ZENITH_DEG = 90.833
CIVIL_ZENITH_DEG = 96.0
NAUTICAL_ZENITH_DEG = 102.0
ASTRONOMICAL_ZENITH_DEG = 108.0

_J2000_S = datetime(2000, 1, 1, 12, tzinfo=UTC).timestamp()
_DAYS_PER_CENTURY = 36525.0


class _Sun(NamedTuple):
    """Apparent place: sine and cosine of the declination, and the hour angle at Greenwich in degrees."""

    sin_declination: float
    cos_declination: float
    greenwich_hour_angle_deg: float


class Daylight(NamedTuple):
    """Rise and set around one local noon, UTC."""

    rise: datetime
    set: datetime


class PathSun(NamedTuple):
    """Elevation of the Sun in degrees at both ends of a path and at its middle."""

    start_deg: float
    midpoint_deg: float
    end_deg: float

    @property
    def grey(self) -> bool:
        """Whether any of the three places lies in the grey line."""
        return any(is_twilight(elevation) for elevation in self)


@lru_cache(maxsize=1024)
def _apparent(timestamp: float) -> _Sun:
    """Return the apparent place of the Sun at a POSIX time (Meeus, equations 25.2 to 25.8 and 12.4)."""
    days = (timestamp - _J2000_S) / 86400.0
    t = days / _DAYS_PER_CENTURY
    anomaly = radians(357.52911 + t * (35999.05029 - t * 0.0001537))
    centre = (
        (1.914602 - t * (0.004817 + t * 0.000014)) * sin(anomaly)
        + (0.019993 - t * 0.000101) * sin(2 * anomaly)
        + 0.000289 * sin(3 * anomaly)
    )
    node = radians(125.04 - 1934.136 * t)
    mean_longitude = 280.46646 + t * (36000.76983 + t * 0.0003032)
    longitude = radians(mean_longitude + centre - 0.00569 - 0.00478 * sin(node))
    obliquity = radians(23.4392911 - t * 0.0130042 + 0.00256 * cos(node))
    right_ascension_deg = degrees(atan2(cos(obliquity) * sin(longitude), cos(longitude)))
    sidereal_deg = 280.46061837 + 360.98564736629 * days + 0.000387933 * t * t - 0.00478 * sin(node) * cos(obliquity)
    declination = asin(sin(obliquity) * sin(longitude))
    return _Sun(sin(declination), cos(declination), (sidereal_deg - right_ascension_deg) % 360.0)


def _timestamp(at: datetime) -> float:
    if at.tzinfo is None:
        raise ValueError(f"time without a zone: {at.isoformat()}")
    return at.timestamp()


def elevation_deg(latitude: float, longitude: float, at: datetime) -> float:
    """Return the elevation of the Sun's centre in degrees, −90 to 90, without refraction."""
    sun = _apparent(_timestamp(at))
    hour_angle = radians(sun.greenwich_hour_angle_deg + longitude)
    phi = radians(latitude)
    height = sin(phi) * sun.sin_declination + cos(phi) * sun.cos_declination * cos(hour_angle)
    return degrees(asin(max(-1.0, min(1.0, height))))


def azimuth_deg(latitude: float, longitude: float, at: datetime) -> float:
    """Return the azimuth of the Sun in degrees from true north through east, 0 to 360."""
    sun = _apparent(_timestamp(at))
    hour_angle = radians(sun.greenwich_hour_angle_deg + longitude)
    phi = radians(latitude)
    west = sun.cos_declination * sin(hour_angle)
    south = sun.cos_declination * cos(hour_angle) * sin(phi) - sun.sin_declination * cos(phi)
    return (degrees(atan2(west, south)) + 180.0) % 360.0


def subsolar_point(at: datetime) -> tuple[float, float]:
    """Return (latitude, longitude) in degrees of the place that has the Sun overhead; longitude −180 to 180."""
    sun = _apparent(_timestamp(at))
    longitude = (180.0 - sun.greenwich_hour_angle_deg) % 360.0 - 180.0
    return degrees(asin(sun.sin_declination)), longitude


def rise_set(latitude: float, longitude: float, day: date, zenith_deg: float = OFFICIAL_ZENITH_DEG) -> Daylight | None:
    """Return rise and set on ``day``, or None where the Sun does not cross ``zenith_deg`` that day.

    The day is the place's solar one: the pair lies around the noon that falls on ``day`` there, so far from Greenwich
    one of them can bear a neighbouring UTC date. Other zenith distances give dawn and dusk.
    """
    midnight = datetime(day.year, day.month, day.day, tzinfo=UTC).timestamp()
    noon = _transit(midnight + 43200.0 - longitude * 240.0, longitude)
    crossings = [_crossing(noon, side, latitude, longitude, zenith_deg) for side in (-1, 1)]
    rise, set_ = (None if at is None else datetime.fromtimestamp(at, UTC) for at in crossings)
    return None if rise is None or set_ is None else Daylight(rise, set_)


def _transit(near: float, longitude: float) -> float:
    """Return the POSIX time of the Sun's upper transit next to ``near``."""
    hour_angle = (_apparent(near).greenwich_hour_angle_deg + longitude + 180.0) % 360.0 - 180.0
    return near - hour_angle * 240.0


def _crossing(noon: float, side: int, latitude: float, longitude: float, zenith_deg: float) -> float | None:
    """Return the POSIX time before (side −1) or after (+1) ``noon`` at which the Sun crosses ``zenith_deg``."""
    phi = radians(latitude)
    at = noon
    for _ in range(5):  # the declination moves by at most 0.2° between noon and the crossing: this settles to 0.1 s
        sun = _apparent(at)
        beside = cos(phi) * sun.cos_declination
        if beside < 1e-9:
            return None
        cosine = (cos(radians(zenith_deg)) - sin(phi) * sun.sin_declination) / beside
        if not -1.0 <= cosine <= 1.0:
            return None
        wanted = side * degrees(acos(cosine))
        actual = (sun.greenwich_hour_angle_deg + longitude + 180.0) % 360.0 - 180.0
        step = (wanted - actual + 180.0) % 360.0 - 180.0
        at += step * 240.0
    return at


def is_twilight(elevation: float) -> bool:
    """Say whether a Sun at ``elevation`` degrees makes civil twilight, 0° to 6° below the horizon."""
    return -6.0 <= elevation <= 0.0


def is_grey_line(latitude: float, longitude: float, at: datetime) -> bool:
    """Say whether a place lies in the grey line, the band of twilight between day and night.

    No standard gives the band a width; the limits of civil twilight are used here.
    """
    return is_twilight(elevation_deg(latitude, longitude, at))


def along_path(start: Point, end: Point, at: datetime) -> PathSun:
    """Return the Sun's elevation at ``start``, at ``end`` and in the middle of the short path between them."""
    middle = geodesic.midpoint(start, end)
    return PathSun(elevation_deg(*start, at), elevation_deg(*middle, at), elevation_deg(*end, at))
