"""Geodesics on WGS 84: Geoscience Australia's sample line, GeographicLib's test set and documentation examples."""

from __future__ import annotations

import pytest

from watchkeeper.radio.geodesic import direct, inverse
from watchkeeper.radio.place import Point


def dms(degrees: float, minutes: float, seconds: float) -> float:
    return degrees + minutes / 60 + seconds / 3600


def test_flinders_peak_to_buninyong() -> None:
    """GDA Technical Manual, sample data for Vincenty's formulae: 54 972.271 m, 306° 52' 05.37", 127° 10' 25.07"."""
    flinders_peak = Point(-dms(37, 57, 3.72030), dms(144, 25, 29.52440))
    buninyong = Point(-dms(37, 39, 10.15610), dms(143, 55, 35.38390))
    path = inverse(flinders_peak, buninyong)
    assert path.distance_km == pytest.approx(54.972271, abs=5e-7)
    assert path.azimuth_deg == pytest.approx(dms(306, 52, 5.37), abs=0.005 / 3600)
    assert path.back_azimuth_deg == pytest.approx(dms(127, 10, 25.07), abs=0.005 / 3600)


# geographiclib-python, geographiclib/test/test_geodesic.py: the first lines of GeodTest (MIT licence).
# latitude, longitude, azimuth at the start; the same at the end (azimuth onwards); metres
KARNEY = [
    (35.60777, -139.44815, 111.098748429560326, -11.17491, -69.95921, 129.289270889708762, 8935244.5604818305),
    (55.52454, 106.05087, 22.020059880982801, 77.03196, 197.18234, 109.112041110671519, 4105086.1713924406),
    (-21.97856, 142.59065, -32.44456876433189, 41.84138, 98.56635, -41.84359951440466, 8394328.894657671),
    (-66.99028, 112.2363, 173.73491240878403, -12.70631, 285.90344, 2.512956620913668, 11150344.2312080241),
    (6.96833, 52.74123, 92.581585386317712, -7.39675, 206.17291, 90.721692165923907, 17102477.2496958388),
    (-68.82867, -74.28391, 93.774347763114881, -50.63005, -8.36685, 34.65564085411343, 3956936.926063544),
    (-41.22777, 122.32875, 14.285113402275739, -7.57291, 130.37946, 10.805303085187369, 3812686.035106021),
]


@pytest.mark.parametrize(("lat1", "lon1", "azi1", "lat2", "lon2", "azi2", "metres"), KARNEY)
def test_karney_inverse(
    lat1: float, lon1: float, azi1: float, lat2: float, lon2: float, azi2: float, metres: float
) -> None:
    path = inverse(Point(lat1, lon1), Point(lat2, lon2))
    assert path.distance_km == pytest.approx(metres / 1000, abs=1e-11)
    assert path.azimuth_deg == pytest.approx(azi1 % 360, abs=2e-13)
    assert path.back_azimuth_deg == pytest.approx((azi2 + 180) % 360, abs=2e-13)


@pytest.mark.parametrize(("lat1", "lon1", "azi1", "lat2", "lon2", "azi2", "metres"), KARNEY)
def test_karney_direct(
    lat1: float, lon1: float, azi1: float, lat2: float, lon2: float, azi2: float, metres: float
) -> None:
    end = direct(Point(lat1, lon1), azi1, metres / 1000)
    assert end.latitude == pytest.approx(lat2, abs=1e-9)
    assert (end.longitude - lon2 + 180) % 360 == pytest.approx(180, abs=1e-9)


# geographiclib-python, doc/examples.rst and test_geodesic.py; metres as printed
@pytest.mark.parametrize(
    ("start", "end", "metres", "azimuth_deg"),
    [
        (Point(40.6, -73.8), Point(49.01666667, 2.55), 5853226, 53.47022),
        (Point(40.1, 116.6), Point(37.6, -122.4), 9513998, None),
        (Point(0, 0), Point(0, 179), 19926189, 90),
        (Point(0, 0), Point(0, 179.5), 19980862, 55.96650),
        (Point(0, 0), Point(0, 180), 20003931, 0),
        (Point(0, 0), Point(1, 180), 19893357, 0),
        (Point(0, 539), Point(0, 181), 222639, 90),
        (Point(27.2, 0), Point(-27.1, 179.5), 19974354.765767, 45.82468716758),
        (Point(90, 0), Point(90, 180), 0, None),
    ],
)
def test_documented_lines(start: Point, end: Point, metres: float, azimuth_deg: float | None) -> None:
    path = inverse(start, end)
    assert path.distance_km == pytest.approx(metres / 1000, abs=0.0006)
    if azimuth_deg is not None:
        assert path.azimuth_deg == pytest.approx(azimuth_deg, abs=6e-6)


@pytest.mark.parametrize(
    ("start", "azimuth_deg", "km", "end"),
    [
        (Point(40.63972222, -73.77888889), 53.5, 5850, Point(49.01467, 2.56106)),
        (Point(-32.06, 115.74), 225, 20000, Point(32.11195529, -63.95925278)),
        (Point(40.1, 116.6), None, 5000, Point(58.43499, -176.96833)),
    ],
)
def test_documented_ends(start: Point, azimuth_deg: float | None, km: float, end: Point) -> None:
    """The third is a way point on the line to (37.6, -122.4)."""
    if azimuth_deg is None:
        azimuth_deg = inverse(start, Point(37.6, -122.4)).azimuth_deg
    assert direct(start, azimuth_deg, km) == pytest.approx(end, abs=6e-6)


def test_spherical_examples_within_the_spheres_error() -> None:
    """Ed Williams, Aviation Formulary: LAX to JFK, 2144 nautical miles, initial course 66°."""
    path = inverse(Point(dms(33, 57, 0), -dms(118, 24, 0)), Point(dms(40, 38, 0), -dms(73, 47, 0)))
    assert path.distance_km / 1.852 == pytest.approx(2144, rel=0.0056)
    assert path.azimuth_deg == pytest.approx(66, abs=0.5)
