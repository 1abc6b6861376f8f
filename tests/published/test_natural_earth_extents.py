"""How far entities reach, against the country outlines of Natural Earth (1:50,000,000, public domain)."""

from __future__ import annotations

import pytest

from watchkeeper.radio import entity, entity_extent, subdivision
from watchkeeper.radio.entity import Entity, Placed

#: countries of the outlines that have an entity's name; the rest are named otherwise or are several entities
ALIASES = {
    "United States of America": "United States",
    "Germany": "Fed. Rep. of Germany",
    "Slovakia": "Slovak Republic",
    "Kosovo": "Republic of Kosovo",
    "South Sudan": "Republic of South Sudan",
    "Democratic Republic of the Congo": "Dem. Rep. of the Congo",
}
#: islands, coasts and departments that are entities of their own although the outline counts them in
SEVERAL = {
    "France", "Netherlands", "United States of America", "Australia", "Chile", "New Zealand", "India", "Norway",
    "South Africa", "Spain", "Portugal", "Morocco", "Ecuador",
}  # fmt: skip
LETTERS = "ABCDEFGHIJKLMNOPQR"
SQUARES = [f"{east}{north}{square:02d}" for east in LETTERS for north in LETTERS for square in range(100)]


def placed_in(found: Entity) -> Placed:
    return Placed("", True, found, None, None, None, found.latitude, found.longitude, None, "home")


def land() -> dict[str, list[str]]:
    squares: dict[str, list[str]] = {}
    for square in SQUARES:
        for country, _ in subdivision.countries(square):
            squares.setdefault(country, []).append(square)
    return squares


@pytest.fixture(scope="module")
def squares_of() -> dict[str, list[str]]:
    return land()


def test_every_square_with_land_of_a_country_fits_its_entity(squares_of: dict[str, list[str]]) -> None:
    entities = {found.name: found for found in entity.all_entities()}
    checked, misfits = 0, []
    for country, squares in squares_of.items():
        found = entities.get(ALIASES.get(country, country))
        if found is None or country in SEVERAL:
            continue
        checked += 1
        misfits += [(country, square) for square in squares if not entity_extent.fits(placed_in(found), square)]
    assert misfits == []
    assert checked > 170


@pytest.mark.parametrize(
    ("call", "inside", "outside"),
    [
        ("W1QSB", ["CN88", "FN66", "EL94", "DL79"], ["BL11", "IO91", "BP51", "FG00"]),
        ("VK2QRM", ["OG66", "QG62", "PH57", "QE37"], ["RE78", "OJ10", "QM05"]),
        ("CE3QRM", ["FG41", "FD36"], ["DG52", "IO91"]),
        ("ZL2QRM", ["RE78", "RF70", "RE43"], ["QF56", "AI31"]),
        ("F5QRM", ["JN18", "IN78", "JN33", "JN42"], ["LG78", "FK96", "GJ34"]),
        ("LA5QRM", ["JO59", "KQ30", "KP49"], ["JQ78", "FN31"]),
    ],
)
def test_entities_that_the_outlines_lump_together(call: str, inside: list[str], outside: list[str]) -> None:
    placed = entity.lookup(call)
    assert [entity_extent.fits(placed, square) for square in inside] == [True] * len(inside)
    assert [entity_extent.fits(placed, square) for square in outside] == [False] * len(outside)


def test_no_entity_no_answer() -> None:
    assert entity_extent.fits(entity.lookup("W1QSB/MM"), "FA12") is None
