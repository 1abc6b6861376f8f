"""Which countries and US states a locator can lie in, and how much of its land each has.

From the Natural Earth country outlines (1:50,000,000) and the Census Bureau's state outlines (1:10,000,000), cut along
the four-character locators when the data files are made. The outlines are no finer than a subsquare, so a longer
locator counts as its first six characters. Where a subsquare lies off the outlined coast, or on an island that is not
outlined, the answer is that of the square around it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate
from math import radians, sin

from watchkeeper.radio import datafile
from watchkeeper.radio.locator import cell, normal
from watchkeeper.radio.polygon import Ring, signed_area, within

#: what a square's corner points are counted in, from its south-west corner
GRID_STEPS = 2400

#: region → share of the land, the largest first
Shares = tuple[tuple[str, float], ...]


@lru_cache(maxsize=4096)
def us_states(locator: str) -> Shares:
    """The US states (ADIF's codes; DC too) a locator of any length can lie in, with their share of its land there.

    The largest first; nothing where there are none; ``ValueError`` where it is no locator.
    """
    return _shares(_states(), locator)


@lru_cache(maxsize=4096)
def countries(locator: str) -> Shares:
    """The countries a locator of any length can lie in, by English name, with their share of its land.

    The largest first; nothing at sea; ``ValueError`` where it is no locator.
    """
    return _shares(_countries(), locator)


def land_area(square: str, rings: Iterable[Ring]) -> float:
    """The area of rings on the grid of a four-character locator, in a unit that is the same all over the Earth."""
    south = cell(square)[0]
    # On the sphere, area is longitude times the difference of the sines of latitude (Archimedes).
    return sum(signed_area([(x, sin(radians(south + y / GRID_STEPS))) for x, y in ring]) for ring in rings)


@dataclass(frozen=True, slots=True)
class _Land:
    """The regions of the squares: the per mille of a lone region's land, or the rings of several, still as text."""

    alone: Mapping[str, tuple[str, int]]
    mixed: Mapping[str, Mapping[str, str]]


@lru_cache(maxsize=1)
def _states() -> _Land:
    return _read("us-states.txt")


@lru_cache(maxsize=1)
def _countries() -> _Land:
    return _read("countries.txt")


def _read(name: str) -> _Land:
    alone: dict[str, tuple[str, int]] = {}
    mixed: dict[str, dict[str, str]] = {}
    for line in datafile.read(name).splitlines():
        kind, first, *rest = line.split("\t")
        if kind == "W":
            alone.update((word[:4], (first, int(word[4:]))) for word in rest[0].split(" "))
        else:
            mixed.setdefault(first, {})[rest[0]] = rest[1]
    return _Land(alone, mixed)


def _shares(land: _Land, locator: str) -> Shares:
    name = normal(locator)[:6]
    areas = _field_areas(land, name) if len(name) == 2 else _areas(land, name)
    if not areas and len(name) == 6:
        areas = _areas(land, name[:4])
    whole = sum(areas.values())
    return tuple(
        sorted(((region, area / whole) for region, area in areas.items()), key=lambda share: (-share[1], share[0]))
    )


def _field_areas(land: _Land, field: str) -> dict[str, float]:
    total: dict[str, float] = {}
    for number in range(100):
        for region, area in _areas(land, f"{field}{number:02}").items():
            total[region] = total.get(region, 0.0) + area
    return total


def _areas(land: _Land, name: str) -> dict[str, float]:
    """The land of each region within a square or subsquare."""
    square = name[:4]
    lone = land.alone.get(square)
    if lone is not None:
        region, per_mille = lone
        return {region: land_area(square, [_box(square)]) * per_mille / 1000}
    box = _box(name)
    (west, south), (east, north) = box[0], box[2]
    areas: dict[str, float] = {}
    for region, text in land.mixed.get(square, {}).items():
        area = land_area(square, (within(ring, south, west, north, east) for ring in _rings(text)))
        if area > 0:
            areas[region] = area
    return areas


def _box(name: str) -> Ring:
    """The corners of a square or subsquare on the square's grid, anticlockwise from the south-west."""
    if len(name) == 4:
        return [(0, 0), (GRID_STEPS, 0), (GRID_STEPS, GRID_STEPS), (0, GRID_STEPS)]
    size = GRID_STEPS // 24
    west, south = ((ord(letter) - ord("a")) * size for letter in name[4:])
    return [(west, south), (west + size, south), (west + size, south + size), (west, south + size)]


def _rings(text: str) -> Iterator[Ring]:
    """Rings written as the steps from corner to corner, the first from the square's south-west corner."""
    for ring in text.split(";"):
        numbers = [int(word) for word in ring.split(" ")]
        yield list(zip(accumulate(numbers[::2]), accumulate(numbers[1::2]), strict=True))
