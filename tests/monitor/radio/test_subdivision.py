"""What a locator tells of country and state."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.radio.locator import from_point
from watchkeeper.radio.subdivision import countries, us_states

PLACES = st.tuples(st.floats(-90, 90), st.floats(-180, 180))
US_PLACES = st.tuples(st.floats(25, 49), st.floats(-125, -67))


@given(PLACES, st.sampled_from([4, 6, 8, 10]))
def test_shares_make_up_the_whole_the_largest_first(place: tuple[float, float], length: int) -> None:
    for told in (countries, us_states):
        shares = told(from_point(*place, length))
        if shares:
            assert sum(share for _, share in shares) == pytest.approx(1)
            assert [share for _, share in shares] == sorted((share for _, share in shares), reverse=True)
            assert all(share > 0 for _, share in shares)


@given(US_PLACES)
def test_a_subsquare_lies_in_states_of_its_square(place: tuple[float, float]) -> None:
    locator = from_point(*place, 6)
    assert dict(us_states(locator)).keys() <= dict(us_states(locator[:4])).keys()
    assert us_states(from_point(*place, 10)) == us_states(locator) == us_states(locator.upper())


def test_the_subsquares_of_a_square_add_up_to_its_shares() -> None:
    """Within one square the cells' areas differ by less than 2 %, so their mean is the share, land being everywhere."""
    letters = "abcdefghijklmnopqrstuvwx"
    total: dict[str, float] = {}
    for east in letters:
        for north in letters:
            for state, share in us_states(f"EM69{east}{north}"):
                total[state] = total.get(state, 0.0) + share / 24**2
    assert total == pytest.approx(dict(us_states("EM69")), abs=0.01)


def test_a_square_with_several_states() -> None:
    assert [state for state, _ in us_states("FM18")] == ["VA", "MD", "DC"]
    assert us_states("FM18lw") == (("DC", 1.0),)


def test_a_square_with_several_countries() -> None:
    assert [name for name, _ in countries("JN47")] == ["Switzerland", "Germany", "Austria", "Liechtenstein"]


def test_across_the_antimeridian() -> None:
    assert countries("AP06") == countries("RP96") == (("Russia", 1.0),)  # Chukotka reaches beyond it
    assert countries("RH91") == countries("AH01") == (("Fiji", 1.0),)


def test_round_the_pole() -> None:
    for field in "AJR":
        assert countries(f"{field}A00") == (("Antarctica", 1.0),)
        assert countries(f"{field}R09") == ()


def test_territories_are_no_states() -> None:
    assert us_states("FK68") == ()
    assert countries("FK68") == (("Puerto Rico", 1.0),)


def test_at_sea_there_is_nothing() -> None:
    assert countries("JJ00") == us_states("JJ00") == ()


def test_off_the_outlined_coast_the_square_answers() -> None:
    """A subsquare that the outlines leave in the water lies in what its square lies in."""
    assert countries("IO65am") == countries("IO65")


def test_what_is_no_locator_is_refused() -> None:
    for told in (countries, us_states):
        with pytest.raises(ValueError, match="is no locator"):
            told("nowhere")
