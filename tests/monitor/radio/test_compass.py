"""The eight directions of the compass."""

from __future__ import annotations

import pytest

from watchkeeper.faces import words
from watchkeeper.radio.compass import SECTORS, sector_of


@pytest.mark.parametrize(
    ("azimuth_deg", "sector"),
    [
        (0, "N"),
        (22.4, "N"),
        (22.5, "NE"),
        (90, "E"),
        (179, "S"),
        (292.4, "W"),
        (337.4, "NW"),
        (337.5, "N"),
        (359.9, "N"),
    ],
)
def test_eight_directions_of_45_degrees(azimuth_deg: float, sector: str) -> None:
    assert sector_of(azimuth_deg) == sector


def test_there_are_eight_sectors() -> None:
    assert {sector_of(azimuth / 2) for azimuth in range(720)} == set(SECTORS)


def test_the_faces_draw_the_same_ones() -> None:
    assert words.SECTORS == SECTORS
