"""Zones by call and place; those of the states are ADIF 3.1.7's (Primary_Administrative_Subdivision, United States)."""

from __future__ import annotations

import pytest

from watchkeeper.radio.entity import lookup
from watchkeeper.radio.zone import zones


@pytest.mark.parametrize(
    ("call", "locator", "expected"),
    [
        ("W1QSB", "FN31pr", (5, 8)),  # Connecticut
        ("W1QSB", "DM04", (3, 6)),  # an eastern call in California
        ("W1QSB", "em12KP", (4, 7)),  # Texas
        ("W1QSB", "DM33", (3, 8)),  # Arizona spans two ITU zones: what the call tells stays
        ("W1QSB", None, (5, 8)),
        ("W1QSB", "JN58", (5, 8)),  # not in the United States
        ("DL5QRM", "FN31", (14, 28)),  # of another entity
        ("KH6QRM", "DM04", (31, 61)),
        ("W1QSB/MM", "FN31", (None, None)),
    ],
)
def test_zones(call: str, locator: str | None, expected: tuple[int | None, int | None]) -> None:
    assert zones(lookup(call), locator) == expected


def test_the_zone_with_most_of_the_land_counts() -> None:
    """EM69 is Indiana's (zone 4) but for a quarter of Illinois (4); FM18 Virginia's, Maryland's, DC's (all 5)."""
    assert zones(lookup("W1QSB"), "EM69").cq == 4
    assert zones(lookup("W6QRM"), "FM18") == (5, 8)
