"""When a band is usually open: a rule of thumb (common practice, no source)."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from watchkeeper.radio.band import BANDS
from watchkeeper.radio.band_hours import BandHours, Usual, band_hours
from watchkeeper.radio.place import Point
from watchkeeper.radio.sun import elevation_deg

BERLIN, PERTH = Point(52.5, 13.4), Point(-32.0, 115.9)


def at(month: int, hour: int) -> datetime:
    return datetime(2026, month, 15, hour, tzinfo=UTC)


@pytest.mark.parametrize(
    ("band", "month", "hour", "usual"),
    [
        ("160m", 12, 23, Usual.OPEN), ("160m", 12, 11, Usual.CLOSED), ("160m", 6, 11, Usual.CLOSED),
        ("80m", 1, 22, Usual.OPEN), ("80m", 6, 11, Usual.CLOSED), ("80m", 12, 11, Usual.EITHER),
        ("40m", 1, 3, Usual.OPEN), ("40m", 7, 12, Usual.OPEN), ("30m", 4, 0, Usual.OPEN),
        ("20m", 12, 12, Usual.OPEN), ("20m", 12, 16, Usual.EITHER), ("20m", 12, 23, Usual.CLOSED),
        ("20m", 6, 22, Usual.OPEN), ("20m", 3, 23, Usual.EITHER),
        ("15m", 10, 12, Usual.OPEN), ("15m", 1, 22, Usual.CLOSED), ("15m", 7, 23, Usual.EITHER),
        ("10m", 12, 22, Usual.CLOSED), ("10m", 12, 11, Usual.EITHER), ("10m", 7, 22, Usual.EITHER),
        ("6m", 6, 18, Usual.EITHER), ("6m", 12, 18, Usual.CLOSED), ("2m", 6, 18, Usual.CLOSED),
    ],
)  # fmt: skip
def test_in_the_middle_of_europe(band: str, month: int, hour: int, usual: Usual) -> None:
    assert band_hours(band, BERLIN, at(month, hour)).usual is usual


def test_the_seasons_are_the_places_own() -> None:
    """Perth, 23 h local: a summer night in December, a winter night in June."""
    assert band_hours("20m", PERTH, at(12, 15)).usual is not Usual.CLOSED
    assert band_hours("20m", PERTH, at(6, 15)).usual is Usual.CLOSED
    assert band_hours("6m", PERTH, at(12, 4)).usual is Usual.EITHER


@pytest.mark.parametrize("month", range(1, 13))
def test_south_of_the_equator_the_year_is_half_a_year_off(month: int) -> None:
    # 4 h UTC is noon in Perth, 16 h its midnight
    assert (band_hours("6m", PERTH, at(month, 4)).usual is Usual.EITHER) is (month in (11, 12, 1, 2))
    assert (band_hours("20m", PERTH, at(month, 16)).usual is Usual.CLOSED) is (month in (5, 6, 7, 8))


@pytest.mark.parametrize("month", range(1, 13))
def test_north_of_it_and_on_it_the_summer_is_in_its_middle(month: int) -> None:
    for latitude in (52.5, 0.5, 0.0):
        found = band_hours("6m", Point(latitude, 13.4), at(month, 11)).usual
        assert (found is Usual.EITHER) is (month in (5, 6, 7, 8))


@pytest.mark.parametrize(
    ("band", "month", "above_deg", "below_deg", "usual"),
    [
        ("160m", 4, 5.1, 5.9, Usual.CLOSED), ("160m", 4, -5.9, 4.9, Usual.EITHER), ("160m", 4, -8.0, -6.1, Usual.OPEN),
        ("80m", 6, 45.1, 45.9, Usual.CLOSED), ("80m", 6, 44.0, 44.9, Usual.EITHER),
        ("20m", 12, -5.9, 0.0, Usual.OPEN), ("20m", 12, -17.9, -6.1, Usual.EITHER),
        ("20m", 12, -30.0, -18.1, Usual.CLOSED), ("20m", 4, -30.0, -18.1, Usual.EITHER),
        ("15m", 12, 0.1, 0.9, Usual.OPEN), ("15m", 12, -17.9, -0.1, Usual.EITHER),
        ("15m", 12, -30.0, -18.1, Usual.CLOSED),
        ("10m", 12, -5.9, 0.0, Usual.EITHER), ("10m", 12, -10.0, -6.1, Usual.CLOSED),
    ],
)  # fmt: skip
def test_it_changes_at_the_height_of_the_sun_that_it_says(
    band: str, month: int, above_deg: float, below_deg: float, usual: Usual
) -> None:
    moments = (at(month, 11) + timedelta(minutes=2 * step) for step in range(360))
    found = {
        band_hours(band, BERLIN, moment).usual
        for moment in moments
        if above_deg <= elevation_deg(BERLIN.latitude, BERLIN.longitude, moment) <= below_deg
    }
    assert found == {usual}


def test_a_summer_night_keeps_twenty_metres_for_some_hours() -> None:
    assert band_hours("20m", PERTH, at(12, 12)).usual is Usual.OPEN  # the Sun 13° below
    assert band_hours("20m", PERTH, at(12, 16)).usual is Usual.EITHER


def test_it_says_why() -> None:
    """Berlin, 15 December: noon near 11:01 UTC, the Sun at 90° − 52.5° − 23.3° = 14.2°."""
    assert band_hours("160m", BERLIN, at(12, 11)) == BandHours(Usual.CLOSED, "with the Sun 14° up")
    assert band_hours("20m", BERLIN, at(12, 23)).why == "with the Sun 61° below the horizon"
    assert band_hours("6m", BERLIN, at(12, 11)).why == "outside of short openings"
    assert band_hours("6m", BERLIN, at(6, 11)).why == "in the season of the sporadic layers"
    assert band_hours("40m", BERLIN, at(12, 11)).why == "by day and by night"
    for band in ("80m", "20m", "15m", "10m", "7m"):
        assert band_hours(band, BERLIN, at(12, 11)).why == "with the Sun 14° up"


def test_every_band_has_its_hours_and_an_unknown_one_may_be_either() -> None:
    found = {band_hours(band.name, BERLIN, at(6, 12)).usual for band in BANDS}
    assert found == set(Usual)
    assert band_hours("7m", BERLIN, at(6, 12)).usual is Usual.EITHER
