"""Bands, modes and periods beyond the tables of the standard."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.faces.words import band_words
from watchkeeper.radio import band, mode, period
from watchkeeper.radio.timed_modes import CALLING_HZ, TIMED

NAMES = sorted(TIMED)


def test_band_of_dial_frequencies() -> None:
    assert [band.of(hz) for hz in (14_074_000, 7_074_000.5, 54_000_000, 54_000_001)] == ["20m", "40m", "6m", "5m"]


@pytest.mark.parametrize("frequency_hz", [0, -1, 4_500_000, 8e12, math.nan, math.inf])
def test_no_band(frequency_hz: float) -> None:
    assert band.of(frequency_hz) is None


def test_band_by_name() -> None:
    assert band.get(" 20M ") == band.get("20m") == ("20m", 14_000_000, 14_350_000)
    assert band.get("11m") is None


@pytest.mark.parametrize(
    ("name", "words"),
    [("20m", "20 m"), ("70cm", "70 cm"), ("1.25m", "1.25 m"), ("submm", "submm"), (None, "this frequency")],
)
def test_band_in_words(name: str | None, words: str) -> None:
    assert band.words(name) == words


@pytest.mark.parametrize("name", [found.name for found in band.BANDS])
def test_the_faces_read_every_band_alike(name: str) -> None:
    assert band_words(name) == band.words(name)


@pytest.mark.parametrize(
    ("name", "transmission_s", "bandwidth_hz"),
    [
        # QEX July/August 2020, from memory: symbols × symbol length; tones × spacing
        ("FT8", 12.64, 50.0),
        ("FT4", 5.04, 83.33),
        # published descriptions of the protocols, from memory
        ("FST4-15", 9.6, 66.7),
        ("FST4-60", 51.84, 12.3),
        ("Q65-30", 25.5, 216.7),
        ("JT65", 46.81, 177.6),
        ("JT9", 48.96, 15.6),
        ("WSPR", 110.6, 5.9),
    ],
)
def test_length_and_width_of_a_transmission(name: str, transmission_s: float, bandwidth_hz: float) -> None:
    found = mode.timed(name)
    assert found is not None
    assert found.transmission_s == pytest.approx(transmission_s, abs=0.01)
    assert found.bandwidth_hz == pytest.approx(bandwidth_hz, abs=0.1)


def test_duty_of_alternating_periods() -> None:
    # 12.64 s of 30 s = 42.13 %, 5.04 s of 15 s = 33.6 %: arithmetic
    assert [TIMED[name].duty for name in ("FT8", "FT4")] == pytest.approx([0.4213, 0.336], abs=1e-4)


@pytest.mark.parametrize("name", NAMES)
def test_timed_modes_are_consistent(name: str) -> None:
    found = TIMED[name]
    assert found.start_s + found.transmission_s < found.period_s
    assert found.floor_db < found.limit_db
    assert mode.is_known(name)
    assert mode.to_adif(name) == (found.adif_mode, found.adif_submode)


def test_mode_names_without_their_period() -> None:
    assert mode.to_adif("fst4-60") == ("MFSK", "FST4")
    assert mode.timed("q65") == mode.timed("Q65-60")
    assert mode.timed("SSB") is None
    assert mode.timed("FST4-61") is None


def test_unknown_modes() -> None:
    assert not mode.is_known("FT9")
    with pytest.raises(ValueError, match="'FT9' is no mode or submode of ADIF"):
        mode.to_adif("FT9")


@pytest.mark.parametrize(
    ("written", "submode", "name"),
    [
        ("FT4", None, "FT4"),
        ("ft4", "", "FT4"),
        ("SSB", "FT4", "FT4"),
        ("FT8", "FT8", "FT8"),
        ("DATA", "FT8", "DATA"),
        ("", "USB", "USB"),
        ("", "", ""),
        ("MFSK", "NEWER", "MFSK"),
    ],
)
def test_old_misuse_is_mended(written: str, submode: str | None, name: str) -> None:
    assert mode.from_adif(written, submode) == name


@pytest.mark.parametrize(
    ("name", "group"),
    [("CW", "CW"), ("PCW", "CW"), ("USB", "PHONE"), ("FM", "PHONE"), ("C4FM", "PHONE"), ("FT8", "DATA"),
     ("RTTY", "DATA"), ("Q65-30", "DATA"), ("SSTV", "DATA"), ("unheard of", "DATA")],
)  # fmt: skip
def test_group(name: str, group: str) -> None:
    assert mode.group(name) == group


def test_customary_frequencies() -> None:
    # common practice, no source
    assert mode.calling_hz("FT8", "20m", 1) == 14_074_000
    assert mode.calling_hz("FT4", "40m", 2) == 7_047_500
    assert mode.calling_hz("Q65-30", "6m", 3) == 50_275_000
    assert mode.calling_hz("FT8", "4m", 1) == 70_154_000
    assert mode.calling_hz("FT8", "4m", 2) is None
    assert mode.calling_hz("SSB", "20m", 1) is None
    with pytest.raises(ValueError, match="ITU region 4"):
        mode.calling_hz("FT8", "20m", 4)


def test_customary_frequencies_lie_in_their_bands() -> None:
    found = [(name, of, hz) for customs in CALLING_HZ.values() for name, by in customs.items() for of, hz in by.items()]
    assert [(name, of, hz) for name, of, hz in found if band.of(hz) != name or of not in (1, 2, 3)] == []


# --- periods --------------------------------------------------------------------------------------------------------


def test_periods_of_ft8() -> None:
    noon = 1_700_000_000_000 // 86_400_000 * 86_400_000 + 43_200_000
    assert period.length_ms("FT8") == 15_000
    assert period.start_ms(noon + 14_999, "FT8") == noon
    assert period.start_ms(noon + 15_000, "FT8") == noon + 15_000
    assert [period.parity(noon + 15_000 * number, "FT8") for number in range(4)] == [0, 1, 0, 1]


def test_periods_of_ft4_are_exact() -> None:
    starts = [period.start_ms(at_ms, "FT4") for at_ms in range(0, 60_000, 100)]
    assert sorted(set(starts)) == [0, 7500, 15000, 22500, 30000, 37500, 45000, 52500]
    assert [period.parity(start, "FT4") for start in (0, 7500, 15000, 22500)] == [0, 1, 0, 1]


def test_a_mode_without_periods() -> None:
    with pytest.raises(ValueError, match="'CW' has no fixed periods"):
        period.length_ms("CW")


@given(st.integers(-(10**13), 10**13), st.sampled_from(NAMES))
def test_every_moment_lies_in_one_period(at_ms: int, name: str) -> None:
    start, length = period.start_ms(at_ms, name), period.length_ms(name)
    assert start <= at_ms < start + length
    assert period.start_ms(start, name) == start
    assert period.parity(start, name) == period.parity(at_ms, name) != period.parity(start + length, name)


@pytest.mark.parametrize("name", NAMES)
def test_periods_start_at_midnight(name: str) -> None:
    assert 86_400_000 % (2 * period.length_ms(name)) == 0
