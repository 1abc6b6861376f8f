"""Decibels, powers, SNR scales and the chance of a decode."""

from __future__ import annotations

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.radio import link
from watchkeeper.radio.timed_modes import TIMED


def test_powers() -> None:
    assert [link.w_to_dbm(watts) for watts in (0.001, 1, 5, 100)] == pytest.approx([0, 30, 36.99, 50], abs=0.005)
    assert link.dbm_to_w(37) == pytest.approx(5.012, abs=0.001)
    assert link.w_to_dbm(0) == -inf
    assert link.power_change_db(10, 5) == pytest.approx(-3.0103, abs=1e-4)
    assert link.power_change_db(0.5, 1) == pytest.approx(3.0103, abs=1e-4)
    assert link.eirp_w(1500, 2.2, 0.8) == pytest.approx(1500 * 10**0.14)
    assert link.eirp_w(100, 10) == pytest.approx(1000)


@given(st.floats(1e-9, 1e6))
def test_powers_there_and_back(power_w: float) -> None:
    assert link.dbm_to_w(link.w_to_dbm(power_w)) == pytest.approx(power_w)


@pytest.mark.parametrize(
    ("bandwidth_hz", "shift_db"),
    # 10·log10(2500/B), arithmetic
    [(1, 33.98), (6.25, 26.02), (50, 16.99), (83.33, 14.77), (100, 13.98), (250, 10.0), (500, 6.99), (1000, 3.98),
     (2400, 0.18), (2700, -0.33), (3000, -0.79)],
)  # fmt: skip
def test_snr_in_another_bandwidth(bandwidth_hz: float, shift_db: float) -> None:
    assert link.snr_in(-21.0, bandwidth_hz) == pytest.approx(-21.0 + shift_db, abs=0.005)


def test_energy_per_bit_at_the_limit_of_ft8() -> None:
    # 77 bits in 12.64 s at −21 dB in 2,500 Hz: Eb/N0 = 5.1 dB (published with the limit; arithmetic)
    assert link.snr_in(TIMED["FT8"].limit_db, 77 / 12.64) == pytest.approx(5.13, abs=0.01)


def test_chance_of_a_decode() -> None:
    assert link.decode_probability(-21.0, "FT8") == pytest.approx(0.5)
    assert link.decode_probability(-10.0, "FT8") > 0.999
    assert link.decode_probability(-26.0, "FT8") < 0.01
    assert link.decode_probability(-21.0, "FT4") < 0.05
    # 4.4 dB from one chance in ten to nine in ten (common practice, no source)
    assert link.decode_probability(-21 + 2.197, "FT8") == pytest.approx(0.9, abs=1e-3)
    assert link.decode_probability(-21 - 2.197, "FT8") == pytest.approx(0.1, abs=1e-3)
    assert link.decode_probability(-1e9, "FT8") >= 0.0
    with pytest.raises(ValueError, match="'SSB'"):
        link.decode_probability(0.0, "SSB")


@given(st.sampled_from(sorted(TIMED)), st.floats(-60, 60), st.floats(0, 20))
def test_a_stronger_signal_never_decodes_worse(mode: str, snr_db: float, more_db: float) -> None:
    assert 0 <= link.decode_probability(snr_db, mode) <= link.decode_probability(snr_db + more_db, mode) <= 1


@given(st.floats(3, 89), st.sampled_from([110.0, 250.0, 300.0, 400.0]))
def test_hop_length_and_elevation_are_inverse(elevation_deg: float, height_km: float) -> None:
    hop_km = link.hop_length_km(elevation_deg, height_km)
    assert link.hop_elevation_deg(hop_km, height_km) == pytest.approx(elevation_deg, abs=1e-6)


def test_a_hop_of_no_length_goes_straight_up() -> None:
    assert link.hop_elevation_deg(0) == 90


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="ratio -1 is negative"):
        link.ratio_to_db(-1)
    for before_w, after_w in ((10, 0), (0, 10), (-1, 10), (10, -1)):
        with pytest.raises(ValueError, match=f"positive: {before_w} W, {after_w} W"):
            link.power_change_db(before_w, after_w)
    with pytest.raises(ValueError, match="distance -1 km"):
        link.hops(-1)
    with pytest.raises(ValueError, match="hop length -1 km"):
        link.hop_elevation_deg(-1)
    with pytest.raises(ValueError, match=r"SWR 0\.9"):
        link.reflection_coefficient(0.9)
    for forward_w, reflected_w in ((0.0, 0.0), (10.0, 11.0), (10.0, -1.0)):
        with pytest.raises(ValueError, match="does not go with"):
            link.swr_from_powers(forward_w, reflected_w)
