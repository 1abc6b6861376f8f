"""Simulated stations live on land of the entity that their call signs name, and belong to nobody."""

from __future__ import annotations

from random import Random

import pytest

from watchkeeper.radio import entity, locator, subdivision
from watchkeeper.rehearsal import rng
from watchkeeper.rehearsal.regions import SUFFIXES, CallBook, Region, locator_of, place_in, regions

_ALL = regions()


class _Drawn(Random):
    """Draws the numbers that it is given."""

    def __init__(self, *numbers: float) -> None:
        super().__init__(0)
        self._numbers = list(numbers)

    def random(self) -> float:
        return self._numbers.pop(0)


def test_suffixes_are_those_that_the_q_code_keeps_from_being_issued() -> None:
    """QRA to QUZ (ITU Radio Regulations, Article 19; Recommendation ITU-R M.1172)."""
    assert len(SUFFIXES) == 4 * 26
    assert (SUFFIXES[0], SUFFIXES[-1]) == ("QRA", "QUZ")


@pytest.mark.parametrize("region", _ALL, ids=lambda region: region.name)
def test_call_signs_resolve_to_the_entity_of_the_region(region: Region) -> None:
    for prefix in region.prefixes:
        found = entity.lookup(prefix + "QRM").entity
        assert found is not None, prefix
        assert found.code == region.dxcc, prefix


@pytest.mark.parametrize("region", _ALL, ids=lambda region: region.name)
def test_places_are_on_land_of_one_country(region: Region) -> None:
    edge = [_Drawn(0.9999, bearing / 36) for bearing in range(36)]
    land = [subdivision.countries(locator.from_point(*place_in(region, drawn), 6)) for drawn in edge]
    assert all(land)
    assert len({shares[0][0] for shares in land}) == 1


def test_locators_have_the_four_characters_that_are_sent() -> None:
    assert locator_of((48.52, 9.37)) == "JN48"


def test_a_call_book_never_lends_a_call_twice() -> None:
    book = CallBook(rng.stream(3, "book"))
    taken = [book.take(_ALL[0]) for _ in range(500)]
    assert len(set(taken)) == 500
    assert all(call[-3:] in SUFFIXES for call in taken)


def test_a_reserved_call_is_never_lent() -> None:
    region = Region(0, 230, "one call", ("DL5",), 50.0, 10.0, 10.0, 1.0)
    book = CallBook(rng.stream(3, "book"))
    for suffix in SUFFIXES[1:]:
        book.reserve(f"DL5{suffix}")
    assert book.take(region) == "DL5QRA"
    with pytest.raises(RuntimeError, match="one call"):
        book.take(region)
    book.give_back("DL5QRA")
    assert book.take(region) == "DL5QRA"
