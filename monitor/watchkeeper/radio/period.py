"""Periods of the timed modes: stretches of UTC of equal length, counted from 1970-01-01 00:00:00.

All times are whole milliseconds, so that the 7.5 s periods of FT4 stay exact. Every length divides the day: periods
start at midnight whatever the date. Parity = floor(UTC seconds ÷ length) mod 2.
"""

from __future__ import annotations

from functools import lru_cache

from watchkeeper.radio.mode import timed


@lru_cache(maxsize=128)
def length_ms(mode: str) -> int:
    """Return the length of a period of ``mode`` in milliseconds. Raises ValueError if ``mode`` is not timed."""
    found = timed(mode)
    if found is None:
        raise ValueError(f"{mode!r} has no fixed periods")
    return round(found.period_s * 1000)


def start_ms(at_ms: int, mode: str) -> int:
    """Return the start of the period of ``mode`` in which ``at_ms`` (since 1970, UTC) lies; a start is its own."""
    return at_ms - at_ms % length_ms(mode)


def parity(start_ms: int, mode: str) -> int:
    """Return 0 (even) or 1 (odd) for the period in which ``start_ms`` lies."""
    return start_ms // length_ms(mode) % 2
