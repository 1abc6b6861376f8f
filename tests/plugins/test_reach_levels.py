"""What reach remembers of the levels it heard, and for how long."""

from __future__ import annotations

from watchkeeper_reach.levels import KEPT_MS, BandLevels, Level


def test_who_was_silent_for_an_hour_is_forgotten() -> None:
    """A day on a full band hears many times the stations of an hour."""
    levels = BandLevels()
    levels.heard("W1QSB", None, Level(0, -5.0, "one", at_floor=False))
    levels.heard("W9QTA", None, Level(KEPT_MS, -5.0, "one", at_floor=False))
    assert levels.near("W1QSB", 0) is not None
    levels.heard("W9QTA", None, Level(KEPT_MS + 15_000, -5.0, "one", at_floor=False))
    assert levels.near("W1QSB", 0) is None
    assert levels.near("W9QTA", KEPT_MS) is not None
