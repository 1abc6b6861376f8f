"""When a band is usually open: a rule of thumb (common practice, no source)."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from watchkeeper.radio.band import BANDS
from watchkeeper.radio.band_hours import BandHours, Usual, band_hours
from watchkeeper.radio.place import Point

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


def test_it_says_why() -> None:
    """Berlin, 15 December: noon near 11:01 UTC, the Sun at 90° − 52.5° − 23.3° = 14.2°."""
    assert band_hours("160m", BERLIN, at(12, 11)) == BandHours(Usual.CLOSED, "with the Sun 14° up")
    assert band_hours("20m", BERLIN, at(12, 23)).why == "with the Sun 61° below the horizon"
    assert band_hours("6m", BERLIN, at(12, 11)).why == "outside of short openings"


def test_every_band_has_its_hours_and_an_unknown_one_may_be_either() -> None:
    found = {band_hours(band.name, BERLIN, at(6, 12)).usual for band in BANDS}
    assert found == set(Usual)
    assert band_hours("7m", BERLIN, at(6, 12)).usual is Usual.EITHER
