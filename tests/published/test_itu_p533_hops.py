"""Hop geometry of Recommendation ITU-R P.533-14.

Equations, Earth radius, least elevation and longest hop: ITU-R Study Group 3 reference code (P533.h, Common.h). The
numbers below were computed from those equations apart from this program, as a cross-check.
"""

from __future__ import annotations

import pytest

from watchkeeper.radio import link


@pytest.mark.parametrize(
    ("height_km", "at_0_deg", "at_3_deg"),
    [
        (110, 2351.0, 1775.6),
        (200, 3151.8, 2553.1),
        (250, 3512.7, 2906.7),
        (300, 3835.8, 3224.5),
        (350, 4130.2, 3514.7),
        (400, 4401.7, 3782.8),
    ],
)
def test_hop_length(height_km: float, at_0_deg: float, at_3_deg: float) -> None:
    assert link.hop_length_km(0.0, height_km) == pytest.approx(at_0_deg, abs=0.05)
    assert link.hop_length_km(3.0, height_km) == pytest.approx(at_3_deg, abs=0.05)


@pytest.mark.parametrize(
    ("hop_km", "height_km", "elevation_deg"),
    [(1000, 110, 10.050), (2000, 110, 1.715), (1000, 300, 28.118), (2000, 300, 11.807), (3000, 300, 4.261),
     (4000, 300, -0.724)],
)  # fmt: skip
def test_elevation_of_a_hop(hop_km: float, height_km: float, elevation_deg: float) -> None:
    assert link.hop_elevation_deg(hop_km, height_km) == pytest.approx(elevation_deg, abs=0.0005)


@pytest.mark.parametrize(
    ("distance_km", "height_km", "hops"),
    [
        # 3,224.5 km is the longest hop at 300 km and 3°
        (0, 300, 0),
        (1, 300, 1),
        (3224, 300, 1),
        (3225, 300, 2),
        (6449, 300, 2),
        (6450, 300, 3),
        (19_000, 300, 6),
        # 1,775.6 km by the E layer
        (1775, 110, 1),
        (1776, 110, 2),
        # the cap of 4,000 km holds above a mirror height of about 429 km
        (3999, 500, 1),
        (4001, 500, 2),
    ],
)
def test_hops(distance_km: float, height_km: float, hops: int) -> None:
    assert link.hops(distance_km, height_km) == hops
