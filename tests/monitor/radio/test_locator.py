"""Locators back and forth, whatever the place."""

from __future__ import annotations

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.radio.locator import LENGTHS, cell, centre, corner, from_point, is_locator, normal

LATITUDES = st.floats(-90, 90)
LONGITUDES = st.floats(-180, 180)
ALPHABETS = (
    string.ascii_uppercase[:18],
    string.digits,
    string.ascii_lowercase[:24],
    string.digits,
    string.ascii_lowercase[:24],
)


@st.composite
def locators(draw: st.DrawFn) -> str:
    pairs = draw(st.integers(1, 5))
    return "".join(draw(st.sampled_from(alphabet)) for alphabet in ALPHABETS[:pairs] for _ in "12")


@given(locators())
def test_centre_and_corner_lie_in_their_own_locator(locator: str) -> None:
    assert from_point(*centre(locator), len(locator)) == locator
    assert from_point(*corner(locator), len(locator)) == locator


@given(locators())
def test_case_does_not_matter(locator: str) -> None:
    for text in (locator.upper(), locator.lower(), locator.swapcase()):
        assert is_locator(text)
        assert normal(text) == locator
        assert cell(text) == cell(locator)


@given(LATITUDES, LONGITUDES, st.sampled_from(LENGTHS))
def test_a_place_lies_in_the_cell_of_its_locator(latitude: float, longitude: float, length: int) -> None:
    south, west, north, east = cell(from_point(latitude, longitude, length))
    slack = 1e-9
    assert south - slack <= latitude <= north + slack
    assert west - slack <= longitude <= east + slack or (longitude >= 180 - slack and west == -180)


@given(LATITUDES, LONGITUDES)
def test_a_longer_locator_begins_with_the_shorter_ones(latitude: float, longitude: float) -> None:
    longest = from_point(latitude, longitude, 10)
    assert [from_point(latitude, longitude, length) for length in LENGTHS] == [longest[:length] for length in LENGTHS]


@given(LATITUDES, LONGITUDES, st.integers(-3, 3))
def test_whole_turns_do_not_matter(latitude: float, longitude: float, turns: int) -> None:
    assert from_point(latitude, round(longitude, 3) + 360 * turns) == from_point(latitude, round(longitude, 3))


@given(st.text(max_size=12))
def test_any_text_is_a_locator_or_refused_in_words(text: str) -> None:
    if is_locator(text):
        assert is_locator(normal(text))
    else:
        with pytest.raises(ValueError, match="is no locator"):
            normal(text)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((91, 0), "latitude must lie within"),
        ((-90.001, 0), "latitude must lie within"),
        ((float("nan"), 0), "finite"),
        ((0, float("inf")), "finite"),
        ((0, 0, 5), "2, 4, 6, 8 or 10 characters"),
        ((0, 0, 12), "2, 4, 6, 8 or 10 characters"),
    ],
)
def test_bad_places_are_refused_in_words(arguments: tuple[float, ...], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        from_point(*arguments)  # type: ignore[arg-type]


def test_the_north_pole_lies_in_the_northernmost_cells() -> None:
    for length in LENGTHS:
        assert cell(from_point(90, 0, length))[2] == 90


def test_letters_of_other_scripts_are_no_locator() -> None:
    assert not is_locator("JN58ıd")
    assert not is_locator("JN५८")
    assert not is_locator("JN58\n")
