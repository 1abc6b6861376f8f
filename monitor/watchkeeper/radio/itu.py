"""Which administration a call sign series is allocated to: ITU Radio Regulations, Appendix 42."""

from __future__ import annotations

from bisect import bisect_right
from functools import lru_cache

from watchkeeper.radio import datafile

# RR 19.50.1: the first character alone tells the administration. (2 is on that list too, but no amateur prefix by
# itself.)
_ONE_CHARACTER = frozenset("BFGIKMNRW")
# Common practice, no source: what App. 42 leaves open, because it needs a third letter or gives one series to several.
_BY_PRACTICE = {
    "3D2": "Fiji (Republic of)",
    "PJ2": "Netherlands (Kingdom of the) - Curaçao",
    "PJ4": "Netherlands (Kingdom of the) - Bonaire, Sint Eustatius and Saba",
    "PJ5": "Netherlands (Kingdom of the) - Bonaire, Sint Eustatius and Saba",
    "PJ6": "Netherlands (Kingdom of the) - Bonaire, Sint Eustatius and Saba",
    "PJ7": "Netherlands (Kingdom of the) - Sint Maarten (Dutch part)",
    "U5": "Ukraine",
}
_RUSSIAN_ONE_CHARACTER = "U"


@lru_cache(maxsize=1)
def series() -> tuple[tuple[str, str, str], ...]:
    """All series in order: first and last three characters, administration."""
    rows = (line.split("\t") for line in datafile.read("itu-series.txt").splitlines())
    return tuple((first, last, administration) for first, last, administration in rows)


@lru_cache(maxsize=16384)
def allocated_to(call: str) -> str | None:
    """The administration that the series of a call sign or prefix is allocated to; None where it is not allocated.

    ``call`` is in capitals, without what stands before or after a slash. Where Appendix 42 asks for a third letter
    (half series) or gives a series to several, and the call has a digit there, use decides; where use leaves it open
    the answer is None. 1A, S0 and Z6 are in use but allocated to nobody, so they give None too.
    """
    practice = _BY_PRACTICE.get(call[:3]) or _BY_PRACTICE.get(call[:2])
    if practice:
        return practice
    if len(call) == 1 or call[1:2].isdigit():
        if call[:1] in _ONE_CHARACTER:
            return _allocated(call[0] + "AA")
        if call[:1] == _RUSSIAN_ONE_CHARACTER:
            return "Russian Federation"
    third = call[2:3]
    if third.isalpha():
        return _allocated(call[:3])
    first_half, second_half = _allocated(call[:2] + "A"), _allocated(call[:2] + "Z")
    return first_half if first_half == second_half else None


def _allocated(key: str) -> str | None:
    rows = series()
    index = bisect_right(rows, (key, "ZZZ~", "")) - 1
    if index < 0:
        return None
    first, last, administration = rows[index]
    return administration if len(key) == 3 and first <= key <= last else None
