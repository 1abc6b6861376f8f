"""ITU Radio Regulations, Article 5 (5.2-5.9): the three Regions.

Lines A, B and C after the Atlantic City text (1947) and the Radio Regulations of 2005 as quoted in the English
Wikipedia; the countries after 47 CFR 2.104(b). The places are told apart by those lines (computed), the countries by
the treaty.
"""

from __future__ import annotations

import pytest

from watchkeeper.radio.place import Point
from watchkeeper.radio.region import itu_region

REGION_1 = {
    "Reykjavik": Point(64.1, -21.9),
    "Ponta Delgada": Point(37.7, -25.7),
    "Praia": Point(14.9, -23.5),
    "Ascension": Point(-7.9, -14.4),
    "Tristan da Cunha": Point(-37.1, -12.3),
    "Bouvet": Point(-54.4, 3.4),
    "Mauritius": Point(-20.2, 57.5),
    "Crozet": Point(-46.4, 51.8),
    "Muscat, 1.45° west of line A": Point(23.6, 58.4),
    "the North Pole's Siberian side": Point(89, 120),
    "the Laptev Sea": Point(76, 125),
}
REGION_2 = {
    "Nuuk": Point(64.2, -51.7),
    "Bermuda": Point(32.3, -64.8),
    "St Peter and St Paul Rocks": Point(0.92, -29.35),
    "Trindade": Point(-20.5, -29.3),
    "South Georgia": Point(-54.3, -36.5),
    "Honolulu": Point(21.3, -157.9),
    "Midway, 1.15° east of line C": Point(28.2, -177.37),
    "Kure, 0.33° east of line C": Point(28.4, -178.3),
    "Johnston": Point(16.7, -169.5),
    "Easter Island": Point(-27.1, -109.4),
    "Clipperton": Point(10.3, -109.2),
    "Attu": Point(52.9, 172.9),
    "Adak": Point(51.9, -176.6),
    "Galapagos": Point(-0.7, -90.3),
}
REGION_3 = {
    "Kabul": Point(34.5, 69.2),
    "Kerguelen": Point(-49.3, 70.2),
    "Rodrigues": Point(-19.7, 63.43),
    "Wake": Point(19.3, 166.6),
    "Guam": Point(13.4, 144.8),
    "Pago Pago": Point(-14.3, -170.7),
    "Tarawa": Point(1.4, 173.0),
    "Kiritimati": Point(1.9, -157.4),
    "Palmyra": Point(5.9, -162.1),
    "Papeete": Point(-17.5, -149.6),
    "Pitcairn": Point(-25.1, -130.1),
    "Auckland": Point(-36.8, 174.8),
    "Chatham": Point(-43.9, -176.5),
}


@pytest.mark.parametrize(
    ("name", "region", "place"),
    [(name, 1, place) for name, place in REGION_1.items()]
    + [(name, 2, place) for name, place in REGION_2.items()]
    + [(name, 3, place) for name, place in REGION_3.items()],
)
def test_places_by_the_lines(name: str, region: int, place: Point) -> None:
    assert itu_region(*place) == region


# The country beats the line: place, ADIF's entity code, the region by treaty, the region that the lines alone give.
BY_TREATY = [
    ("Ulaanbaatar", Point(47.9, 106.9), 363, 1, 3),
    ("Almaty", Point(43.2, 76.9), 130, 1, 3),
    ("Vladivostok", Point(43.1, 131.9), 15, 1, 3),
    ("Van", Point(38.5, 43.4), 390, 1, 3),
    ("Abadan", Point(30.3, 48.3), 330, 3, 1),
    ("Ahvaz", Point(31.3, 48.7), 330, 3, 1),
    ("Shiraz", Point(29.6, 52.5), 330, 3, 1),
    ("Ankara", Point(39.9, 32.9), 390, 1, 1),
    ("Tehran", Point(35.7, 51.4), 330, 3, 3),
]
NO_TREATY_ENTITY = 291  # an entity that the treaty does not name leaves the lines to decide


@pytest.mark.parametrize(("name", "place", "code", "by_treaty", "by_lines"), BY_TREATY)
def test_countries_by_the_treaty(name: str, place: Point, code: int, by_treaty: int, by_lines: int) -> None:
    assert itu_region(*place, entity_code=code) == by_treaty
    assert itu_region(*place) == by_treaty
    assert itu_region(*place, entity_code=NO_TREATY_ENTITY) == by_lines


# 47 CFR 2.104(b) names these as wholly in Region 1; a place in each, also where it lies west of line A anyway.
@pytest.mark.parametrize(
    ("country", "place", "code"),
    [
        ("Armenia", Point(40.2, 44.5), 14),
        ("Azerbaijan", Point(40.4, 49.8), 18),
        ("Georgia", Point(41.7, 44.8), 75),
        ("Kazakhstan", Point(51.1, 71.4), 130),
        ("Mongolia", Point(47.9, 106.9), 363),
        ("Uzbekistan", Point(41.3, 69.2), 292),
        ("Kyrgyzstan", Point(42.9, 74.6), 135),
        ("Russian Federation", Point(62.0, 129.7), 15),
        ("Tajikistan", Point(38.6, 68.8), 262),
        ("Turkmenistan", Point(37.9, 58.4), 280),
        ("Turkey", Point(39.9, 41.3), 390),
        ("Ukraine", Point(48.6, 39.3), 288),
    ],
)
def test_every_country_named_for_region_1(country: str, place: Point, code: int) -> None:
    assert itu_region(*place) == itu_region(*place, entity_code=code) == 1


def test_a_latitude_beyond_the_poles_is_refused() -> None:
    assert [itu_region(latitude, 0) for latitude in (90, -90)] == [1, 1]
    for latitude in (90.5, -90.5):
        with pytest.raises(ValueError, match="latitude must lie within"):
            itu_region(latitude, 0)
