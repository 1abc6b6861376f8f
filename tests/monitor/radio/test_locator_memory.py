"""What is remembered of where stations are."""

from __future__ import annotations

import pytest

from watchkeeper.radio.locator_memory import LocatorMemory


def test_the_newest_locator_of_a_rover_wins() -> None:
    memory = LocatorMemory()
    for locator in ("FN42", "FN43"):
        memory.note("W1QSB/R", locator)
    assert memory.get("W1QSB/R") == "FN43"


def test_a_compound_call_is_not_at_home() -> None:
    memory = LocatorMemory()
    memory.note("W1QSB", "FN42")
    memory.note("PJ4/W1QSB", "FK52")
    assert (memory.get("W1QSB"), memory.get("PJ4/W1QSB"), memory.get("F/W1QSB")) == ("FN42", "FK52", None)


def test_a_coarse_locator_does_not_wipe_out_the_finer_one() -> None:
    memory = LocatorMemory()
    for locator in ("JO62QM", "JO62"):
        memory.note("DL5QRM", locator)
    assert memory.get("DL5QRM") == "JO62QM"
    memory.note("DL5QRM", "JO63")
    assert memory.get("DL5QRM") == "JO63"


def test_the_longest_unheard_is_forgotten_first() -> None:
    memory = LocatorMemory(limit=2)
    for call in ("DL5QRM", "W1QSB", "DL5QRM", "JA1QRV"):
        memory.note(call, "JO62")
    assert [memory.get(call) for call in ("DL5QRM", "W1QSB", "JA1QRV")] == ["JO62", None, "JO62"]
    with pytest.raises(ValueError, match="holds none"):
        LocatorMemory(limit=0)
