"""Ways there and back."""

from __future__ import annotations

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from watchkeeper.radio.geodesic import between, direct, inverse, long_path, midpoint
from watchkeeper.radio.locator import centre
from watchkeeper.radio.place import Point

POINTS = st.builds(Point, st.floats(-89, 89), st.floats(-180, 180))
ANTIPODAL_KM = 19_900


@given(POINTS, POINTS)
def test_the_way_back_is_the_same(a: Point, b: Point) -> None:
    there, back = inverse(a, b), inverse(b, a)
    assume(1 < there.distance_km < ANTIPODAL_KM)
    assert there.distance_km == pytest.approx(back.distance_km, abs=1e-6)
    assert (there.azimuth_deg - back.back_azimuth_deg + 180) % 360 == pytest.approx(180, abs=1e-5)


@given(POINTS, POINTS)
def test_following_the_azimuth_leads_there(a: Point, b: Point) -> None:
    path = inverse(a, b)
    assert inverse(direct(a, path.azimuth_deg, path.distance_km), b).distance_km < 1e-5


@given(POINTS, POINTS)
def test_the_middle_is_as_far_from_both_ends(a: Point, b: Point) -> None:
    path = inverse(a, b)
    assume(path.distance_km < ANTIPODAL_KM)
    middle = midpoint(a, b)
    assert inverse(a, middle).distance_km == pytest.approx(path.distance_km / 2, abs=1e-5)
    assert inverse(middle, b).distance_km == pytest.approx(path.distance_km / 2, abs=1e-5)


@given(POINTS, POINTS)
def test_azimuths_lie_within_the_circle(a: Point, b: Point) -> None:
    for path in (inverse(a, b), long_path(inverse(a, b))):
        assert 0 <= path.azimuth_deg < 360
        assert 0 <= path.back_azimuth_deg < 360
        assert 0 <= path.distance_km < 40_031


@given(POINTS, POINTS)
def test_the_long_path_goes_the_other_way_round(a: Point, b: Point) -> None:
    short = inverse(a, b)
    long = long_path(short)
    assert long.distance_km + short.distance_km == pytest.approx(40_030.23)
    assert (long.azimuth_deg - short.azimuth_deg) % 360 == pytest.approx(180)
    assert (long.back_azimuth_deg - short.back_azimuth_deg) % 360 == pytest.approx(180)


def test_from_a_place_to_itself() -> None:
    assert inverse(Point(48, 11), Point(48, 11)) == (0, 0, 0)


def test_between_locators_takes_their_centres() -> None:
    assert between("JN58td", "fn31") == inverse(centre("JN58td"), centre("FN31"))
    with pytest.raises(ValueError, match="'XX' is no locator"):
        between("JN58td", "XX")
