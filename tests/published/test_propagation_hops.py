"""The simulated world's hops against ITU-R P.533's geometry and the textbook law of the skip distance.

Source of the geometry: the reference code of ITU-R Study Group 3 for Recommendation P.533 (mirror reflection, R0 =
6,371.009 km, least elevation 3°); the figures are computed from its equations.
"""

from __future__ import annotations

from math import cos, log10, radians, sqrt

import pytest

from watchkeeper.rehearsal import propagation
from watchkeeper.rehearsal.ionosphere import COLUMNS, ROWS, Ionosphere

_CELLS = ROWS * COLUMNS
_KM_PER_DEGREE = 6371.009 * 3.141592653589793 / 180


def even(f2_mhz: float, e_mhz: float = 0.6, absorption: float = 0.0) -> Ionosphere:
    """An ionosphere that is the same everywhere."""
    return Ionosphere(0, [f2_mhz] * _CELLS, [e_mhz] * _CELLS, [absorption] * _CELLS, [0.0] * _CELLS, {})


def along_equator(distance_km: float) -> propagation.Geometry:
    return propagation.geometry((0.0, 0.0), (0.0, distance_km / _KM_PER_DEGREE))


def first(path: propagation.Geometry, layer: str) -> propagation.Way:
    return next(way for way in path.ways if way.layer == layer)


@pytest.mark.parametrize(
    ("distance_km", "layer", "elevation_deg"),
    [(1000, "E", 10.050), (1000, "F2", 28.118), (2000, "F2", 11.807), (3000, "F2", 4.261)],
)
def test_elevation_of_a_single_hop(distance_km: float, layer: str, elevation_deg: float) -> None:
    way = first(along_equator(distance_km), layer)
    assert way.hops == 1
    assert way.elevation_deg == pytest.approx(elevation_deg, abs=0.01)


@pytest.mark.parametrize(("layer", "longest_km"), [("F2", 3224.5), ("E", 1775.6)])
def test_greatest_range_of_a_single_hop(layer: str, longest_km: float) -> None:
    """Heights 300 km and 110 km at 3°; the practical ranges told are 3,000 to 3,500 km and 1,500 to 1,750 km."""
    assert first(along_equator(longest_km - 1), layer).hops == 1
    assert first(along_equator(longest_km + 1), layer).hops == 2


def test_no_e_modes_from_4000_km_on() -> None:
    """P.533 has E modes only below 4,000 km."""
    assert any(way.layer == "E" for way in along_equator(3990).ways)
    assert not any(way.layer == "E" for way in along_equator(4010).ways)


@pytest.mark.parametrize(("ratio", "skip_km"), [(1.5, 694), (2.0, 1134), (2.5, 1617)])
def test_skip_distance(ratio: float, skip_km: float) -> None:
    """Nearest distance served at f = ratio × foF2: the ray with sec i = ratio (secant law), by the law of sines.

    Over a flat earth it would be 2h √(ratio² − 1), the textbook's first figure, which is always less.
    """
    f2_mhz = 7.0
    layers = even(f2_mhz)
    assert skip_km > 2 * 300 * sqrt(ratio**2 - 1)
    nearest_km = next(
        km
        for km in range(100, 3200, 5)
        if propagation.muf_mhz(first(along_equator(km), "F2"), layers) >= ratio * f2_mhz
    )
    assert nearest_km == pytest.approx(skip_km, abs=6)


def test_nothing_is_heard_inside_the_skip_zone_that_is_loud_beyond_it() -> None:
    layers = even(7.0)
    inside, beyond = (propagation.loss_db(along_equator(km), layers, 14.074e6) for km in (600, 1500))
    assert inside > beyond + 15


def test_secant_law_of_the_e_layer() -> None:
    """MUF = foE / cos(i110) (P.533): 1,000 km by the E layer, elevation 10.050°."""
    way = first(along_equator(1000), "E")
    sine = 6371.009 * cos(radians(10.050)) / (6371.009 + 110)
    assert propagation.muf_mhz(way, even(7.0, e_mhz=3.0)) == pytest.approx(3.0 / sqrt(1 - sine**2), rel=1e-3)


def test_the_e_layer_screens_what_would_reach_the_f2_layer() -> None:
    path = along_equator(1000)
    way = first(path, "F2")
    assert propagation.way_loss_db(way, even(9.0, e_mhz=4.5), 7.0) == propagation.NO_PATH_DB
    assert propagation.way_loss_db(way, even(9.0, e_mhz=1.0), 7.0) < 150


@pytest.mark.parametrize(("mhz", "distance_km"), [(14.0, 2000.0), (7.0, 1000.0)])
def test_spreading_is_that_of_free_space_along_the_ray(mhz: float, distance_km: float) -> None:
    """32.45 + 20 log f + 20 log d (ITU-R P.525), the slant way being a little longer than the ground."""
    way = first(along_equator(distance_km), "F2")
    over_ground_db = 32.45 + 20 * log10(mhz) + 20 * log10(distance_km)
    spread_db = way.spread_db + 20 * log10(mhz)
    assert over_ground_db < spread_db < over_ground_db + 2.5


def test_loss_is_the_same_both_ways() -> None:
    a, b = (48.5, 9.1), (-33.9, 151.2)
    layers = even(8.0, absorption=0.4)
    assert propagation.loss_db(propagation.geometry(a, b), layers, 14e6) == propagation.loss_db(
        propagation.geometry(b, a), layers, 14e6
    )
