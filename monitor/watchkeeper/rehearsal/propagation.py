"""The way of a signal: hops over the globe, what each layer lets through, and the loss between two places.

Hop geometry follows ITU-R P.533 as ``radio.link`` has it (mirror reflection, no ray below 3°, no hop above 4,000 km). A
layer carries what lies below its critical frequency times the secant of the angle of incidence; above that the loss
grows as P.533 has it: ``36 √(f/MUF − 1)`` dB, at most 62, for F2 and ``46 √(f/MUF − 1) + 5``, at most 58, for E (from
memory). The E layer screens F2 below 1.05 times its own MUF. Absorption of a hop is ``677.2 I sec φ / ((f + 1.2)^1.98 +
10.2)`` dB with the index I of ``ionosphere`` (Lucas and Haydon, 1966; from memory). Each ground reflection costs 2 dB,
all that is not counted 8.7 dB (P.533; from memory), the lost polarisation 3 dB.

The path is the same both ways, so its loss is.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import asin, atan2, ceil, cos, degrees, hypot, log10, pi, radians, sin, sqrt

from watchkeeper.radio import link
from watchkeeper.rehearsal.ionosphere import Ionosphere, cell

#: height at which the absorption index is meant, km
D_LAYER_KM = 100.0
NO_PATH_DB = 400.0
_GROUND_REFLECTION_DB = 2.0
_NOT_OTHERWISE_COUNTED_DB = 8.72
#: a wave that comes back from the ionosphere has lost its polarisation
_POLARISATION_DB = 3.0
_GYRO_MHZ = 1.2
_GROUND_WAVE_KM = 400.0
_ANTENNA_HEIGHT_M = 10.0
#: hops of F2 beyond the fewest possible that are worth a look: the next two carry when the first is above its MUF
_MORE_HOPS = 2
_MOST_HOPS = 10

Place = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Way:
    """One way over the path: a layer and a number of hops, with all that does not change with time or frequency."""

    layer: str
    hops: int
    elevation_deg: float
    #: secant of the angle of incidence at the layer: times the critical frequency it is the MUF
    secant: float
    #: the same at the E layer's height, for screening
    e_secant: float
    absorption_secant: float
    spread_db: float
    reflections: tuple[int, ...]
    crossings: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Geometry:
    """The great circle between two places and the ways over it."""

    distance_km: float
    ways: tuple[Way, ...]


def distance_km(a: Place, b: Place) -> float:
    """Return the great-circle distance between two places (latitude, longitude in degrees) on a sphere."""
    return link.EARTH_RADIUS_KM * _angle(a, b)


def azimuth_deg(a: Place, b: Place) -> float:
    """Return the bearing of ``b`` from ``a``, degrees clockwise from north."""
    phi, theta, dlon = radians(a[0]), radians(b[0]), radians(b[1] - a[1])
    east = sin(dlon) * cos(theta)
    north = cos(phi) * sin(theta) - sin(phi) * cos(theta) * cos(dlon)
    return degrees(atan2(east, north)) % 360.0


def geometry(a: Place, b: Place) -> Geometry:
    """Return the ways between two places; the same object's worth whichever is named first."""
    if b < a:
        a, b = b, a
    distance = distance_km(a, b)
    return Geometry(distance, tuple(_ways(a, b, distance)))


def loss_db(path: Geometry, layers: Ionosphere, frequency_hz: float) -> float:
    """Return the median loss in dB between isotropic antennas: the powers of all ways added, ground wave included."""
    mhz = frequency_hz / 1e6
    heard = sum(10 ** (-way_loss_db(way, layers, mhz) / 10) for way in path.ways)
    if path.distance_km < _GROUND_WAVE_KM:
        heard += 10 ** (-ground_wave_loss_db(path.distance_km, mhz) / 10)
    return -10 * log10(heard) if heard > 10 ** (-NO_PATH_DB / 10) else NO_PATH_DB


def way_loss_db(way: Way, layers: Ionosphere, mhz: float) -> float:
    """Return the loss in dB over one way."""
    loss = way.spread_db + 20 * log10(mhz) + _NOT_OTHERWISE_COUNTED_DB + _POLARISATION_DB
    loss += _GROUND_REFLECTION_DB * (way.hops - 1)
    loss += _layer_loss_db(way, layers, mhz)
    if loss > NO_PATH_DB:
        return NO_PATH_DB
    share = 677.2 * way.absorption_secant / ((mhz + _GYRO_MHZ) ** 1.98 + 10.2) / 2
    auroral = (14.0 / mhz) ** 2
    for index in way.crossings:
        loss += share * layers.absorption[index] + auroral * layers.auroral_db[index]
    return loss


def muf_mhz(way: Way, layers: Ionosphere) -> float:
    """Return the highest frequency that every reflection of a way carries (secant law)."""
    return min(_critical_mhz(way, layers, index) for index in way.reflections) * way.secant


def ground_wave_loss_db(distance: float, mhz: float) -> float:
    """Return the loss over the ground: two rays over a plane earth, and 0.15 dB/km √MHz beyond 30 km for its curvature.

    The plane-earth formula is the textbook one; the constant of the second part is chosen, no source.
    """
    metres = max(distance, 1.0) * 1000
    free_space = 32.45 + 20 * log10(mhz) + 20 * log10(max(distance, 1.0))
    plane = 40 * log10(metres) - 40 * log10(_ANTENNA_HEIGHT_M)
    return max(free_space, plane) + 0.15 * sqrt(mhz) * max(0.0, distance - 30.0)


def _critical_mhz(way: Way, layers: Ionosphere, index: int) -> float:
    if way.layer == "F2":
        return layers.f2_mhz[index]
    if way.layer == "E":
        return layers.e_mhz[index]
    return layers.sporadic_mhz.get(index, 0.0)


def _layer_loss_db(way: Way, layers: Ionosphere, mhz: float) -> float:
    """Return what the layer's MUF and the screening by the layer below take from a signal."""
    if way.layer == "Es":
        muf = muf_mhz(way, layers)
        return 3.0 * way.hops if mhz <= muf else NO_PATH_DB
    loss = 0.0
    for index in way.reflections:
        ratio = mhz / (_critical_mhz(way, layers, index) * way.secant)
        if way.layer == "F2":
            if ratio > 1.0:
                loss += min(62.0, 36.0 * sqrt(ratio - 1.0))
        elif ratio > 1.0:
            loss += min(58.0, 46.0 * sqrt(ratio - 1.0) + 5.0)
    if way.layer == "F2":
        for index in way.crossings:
            if mhz < 1.05 * layers.e_mhz[index] * way.e_secant:
                return NO_PATH_DB
    return loss


def _ways(a: Place, b: Place, distance: float) -> Iterator[Way]:
    if distance < 1.0:
        return
    arc = _Arc(a, b)
    fewest = link.hops(distance, link.F2_LAYER_KM)
    for count in range(fewest, min(_MOST_HOPS, fewest + _MORE_HOPS) + 1):
        yield _way("F2", count, arc, distance, link.F2_LAYER_KM)
    # P.533 has E modes only below 4,000 km
    if distance < link.LONGEST_HOP_KM:
        fewest = ceil(distance / link.hop_length_km(link.MINIMUM_ELEVATION_DEG, link.E_LAYER_KM))
        for count in range(fewest, fewest + 2):
            yield _way("E", count, arc, distance, link.E_LAYER_KM)
        yield _way("Es", fewest, arc, distance, link.E_LAYER_KM)


def _way(layer: str, hops: int, arc: _Arc, distance: float, height_km: float) -> Way:
    hop_km = distance / hops
    elevation = link.hop_elevation_deg(hop_km, height_km)
    half_angle = hop_km / (2 * link.EARTH_RADIUS_KM)
    radius = link.EARTH_RADIUS_KM
    # law of cosines in the triangle of the Earth's centre, the foot of the hop and the reflection
    ray_km = (
        2 * hops * sqrt(radius**2 + (radius + height_km) ** 2 - 2 * radius * (radius + height_km) * cos(half_angle))
    )
    crossing = (pi / 2 - radians(elevation) - _incidence(elevation, D_LAYER_KM)) / (2 * half_angle)
    fractions = [(hop + part) / hops for hop in range(hops) for part in (crossing, 1 - crossing)]
    return Way(
        layer,
        hops,
        elevation,
        1 / cos(_incidence(elevation, height_km)),
        1 / cos(_incidence(elevation, link.E_LAYER_KM)),
        1 / cos(_incidence(elevation, D_LAYER_KM)),
        32.45 + 20 * log10(ray_km),
        tuple(arc.cell((hop + 0.5) / hops) for hop in range(hops)),
        tuple(arc.cell(fraction) for fraction in fractions),
    )


def _incidence(elevation_deg: float, height_km: float) -> float:
    return asin(link.EARTH_RADIUS_KM * cos(radians(elevation_deg)) / (link.EARTH_RADIUS_KM + height_km))


def _angle(a: Place, b: Place) -> float:
    phi, theta = radians(a[0]), radians(b[0])
    half_lat, half_lon = sin((theta - phi) / 2), sin(radians(b[1] - a[1]) / 2)
    return 2 * asin(min(1.0, sqrt(half_lat**2 + cos(phi) * cos(theta) * half_lon**2)))


class _Arc:
    """The great circle between two places."""

    def __init__(self, a: Place, b: Place) -> None:
        self._first, self._second = _vector(a), _vector(b)
        self._angle = _angle(a, b)
        self._sine = sin(self._angle)

    def cell(self, fraction: float) -> int:
        """Return the cell at ``fraction`` (0…1) of the way; between antipodes any way is as good as another."""
        if self._sine < 1e-9:
            near, far = 1.0, 0.0
        else:
            near, far = sin((1 - fraction) * self._angle) / self._sine, sin(fraction * self._angle) / self._sine
        (ax, ay, az), (bx, by, bz) = self._first, self._second
        x, y, z = near * ax + far * bx, near * ay + far * by, near * az + far * bz
        return cell(degrees(atan2(z, hypot(x, y))), degrees(atan2(y, x)))


@lru_cache(maxsize=4096)
def _vector(place: Place) -> tuple[float, float, float]:
    phi, lam = radians(place[0]), radians(place[1])
    return cos(phi) * cos(lam), cos(phi) * sin(lam), sin(phi)
