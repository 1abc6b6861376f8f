"""Median noise of Recommendation ITU-R P.372.

Constants: ITU-R Study Group 3 reference code (Noise.c), galactic noise also P.372-16 equation (13). The values at four
frequencies were computed from them apart from this program, as a cross-check.
"""

from __future__ import annotations

import pytest

from watchkeeper.radio import noise
from watchkeeper.radio.noise import ENVIRONMENTS, Environment

TABLE: dict[float, tuple[float, ...]] = {
    3.5e6: (61.73, 57.43, 52.13, 38.04, 39.49),
    7e6: (53.39, 49.09, 43.79, 29.43, 32.56),
    14e6: (45.05, 40.75, 35.45, 20.82, 25.64),
    28e6: (36.71, 32.41, 27.11, 12.21, 18.72),
}


@pytest.mark.parametrize("frequency_hz", TABLE)
def test_medians(frequency_hz: float) -> None:
    found = [noise.median_db(environment, frequency_hz) for environment in ENVIRONMENTS]
    assert found == pytest.approx(TABLE[frequency_hz], abs=0.005)


def test_deciles() -> None:
    assert {name: (row.upper_decile_db, row.lower_decile_db) for name, row in ENVIRONMENTS.items()} == {
        "city": (11.0, 6.7),
        "residential": (10.6, 5.3),
        "rural": (9.2, 4.6),
        "quiet rural": (9.2, 4.6),
        "galactic": (2.0, 2.0),
    }


def test_power_in_2500_hz() -> None:
    assert noise.power_dbm("residential", 14e6) == pytest.approx(-99.27, abs=0.01)


@pytest.mark.parametrize(("here", "there", "expected"), [("city", "rural", 9.6), ("rural", "city", -9.6)])
def test_difference(here: Environment, there: Environment, expected: float) -> None:
    assert noise.difference_db(here, there, 7e6) == pytest.approx(expected)


def test_spread_is_that_of_the_decile_range() -> None:
    # half of 11.0 + 6.7 dB is 1.2816 standard deviations of a normal distribution
    assert noise.spread_db("city") == pytest.approx(6.905, abs=0.001)


def test_a_frequency_must_be_positive() -> None:
    with pytest.raises(ValueError, match="0 Hz is not positive"):
        noise.median_db("city", 0)
