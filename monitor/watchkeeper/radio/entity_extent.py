"""How far from the country file's reference point an entity reaches, to tell whether a locator can lie in it.

Rounded up from the map, islands of the entity included; the tests hold the table to the country outlines of Natural
Earth. Only the large ones are listed.
"""

from __future__ import annotations

from functools import lru_cache

from watchkeeper.radio import locator
from watchkeeper.radio.entity import Placed
from watchkeeper.radio.geodesic import inverse
from watchkeeper.radio.place import Point

_USUAL_KM = 900.0
#: half the diagonal of a square at the equator: its centre can lie so far outside
_SQUARE_KM = 125.0

#: ADIF entity code → kilometres
_KM = {
    1: 4700, 6: 2600, 13: 3400, 15: 5000, 31: 1500, 46: 1000, 48: 1500, 50: 2000, 53: 1200, 54: 2300, 100: 2500,
    104: 1200, 108: 3000, 112: 2900, 116: 1300, 130: 1900, 136: 1400, 148: 1100, 150: 2900, 163: 1300, 170: 1300,
    173: 2200, 175: 1700, 181: 1500, 187: 1200, 224: 1100, 227: 1000, 232: 1300, 237: 1800, 266: 1700, 281: 1000,
    284: 1200, 288: 1000, 291: 3100, 293: 1200, 301: 1200, 309: 1300, 318: 3100, 324: 2100, 327: 3500, 330: 1400,
    339: 1900, 363: 1500, 372: 1300, 375: 1300, 378: 1500, 387: 1100, 390: 1200, 400: 1200, 401: 1100, 410: 1400,
    414: 1700, 436: 1300, 438: 1100, 442: 1200, 444: 1100, 446: 1300, 450: 1100, 462: 1300, 464: 1100, 466: 1300,
    470: 1100, 478: 1400, 521: 1100,
}  # fmt: skip


def fits(placed: Placed, square: str) -> bool | None:
    """Say whether a locator can lie where a call sign belongs; None for a call that belongs nowhere in particular."""
    if placed.entity is None or placed.latitude is None or placed.longitude is None:
        return None
    return _distance_km(placed.latitude, placed.longitude, square) <= (
        _KM.get(placed.entity.code, _USUAL_KM) + _SQUARE_KM
    )


@lru_cache(maxsize=8192)
def _distance_km(latitude: float, longitude: float, square: str) -> float:
    return inverse(Point(latitude, longitude), locator.centre(square)).distance_km
