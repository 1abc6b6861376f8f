"""The Sun against Meeus, the Solar Position Algorithm, and an almanac.

* J. Meeus, Astronomical Algorithms, 2nd edition, example 25.a (as printed in the test data of an open library);
* Reda and Andreas, Solar Position Algorithm, NREL/TP-560-34302: worked example, rise and set (as printed in the test
  data of an open library);
* US Naval Observatory, rise and set at 39° N 105° W, 2015 (from the same test data).
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone

import pytest

from watchkeeper.radio import sun


def test_meeus_example_25a() -> None:
    # 1992 October 13.0 TD: declination −7°47′06″; equation of time +13 m 42.6 s puts the Sun over longitude
    # 180° − 3.4275°. TD is 59 s ahead of UTC: 0.25° of the Earth's turn, 0.0003° of declination.
    latitude, longitude = sun.subsolar_point(datetime(1992, 10, 12, 23, 59, 1, tzinfo=UTC))
    assert latitude == pytest.approx(-(7 + 47 / 60 + 6 / 3600), abs=0.001)
    expected = 180.0 - (13 + 42.6 / 60) / 4 + 59 / 240
    assert longitude == pytest.approx(expected, abs=0.01)


def test_spa_example() -> None:
    # 2003-10-17 12:30:30 UTC−7: elevation without refraction 39.872046°, azimuth 194.34024°
    at = datetime(2003, 10, 17, 12, 30, 30, tzinfo=timezone(timedelta(hours=-7)))
    assert sun.elevation_deg(39.742476, -105.1786, at) == pytest.approx(39.872046, abs=0.01)
    assert sun.azimuth_deg(39.742476, -105.1786, at) == pytest.approx(194.34024, abs=0.01)


@pytest.mark.parametrize(
    ("latitude", "day", "rise", "set_"),
    [
        (-35, "1996-07-05", "07:08:15", "17:01:04"),
        (-35, "2004-12-04", "04:38:57", "19:02:02"),
        (35, "1994-01-02", "07:08:12", "16:59:55"),
    ],
)
def test_spa_rise_and_set(latitude: float, day: str, rise: str, set_: str) -> None:
    light = sun.rise_set(latitude, 0.0, date.fromisoformat(day))
    assert light is not None
    for found, printed in zip(light, (rise, set_), strict=True):
        assert abs(found - datetime.fromisoformat(f"{day}T{printed}Z")) <= timedelta(seconds=5)


@pytest.mark.parametrize(
    ("day", "rise", "set_"),
    [
        ("2015-01-02", "07:19", "16:49"),
        ("2015-04-02", "05:43", "18:24"),
        ("2015-08-02", "05:01", "19:10"),
        ("2015-12-02", "07:01", "16:38"),
    ],
)
def test_almanac_rise_and_set(day: str, rise: str, set_: str) -> None:
    light = sun.rise_set(39.0, -105.0, date.fromisoformat(day))
    assert light is not None
    for found, printed in zip(light, (rise, set_), strict=True):  # Mountain Standard Time, to the minute
        assert abs(found - datetime.fromisoformat(f"{day}T{printed}-07:00")) <= timedelta(seconds=35)


@pytest.mark.parametrize(
    ("locator_centre", "day"), [((70.9375, -8.7083), "2021-12-15"), ((-89.9792, -179.9583), "2014-01-01")]
)
def test_polar_night_and_day_have_neither(locator_centre: tuple[float, float], day: str) -> None:
    assert sun.rise_set(*locator_centre, date.fromisoformat(day)) is None


@pytest.mark.parametrize(
    ("at", "minutes"),
    [
        # equation of time in minutes at 0 h TD, Meeus' high-accuracy method as an open astronomy library prints it
        ("2024-03-20T12:00", -7.306),
        ("2024-04-14T00:00", -0.2728),
        ("2024-04-16T00:00", 0.2075),
    ],
)
def test_equation_of_time(at: str, minutes: float) -> None:
    moment = datetime.fromisoformat(at).replace(tzinfo=UTC)
    _, longitude = sun.subsolar_point(moment)
    mean = 180.0 - (moment.hour + moment.minute / 60) * 15.0
    found = ((mean - longitude + 180.0) % 360.0 - 180.0) * 4
    assert found == pytest.approx(minutes, abs=0.05)
