"""The Sun's geometry, and a comparison with another library (astral, which uses NOAA's equations)."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import astral
import astral.sun
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.radio import sun
from watchkeeper.radio.place import Point

LATITUDES = st.floats(-89, 89)  # the other library stops short of the poles
LONGITUDES = st.floats(-180, 180)
MOMENTS = st.datetimes(datetime(1990, 1, 1), datetime(2049, 12, 31), timezones=st.just(UTC))  # noqa: DTZ001


@given(LATITUDES, LONGITUDES, MOMENTS)
def test_elevation_and_azimuth_agree_with_another_library(latitude: float, longitude: float, at: datetime) -> None:
    place = astral.Observer(latitude, longitude)
    elevation = sun.elevation_deg(latitude, longitude, at)
    assert elevation == pytest.approx(astral.sun.elevation(place, at, with_refraction=False), abs=0.05)
    if abs(latitude) < 89 and abs(elevation) < 85:
        turn = sun.azimuth_deg(latitude, longitude, at) - astral.sun.azimuth(place, at)
        assert abs((turn + 180) % 360 - 180) < 0.6


@given(st.floats(-60, 60), LONGITUDES, st.dates(date(1990, 1, 1), date(2049, 12, 31)))
def test_the_sun_stands_at_the_zenith_distance_when_it_rises_and_sets(
    latitude: float, longitude: float, day: date
) -> None:
    light = sun.rise_set(latitude, longitude, day)
    assert light is not None
    assert light.rise < light.set < light.rise + timedelta(days=1)
    for at in light:
        assert sun.elevation_deg(latitude, longitude, at) == pytest.approx(90 - sun.OFFICIAL_ZENITH_DEG, abs=0.002)
    middle = light.rise + (light.set - light.rise) / 2
    assert abs((middle + timedelta(hours=longitude / 15)) - datetime(day.year, day.month, day.day, 12, tzinfo=UTC)) < (
        timedelta(minutes=20)
    )


@given(MOMENTS)
def test_the_sun_is_overhead_at_the_subsolar_point(at: datetime) -> None:
    latitude, longitude = sun.subsolar_point(at)
    assert -23.5 < latitude < 23.5
    assert -180 <= longitude <= 180
    assert sun.elevation_deg(latitude, longitude, at) == pytest.approx(90, abs=1e-5)


def test_dawn_comes_before_sunrise() -> None:
    day = date(2026, 9, 15)
    zeniths = (sun.ASTRONOMICAL_ZENITH_DEG, sun.NAUTICAL_ZENITH_DEG, sun.CIVIL_ZENITH_DEG, sun.OFFICIAL_ZENITH_DEG)
    found = [sun.rise_set(48.5, 9.4, day, zenith) for zenith in zeniths]
    rises = [light.rise for light in found if light is not None]
    assert len(rises) == 4
    assert rises == sorted(rises)


def test_no_rise_at_the_pole_itself() -> None:
    assert sun.rise_set(90.0, 0.0, date(2026, 3, 20)) is None


def test_grey_line() -> None:
    light = sun.rise_set(48.5, 9.4, date(2026, 9, 15))
    assert light is not None
    assert sun.is_grey_line(48.5, 9.4, light.rise - timedelta(minutes=10))
    assert not sun.is_grey_line(48.5, 9.4, light.rise + timedelta(hours=1))
    assert not sun.is_grey_line(48.5, 9.4, light.rise - timedelta(hours=1))
    assert [sun.is_twilight(elevation) for elevation in (0.01, 0.0, -6.0, -6.01)] == [False, True, True, False]


def test_the_sun_along_a_path() -> None:
    at = datetime(2026, 3, 20, 6, tzinfo=UTC)
    along = sun.along_path(Point(0.0, 0.0), Point(0.0, 90.0), at)
    assert along == pytest.approx((0.0, 45.0, 90.0), abs=2.5)
    assert along.grey == sun.is_grey_line(0.0, 0.0, at)
    assert not sun.along_path(Point(0.0, 40.0), Point(0.0, 90.0), at).grey


def test_a_time_needs_its_zone() -> None:
    with pytest.raises(ValueError, match="time without a zone"):
        sun.elevation_deg(0, 0, datetime(2026, 1, 1))  # noqa: DTZ001
