"""The eight directions of the compass."""

from __future__ import annotations

#: the directions, each 45° wide, the first centred on north
SECTORS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")


def sector_of(azimuth_deg: float) -> str:
    """Return the direction in which an azimuth lies: ``N`` from 337.5° up to 22.5°, which is ``NE`` already."""
    return SECTORS[int((azimuth_deg + 22.5) % 360 // 45)]
