"""The Maidenhead locator: worked pairs as printed, the source beside each.

Definition: IARU Region 1, VHF Managers Handbook, section 5.12 (fields of 20° by 10°, squares of 2° by 1°, subsquares of
5' by 2.5', extended squares of 30" by 15"; WGS 84), read second-hand in the Wikipedia article "Maidenhead Locator
System".
"""

from __future__ import annotations

import pytest

from watchkeeper.radio.geodesic import between, long_path
from watchkeeper.radio.locator import centre, corner, from_point, is_locator, normal

QST = "E. Tyson N5JTY, Conversion Between Geodetic and Grid Locator Systems, QST January 1989, as quoted in test files"
MAIDENHEAD = "the package maidenhead 1.8.0, tests and README"
PYHAMTOOLS = "the package pyhamtools 0.13.2, tests"
QUICKDOCS = "quickdocs.org/maidenhead"
VUSHF = "vushf.dk, basic contest rules"
HALF_OPEN = "computed from the rule that a cell holds its southern and western edge"

FROM_POINTS = [
    (48.14666, 11.60833, "JN58td", QST),
    (48.14666, 11.60833, "JN58td25", QUICKDOCS),
    (-34.91, -56.21166, "GF15vc", QST),
    (38.92, -77.065, "FM18lw", QST),
    (-41.28333, 174.745, "RE78ir", QST),
    (41.714775, -72.727260, "FN31pr", QST),
    (-77.8419, 166.6863, "RB32id27", MAIDENHEAD),
    (38.8895, -77.0353, "FM18lv53", MAIDENHEAD),
    (29.9792, 31.1342, "KL59nx65", MAIDENHEAD),
    (65.0, -148.0, "BP65aa", MAIDENHEAD),
    (39.222916, -86.45416, "EM69sf53", PYHAMTOOLS),
    (48.51760, 9.40345, "JN48qm84", PYHAMTOOLS),
    (48.5, 9.0, "JN48mm", PYHAMTOOLS),
    (-90, -180, "AA00aa", HALF_OPEN),
    (0, 0, "JJ00aa", "two test files"),
    (-0.0001, -0.0001, "II99xx", HALF_OPEN),
    (0, 180, "AJ00aa", HALF_OPEN),
    (0, 179.9999, "RJ90xa", HALF_OPEN),
    (40, -76, "FN20aa", HALF_OPEN),
    (89.9999, 0, "JR09ax", HALF_OPEN),
    (90, 0, "JR09ax", "our own rule: the pole belongs to the northernmost row"),
    (90, 180, "AR09ax", "our own rule: the pole, and +180° is -180°"),
]


@pytest.mark.parametrize(("latitude", "longitude", "locator", "source"), FROM_POINTS)
def test_the_locator_of_a_place(latitude: float, longitude: float, locator: str, source: str) -> None:
    assert from_point(latitude, longitude, len(locator)) == locator, source


CORNERS = [
    ("JN48", 48.0, 8.0, PYHAMTOOLS),
    ("JN48QM", 48.5, 9.333333, PYHAMTOOLS),
    ("JN48QM84", 48.516667, 9.4, PYHAMTOOLS),
    ("EM69SF53", 39.220833, -86.458333, PYHAMTOOLS),
    ("JN58TD25", 48.145833, 11.6, QUICKDOCS),
    ("BP65aa12", 65.008333, -147.991667, MAIDENHEAD),
    ("JO55WW", 55.916667, 11.833333, VUSHF),
    ("AA00AA", -90, -180, PYHAMTOOLS),
    ("RR99XX", 89.958333, 179.916667, PYHAMTOOLS),
    ("BL11BH16", 21.316667, -157.908333, "Wikipedia, Maidenhead Locator System (numbers computed)"),
]


@pytest.mark.parametrize(("locator", "latitude", "longitude", "source"), CORNERS)
def test_the_corner_of_a_locator(locator: str, latitude: float, longitude: float, source: str) -> None:
    assert corner(locator) == pytest.approx((latitude, longitude), abs=5e-7), source


CENTRES = [
    ("JN48", 48.5, 9.0, PYHAMTOOLS),
    ("JN48QM", 48.520833, 9.375, PYHAMTOOLS),
    ("JN48QM84", 48.51875, 9.404167, PYHAMTOOLS),
    ("EM69SF53", 39.222917, -86.454167, PYHAMTOOLS),
    ("JN58TD25", 48.147917, 11.604167, QUICKDOCS),
    ("BP65aa12", 65.010417, -147.9875, MAIDENHEAD),
    ("JO55WW", 55.9375, 11.875, VUSHF),
    ("AA00AA", -89.979167, -179.958333, PYHAMTOOLS),
    ("RR99XX", 89.979167, 179.958333, PYHAMTOOLS),
    ("BL11BH16", 21.318750, -157.904167, "Wikipedia, Maidenhead Locator System (numbers computed)"),
]


@pytest.mark.parametrize(("locator", "latitude", "longitude", "source"), CENTRES)
def test_the_centre_of_a_locator(locator: str, latitude: float, longitude: float, source: str) -> None:
    assert centre(locator) == pytest.approx((latitude, longitude), abs=5e-7), source


@pytest.mark.parametrize(
    "text",
    [
        "",
        "J",
        "JN4",
        "JN8Q",
        "JNJN",
        "JN4848",
        "JN48QMaa",
        "21XM99",
        "RR99XY",
        "ZZ00zz",
        "ZZ99",
        "AB3C",
        "****",
        "JN48QM84AY",
    ],
)
def test_what_is_no_locator(text: str) -> None:
    """From pyhamtools' tests and other stored test files."""
    assert not is_locator(text)
    with pytest.raises(ValueError, match="is no locator"):
        centre(text)


def test_rr73_has_the_form_of_a_locator() -> None:
    """Field RR, square 73: it lies in the Arctic Ocean. That it ends contacts is for the reader of messages to know."""
    assert is_locator("RR73")
    assert corner("RR73") == (83.0, 174.0)


def test_the_canonical_case() -> None:
    assert normal("jn58TD25AB") == "JN58td25ab"


SPHERICAL = [
    ("JN48QM", "FN44AB", 5965, 298, PYHAMTOOLS),
    ("JN48QM", "QF67BF", 16467, 74, PYHAMTOOLS),
    ("JN48QM84", "QF67BF", 16464, None, PYHAMTOOLS),
    ("JN48QM84", "QF67", 16506, None, PYHAMTOOLS),
    ("JN48QM", "QF67", 16508, None, PYHAMTOOLS),
    ("JN48", "QF67", 16535, None, PYHAMTOOLS),
    ("AA00AA", "RR00XX", 19009, None, PYHAMTOOLS),
    ("JO55WW", "JO65FR", 43.17, None, VUSHF),
]


@pytest.mark.parametrize(("start", "end", "distance_km", "azimuth_deg", "source"), SPHERICAL)
def test_distances_on_a_sphere_within_its_error(
    start: str, end: str, distance_km: float, azimuth_deg: float | None, source: str
) -> None:
    """The printed values are a sphere's, which differs from WGS 84 by up to 0.56 %."""
    path = between(start, end)
    assert path.distance_km == pytest.approx(distance_km, rel=0.0056), source
    if azimuth_deg is not None:
        assert path.azimuth_deg == pytest.approx(azimuth_deg, abs=1), source


@pytest.mark.parametrize(("end", "distance_km", "azimuth_deg"), [("FN44AB", 34042, 118), ("QF67BF", 23541, 254)])
def test_long_paths(end: str, distance_km: float, azimuth_deg: float) -> None:
    """pyhamtools' tests; a circumference of 40,008 km is theirs, the meridian's."""
    path = long_path(between("JN48QM", end))
    assert path.distance_km == pytest.approx(distance_km, rel=0.0015)
    assert path.azimuth_deg == pytest.approx(azimuth_deg, abs=1)
