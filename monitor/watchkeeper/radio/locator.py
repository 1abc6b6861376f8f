"""The locator (Maidenhead system): a letter-and-digit name of a cell of the WGS 84 grid.

Two characters a pair, the longitude's first: field (A-R, 20° × 10°), square (0-9, 2° × 1°), subsquare (A-X, 5′ × 2.5′),
extended square (0-9, 30″ × 15″) and a fifth pair (A-X, 1.25″ × 0.625″). A cell is named after its south-west corner and
holds its southern and western edges, not its northern and eastern ones. Where that leaves no cell, this module settles:

* longitude +180° is the same meridian as −180° and lies in the westernmost cells (field A);
* latitude +90° is clamped into the northernmost row (field R, square 9, ...).

The canonical case is ``JN58td25``: fields in capitals, the other letters small. Every function accepts any case.
"""

from __future__ import annotations

import re
from functools import lru_cache
from math import floor, isfinite

from watchkeeper.radio.place import Point

#: the lengths a locator can have
LENGTHS = (2, 4, 6, 8, 10)

# One step is the size of the finest (fifth) pair: every coarser cell is a whole number of them, so that cells are
# computed in whole numbers and a corner never falls into its neighbour by a rounding error.
_STEPS_PER_FIELD = 10 * 24 * 10 * 24
_STEPS_PER_DEGREE_LATITUDE = _STEPS_PER_FIELD // 10
_STEPS_PER_DEGREE_LONGITUDE = _STEPS_PER_FIELD // 20
_PAIR_STEPS = (_STEPS_PER_FIELD, 24 * 10 * 24, 10 * 24, 24, 1)
_DIGITS = "0123456789"
_LETTERS = "abcdefghijklmnopqrstuvwx"
_PAIR_CHARACTERS = ("ABCDEFGHIJKLMNOPQR", _DIGITS, _LETTERS, _DIGITS, _LETTERS)

_SHAPE = re.compile(r"[A-R]{2}(?:[0-9]{2}(?:[A-X]{2}(?:[0-9]{2}(?:[A-X]{2})?)?)?)?", re.ASCII | re.IGNORECASE)

# A corner computed from a cell must find that cell again although its binary fraction falls just short of it.
_EDGE_TOLERANCE_STEPS = 1e-6


def is_locator(text: str) -> bool:
    """Whether ``text`` has the form of a locator of 2, 4, 6, 8 or 10 characters, in any case."""
    return _SHAPE.fullmatch(text) is not None


def normal(locator: str) -> str:
    """The locator in canonical case; ``ValueError`` where it is none."""
    _check(locator)
    return locator[:2].upper() + locator[2:].lower()


def corner(locator: str) -> Point:
    """The south-west corner of the locator's cell; ``ValueError`` where it is none."""
    south, west, _, _ = cell(locator)
    return Point(south, west)


@lru_cache(maxsize=8192)
def centre(locator: str) -> Point:
    """The centre of the locator's cell; ``ValueError`` where it is none."""
    south, west, north, east = cell(locator)
    return Point((south + north) / 2, (west + east) / 2)


def cell(locator: str) -> tuple[float, float, float, float]:
    """South, west, north, east of the locator's cell in degrees (east up to +180°); ``ValueError`` where it is none."""
    _check(locator)
    text = locator.upper()
    east_steps = north_steps = 0
    for pair in range(len(text) // 2):
        east_steps += _digit(text[2 * pair]) * _PAIR_STEPS[pair]
        north_steps += _digit(text[2 * pair + 1]) * _PAIR_STEPS[pair]
    size = _PAIR_STEPS[len(text) // 2 - 1]
    return (
        north_steps / _STEPS_PER_DEGREE_LATITUDE - 90,
        east_steps / _STEPS_PER_DEGREE_LONGITUDE - 180,
        (north_steps + size) / _STEPS_PER_DEGREE_LATITUDE - 90,
        (east_steps + size) / _STEPS_PER_DEGREE_LONGITUDE - 180,
    )


def from_point(latitude: float, longitude: float, length: int = 6) -> str:
    """The locator of ``length`` characters in whose cell a place lies; any longitude is brought into −180° to +180°.

    ``ValueError`` for another length, a latitude beyond ±90° or what is no number.
    """
    if length not in LENGTHS:
        raise ValueError(f"a locator has 2, 4, 6, 8 or 10 characters, not {length}")
    if not (isfinite(latitude) and isfinite(longitude)):
        raise ValueError(f"latitude and longitude must be finite numbers, not {latitude}, {longitude}")
    if not -90 <= latitude <= 90:
        raise ValueError(f"the latitude must lie within -90 to 90 degrees, not {latitude}")
    north_steps = floor((latitude + 90) * _STEPS_PER_DEGREE_LATITUDE + _EDGE_TOLERANCE_STEPS)
    east_steps = floor((longitude + 180) * _STEPS_PER_DEGREE_LONGITUDE + _EDGE_TOLERANCE_STEPS)
    north_steps = min(north_steps, 18 * _STEPS_PER_FIELD - 1)
    east_steps %= 18 * _STEPS_PER_FIELD
    characters: list[str] = []
    for pair in range(length // 2):
        names = _PAIR_CHARACTERS[pair]
        characters.extend(names[steps // _PAIR_STEPS[pair] % len(names)] for steps in (east_steps, north_steps))
    return "".join(characters)


def _digit(character: str) -> int:
    return ord(character) - (48 if character <= "9" else 65)


def _check(locator: str) -> None:
    if not is_locator(locator):
        raise ValueError(
            f"{locator!r} is no locator: two letters A-R, two digits, two letters A-X, two digits, two letters A-X, "
            "of which the later pairs may be left out"
        )
