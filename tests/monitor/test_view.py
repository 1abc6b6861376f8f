"""The words that views share."""

from __future__ import annotations

import pytest

from watchkeeper.view import counted, minus


@pytest.mark.parametrize(
    ("number", "words"), [(0, "0 stations"), (1, "1 station"), (2, "2 stations"), (1204, "1,204 stations")]
)
def test_a_number_of_things(number: int, words: str) -> None:
    assert counted(number, "station") == words


def test_a_number_of_things_that_take_no_s() -> None:
    assert [counted(number, "entity", "entities") for number in (1, 2)] == ["1 entity", "2 entities"]


@pytest.mark.parametrize(("number", "words"), [("-12 dB", "−12 dB"), ("+3", "+3"), ("599-001", "599-001"), ("", "")])
def test_people_are_shown_a_true_minus_sign(number: str, words: str) -> None:
    assert minus(number) == words
