"""The ionosphere of the simulated world: critical frequencies and absorption over the globe at one moment.

Simple published forms, so that each can be checked by itself:

* E layer: Chapman layer, ``foE = 0.9 [(180 + 1.44 R) cos χ]^0.25`` MHz (K. Davies, *Ionospheric Radio*, 1990; from
  memory).
* F2 layer: Chapman production with linear loss, ``dN/dt = q(χ) − βN`` (H. Rishbeth and O. K. Garriott, *Introduction to
  Ionospheric Physics*, 1969; from memory), N proportional to foF2² and to ``1 + 0.02 R``. Loss is slower by night, when
  the layer stands higher, and on winter days, when the air holds fewer molecules: that gives the winter anomaly.
* D layer: the absorption index ``(1 + 0.0037 R) cos(0.881 χ)^1.3``, never below 0.1 (D. L. Lucas and G. W. Haydon, ESSA
  Technical Report IER 1-ITSA-1, 1966; from memory).

R is the smoothed sunspot number, χ the Sun's zenith distance. Longitudes are degrees east. The globe is divided into
cells of 5° × 5°; the constants that no source gives are chosen so that a middle latitude at an equinox noon with R =
100 has foF2 = 10 MHz.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import acos, asin, cos, degrees, exp, pi, radians, sin

from watchkeeper.radio import sun
from watchkeeper.schema.events import from_ms

CELL_DEG = 5
ROWS = 180 // CELL_DEG
COLUMNS = 360 // CELL_DEG

#: geomagnetic north pole of the dipole field (IGRF, about 2020; from memory)
_POLE_LATITUDE = radians(80.7)
_POLE_LONGITUDE = radians(-72.7)
_STEPS_PER_DAY = 96
_STEP_H = 24 / _STEPS_PER_DAY
_LOSS_BY_DAY_PER_H = 0.4
_LOSS_BY_NIGHT_PER_H = 0.11
#: brings an equinox noon at 45° with R = 100 to foF2 = 10 MHz
_F2_SCALE = 41.0
_F2_FLOOR_MHZ = 1.5
_E_FLOOR_MHZ = 0.6
_ABSORPTION_FLOOR = 0.1


@dataclass(frozen=True, slots=True)
class Cloud:
    """A patch of sporadic E: place in degrees, radius, critical frequency and life in ms of event time."""

    latitude: float
    longitude: float
    radius_km: float
    peak_mhz: float
    from_ms: int
    to_ms: int


@dataclass(frozen=True, slots=True)
class Conditions:
    """What rules the ionosphere beyond the Sun's place: sunspot number, planetary K index, and departures of this
    world.
    """

    sunspots: float = 80.0
    k_index: float = 2.0
    muf_factor: float = 1.0
    absorption_factor: float = 1.0


@dataclass(frozen=True, slots=True)
class Ionosphere:
    """The layers at one moment, one value a cell (see ``cell``): MHz for layers, an index for absorption."""

    at_ms: int
    f2_mhz: Sequence[float]
    e_mhz: Sequence[float]
    absorption: Sequence[float]
    auroral_db: Sequence[float]
    sporadic_mhz: dict[int, float]


def cell(latitude: float, longitude: float) -> int:
    """Return the index of the cell that holds a place in degrees."""
    row = min(ROWS - 1, int((latitude + 90.0) // CELL_DEG))
    return row * COLUMNS + int((longitude + 180.0) % 360.0 // CELL_DEG)


def centre(index: int) -> tuple[float, float]:
    """Return latitude and longitude in degrees of a cell's centre."""
    row, column = divmod(index, COLUMNS)
    return row * CELL_DEG - 90.0 + CELL_DEG / 2, column * CELL_DEG - 180.0 + CELL_DEG / 2


def magnetic_latitude_deg(latitude: float, longitude: float) -> float:
    """Return the latitude in degrees with respect to the dipole's axis."""
    phi, lam = radians(latitude), radians(longitude)
    height = sin(phi) * sin(_POLE_LATITUDE) + cos(phi) * cos(_POLE_LATITUDE) * cos(lam - _POLE_LONGITUDE)
    return degrees(asin(max(-1.0, min(1.0, height))))


def critical_e_mhz(zenith_deg: float, sunspots: float) -> float:
    """Return foE in MHz; by night a floor of 0.6 MHz."""
    height = cos(radians(zenith_deg))
    if height <= 0:
        return _E_FLOOR_MHZ
    return max(_E_FLOOR_MHZ, 0.9 * float(((180 + 1.44 * sunspots) * height) ** 0.25))


def absorption_index(zenith_deg: float, sunspots: float) -> float:
    """Return the absorption index of the D layer, 0.1 by night to about 1.4 under a high Sun."""
    angle = 0.881 * zenith_deg
    height = cos(radians(angle)) if angle < 90.0 else 0.0
    return max(_ABSORPTION_FLOOR, (1 + 0.0037 * sunspots) * float(height**1.3))


def critical_f2_mhz(latitude: float, longitude: float, at_ms: int, conditions: Conditions) -> float:
    """Return foF2 in MHz over a place in degrees."""
    row = min(ROWS - 1, int((latitude + 90.0) // CELL_DEG))
    declination, noon_longitude = sun.subsolar_point(from_ms(at_ms))
    local_h = (12.0 + (longitude - noon_longitude) / 15.0) % 24.0
    density = _density(row, round(declination, 1), int(local_h / _STEP_H) % _STEPS_PER_DAY)
    density *= (
        _F2_SCALE * (1 + 0.02 * conditions.sunspots) * _by_magnetic_latitude(latitude, longitude, conditions.k_index)
    )
    return float(max(_F2_FLOOR_MHZ, density**0.5) * conditions.muf_factor)


def ionosphere(at_ms: int, conditions: Conditions, clouds: Sequence[Cloud] = ()) -> Ionosphere:
    """Return the layers over all cells at ``at_ms``."""
    declination, noon_longitude = sun.subsolar_point(from_ms(at_ms))
    sin_declination, cos_declination = sin(radians(declination)), cos(radians(declination))
    scale = _F2_SCALE * (1 + 0.02 * conditions.sunspots)
    f2: list[float] = []
    e: list[float] = []
    absorption: list[float] = []
    for row in range(ROWS):
        phi = radians(row * CELL_DEG - 90.0 + CELL_DEG / 2)
        day = _day(row, round(declination, 1))
        for column in range(COLUMNS):
            longitude = column * CELL_DEG - 180.0 + CELL_DEG / 2
            hour_angle = longitude - noon_longitude
            height = sin(phi) * sin_declination + cos(phi) * cos_declination * cos(radians(hour_angle))
            zenith_deg = degrees(acos(max(-1.0, min(1.0, height))))
            step = int(((12.0 + hour_angle / 15.0) % 24.0) / _STEP_H) % _STEPS_PER_DAY
            shape = _magnetic_shape(round(conditions.k_index, 1))[row * COLUMNS + column]
            f2.append(max(_F2_FLOOR_MHZ, (day[step] * scale * shape) ** 0.5) * conditions.muf_factor)
            e.append(critical_e_mhz(zenith_deg, conditions.sunspots))
            absorption.append(absorption_index(zenith_deg, conditions.sunspots) * conditions.absorption_factor)
    return Ionosphere(at_ms, f2, e, absorption, _auroral_db(round(conditions.k_index, 1)), _sporadic(at_ms, clouds))


def _density(row: int, declination: float, step: int) -> float:
    return _day(row, declination)[step]


@lru_cache(maxsize=4096)
def _day(row: int, declination: float) -> tuple[float, ...]:
    """Return the relative electron density of the F2 layer over one day of local time, the day repeating itself."""
    latitude = row * CELL_DEG - 90.0 + CELL_DEG / 2
    phi, delta = radians(latitude), radians(declination)
    # +1 at the height of summer, −1 in the depth of winter, nothing on the equator
    season = declination / 23.44 * (1 if latitude > 0 else -1) * min(1.0, abs(latitude) / 40.0)
    density = 0.3
    days: list[float] = []
    for step in range(3 * _STEPS_PER_DAY):
        hour_angle = (step * _STEP_H - 12.0) * pi / 12.0
        height = sin(phi) * sin(delta) + cos(phi) * cos(delta) * cos(hour_angle)
        # at 300 km the Sun stays up until it is 17° below the horizon of the ground; production fades out on the way
        lit = max(0.0, (height + 0.12) / 1.12)
        loss = _LOSS_BY_DAY_PER_H * exp(0.7 * season) if height > 0 else _LOSS_BY_NIGHT_PER_H
        balance = _LOSS_BY_DAY_PER_H * lit**0.6 / loss
        density = balance + (density - balance) * exp(-loss * _STEP_H)
        days.append(density)
    return tuple(days[-_STEPS_PER_DAY:])


def _by_magnetic_latitude(latitude: float, longitude: float, k_index: float) -> float:
    """Return the factor of the equatorial anomaly's crests, the polar trough and a magnetic storm on density."""
    magnetic = abs(magnetic_latitude_deg(latitude, longitude))
    crest = 0.6 * exp(-(((magnetic - 15.0) / 10.0) ** 2))
    polar = 0.45 / (1 + exp(-(magnetic - 62.0) / 4.0))
    storm = min(0.5, max(0.0, 0.05 * (k_index - 2.0))) / (1 + exp(-(magnetic - 40.0) / 6.0))
    return (1 + crest) * (1 - polar) * (1 - storm)


@lru_cache(maxsize=64)
def _magnetic_shape(k_index: float) -> tuple[float, ...]:
    return tuple(_by_magnetic_latitude(*centre(index), k_index) for index in range(ROWS * COLUMNS))


@lru_cache(maxsize=64)
def _auroral_db(k_index: float) -> tuple[float, ...]:
    """Return the loss in dB at 14 MHz of one crossing of the auroral zone, strongest at 67° magnetic latitude."""
    strength = 0.35 * k_index**1.5
    return tuple(
        strength * exp(-(((abs(magnetic_latitude_deg(*centre(index))) - 67.0) / 6.0) ** 2))
        for index in range(ROWS * COLUMNS)
    )


def _sporadic(at_ms: int, clouds: Sequence[Cloud]) -> dict[int, float]:
    """Return the critical frequency of sporadic E in MHz for the cells that a cloud covers; it swells and fades."""
    found: dict[int, float] = {}
    for cloud in clouds:
        if not cloud.from_ms <= at_ms < cloud.to_ms:
            continue
        age = (at_ms - cloud.from_ms) / (cloud.to_ms - cloud.from_ms)
        critical = cloud.peak_mhz * sin(pi * age) ** 0.5
        for index in covered(cloud):
            found[index] = max(found.get(index, 0.0), critical)
    return found


@lru_cache(maxsize=256)
def covered(cloud: Cloud) -> tuple[int, ...]:
    """Return the cells whose centre lies within a cloud, at least the one that holds its own centre."""
    own = cell(cloud.latitude, cloud.longitude)
    phi, reach = radians(cloud.latitude), cos(cloud.radius_km / 6371.009)
    inside = {own}
    for index in range(ROWS * COLUMNS):
        latitude, longitude = centre(index)
        theta = radians(latitude)
        nearness = sin(phi) * sin(theta) + cos(phi) * cos(theta) * cos(radians(longitude - cloud.longitude))
        if nearness >= reach:
            inside.add(index)
    return tuple(sorted(inside))
