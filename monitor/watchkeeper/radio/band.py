"""Amateur bands by their ADIF names (ADIF Specification 3.1.7, Band enumeration).

The limits are those of the log format: they hold everywhere and are wider than what a country or an ITU region
allocates. They are no licence limits.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from typing import NamedTuple

from watchkeeper.radio import tables


class Band(NamedTuple):
    """A band: its ADIF name in lower case and its limits in Hz, both inclusive."""

    name: str
    low_hz: int
    high_hz: int


#: all bands of the standard, lowest first
BANDS: tuple[Band, ...] = tuple(
    sorted(
        (Band(row["name"], int(row["low_hz"]), int(row["high_hz"])) for row in tables.rows("adif-bands.csv")),
        key=lambda band: band.low_hz,
    )
)
_LOW_HZ = tuple(band.low_hz for band in BANDS)
_BY_NAME = {band.name: band for band in BANDS}
_LENGTH = re.compile(r"([0-9.]+)([a-z]+)")


def of(frequency_hz: float) -> str | None:
    """Return the name of the band that holds ``frequency_hz``, or None between the bands."""
    at = bisect_right(_LOW_HZ, frequency_hz) - 1
    if at >= 0 and frequency_hz <= BANDS[at].high_hz:
        return BANDS[at].name
    return None


def get(name: str) -> Band | None:
    """Return the band named ``name`` (case does not count), or None."""
    return _BY_NAME.get(name.strip().lower())


def words(name: str | None) -> str:
    """Return a band's name as one reads it: ``20 m`` for ``20m``; ``this frequency`` for one in no band."""
    if name is None:
        return "this frequency"
    found = _LENGTH.fullmatch(name)
    return f"{found[1]} {found[2]}" if found else name
