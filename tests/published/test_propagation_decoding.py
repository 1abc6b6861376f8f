"""The simulated decoder against the published limits of FT8 and FT4 and the noise of ITU-R P.372."""

from __future__ import annotations

import pytest

from watchkeeper.radio import link, noise
from watchkeeper.radio.mode import timed
from watchkeeper.rehearsal import decoding
from watchkeeper.rehearsal.station import noise_power_dbm


@pytest.mark.parametrize(("mode", "limit_db"), [("FT8", -21.0), ("FT4", -17.5)])
def test_decoding_curve(mode: str, limit_db: float) -> None:
    """Half of all transmissions at the limit (Franke, Somerville, Taylor, QEX July/August 2020; FT4 from memory)."""
    found = timed(mode)
    assert found is not None
    assert found.limit_db == limit_db
    assert decoding.chance(limit_db, found.limit_db) == 0.5
    assert decoding.chance(limit_db + 3, found.limit_db) > 0.94
    assert decoding.chance(limit_db - 3, found.limit_db) < 0.06


@pytest.mark.parametrize("snr_db", [-26.0, -22.5, -21.0, -18.0, 0.0])
def test_curve_is_the_one_that_the_radio_library_states(snr_db: float) -> None:
    assert decoding.chance(snr_db, -21.0) == pytest.approx(link.decode_probability(snr_db, "FT8"), abs=1e-9)


def test_nothing_decodes_two_and_a_half_seconds_off() -> None:
    """Common practice, no source."""
    assert decoding.in_time(1.9) == decoding.in_time(-1.9) == 1.0
    assert 0 < decoding.in_time(2.2) < 1
    assert decoding.in_time(2.5) == decoding.in_time(-3.0) == 0.0


def test_neighbours_disturb_only_within_the_bandwidth() -> None:
    """8 × 6.25 Hz = 50 Hz occupied (QEX July/August 2020)."""
    apart = decoding.disturbed_db([(1000.0, -10.0), (1050.0, 5.0)], 50.0)
    assert apart == [-10.0, 5.0]
    together = decoding.disturbed_db([(1000.0, -10.0), (1020.0, 5.0)], 50.0)
    assert together[0] < -10.5
    assert -2.0 < together[1] < 5.0


def test_the_stronger_of_two_survives() -> None:
    weak, strong = decoding.disturbed_db([(1000.0, -15.0), (1010.0, 0.0)], 50.0)
    assert decoding.chance(strong, -21.0) > 0.99
    assert weak < -15.0


@pytest.mark.parametrize(
    ("surroundings", "noise_dbm"),
    [("residential", -99.14), ("city", -94.92), ("rural", -104.14), ("quiet rural", -113.14)],
)
def test_noise_of_a_simulated_station_on_20_m(surroundings: noise.Environment, noise_dbm: float) -> None:
    """Man-made and galactic medians of ITU-R P.372 at 14 MHz added in power, in 2,500 Hz, computed by hand.

    Fam 45.05, 40.75, 35.45, 20.82 and 25.64 dB (the Recommendation's reference code); kT0 = -174 dBm/Hz.
    """
    assert noise_power_dbm(surroundings, 14e6) == pytest.approx(noise_dbm, abs=0.05)
