"""Modes as filed and as spoken, with the misuse of old files mended."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.adif import normalise, on_air, tables, to_adif


@pytest.mark.parametrize(
    ("given_mode", "given_submode", "mode", "submode", "why"),
    [
        ("FT4", None, "MFSK", "FT4", "'FT4' is a submode of MFSK"),
        ("ft4", "", "MFSK", "FT4", "'FT4' is a submode of MFSK"),
        ("FT4", "FT4", "MFSK", "FT4", "MODE 'FT4': FT4 is a submode of MFSK"),
        ("DATA", "FT4", "MFSK", "FT4", "MODE 'DATA': FT4 is a submode of MFSK"),
        (None, "FT4", "MFSK", "FT4", "MODE is missing: FT4 is a submode of MFSK"),
        ("PSK31", None, "PSK", "PSK31", "'PSK31' is a submode of PSK"),
        ("BPSK31", None, "PSK", "PSK31", "'BPSK31' is a submode of PSK"),
        ("C4FM", None, "DIGITALVOICE", "C4FM", "'C4FM' is a submode of DIGITALVOICE"),
        ("D-STAR", None, "DIGITALVOICE", "DSTAR", "'D-STAR' is a submode of DIGITALVOICE"),
        ("USB", None, "SSB", "USB", "'USB' is a submode of SSB"),
        ("FT 8", None, "FT8", None, "MODE 'FT 8' is spelled FT8"),
        ("FT-8", None, "FT8", None, "MODE 'FT-8' is spelled FT8"),
        ("FT8", "FT8", "FT8", None, "SUBMODE 'FT8' only repeats MODE"),
        ("MFSK", "FT8", "FT8", None, "FT8 is a mode, not a submode of 'MFSK'"),
        ("JT65A", None, "JT65", "JT65A", "'JT65A' is a submode of JT65"),
        ("Q65-30A", None, "MFSK", "Q65", "'Q65-30A' is a submode of MFSK"),
        ("FST4-60", None, "MFSK", "FST4", "'FST4-60' is a submode of MFSK"),
        ("MFSK-16", None, "MFSK", "MFSK16", "'MFSK-16' is a submode of MFSK"),
        ("BPSK63", None, "PSK", "PSK63", "'BPSK63' is a submode of PSK"),
        ("PSK", "BPSK31", "PSK", "PSK31", "'PSK BPSK31' is spelled PSK PSK31"),
        ("NEW", "USB", "SSB", "USB", "MODE 'NEW': USB is a submode of SSB"),
        ("PSK-31", None, "PSK", "PSK31", "'PSK-31' is a submode of PSK"),
    ],
)
def test_misuse_is_mended_and_told(
    given_mode: str | None, given_submode: str | None, mode: str, submode: str | None, why: str
) -> None:
    assert normalise(given_mode, given_submode) == (mode, submode, True, why)


@pytest.mark.parametrize(
    ("mode", "submode"), [("FT8", None), ("MFSK", "FT4"), ("CW", None), ("ft8", ""), ("mfsk", "q65"), ("SSB", "USB")]
)
def test_what_is_right_is_left_alone(mode: str, submode: str | None) -> None:
    found = normalise(mode, submode)
    assert found == (mode.upper(), submode.upper() if submode else None, False, "")


@pytest.mark.parametrize(
    ("mode", "submode", "why"),
    [
        ("SSB", "FT4", "SUBMODE FT4 belongs to MFSK, not to MODE SSB"),
        ("MFSK", "NEW9", "SUBMODE 'NEW9' is not in the standard's table"),
        ("NEW9", None, "MODE 'NEW9' is not in the standard's table"),
        ("", None, "MODE is missing"),
        ("XX", "FAST", "MODE 'XX' is not in the standard's table; SUBMODE 'FAST' is not in the standard's table"),
        ("", "FAST", "MODE is missing; SUBMODE 'FAST' is not in the standard's table"),
    ],
)
def test_what_the_tables_do_not_settle_is_kept_and_told(mode: str, submode: str | None, why: str) -> None:
    assert normalise(mode, submode) == (mode, submode, False, why)


@pytest.mark.parametrize(
    ("given_mode", "mode", "submode", "why"),
    [
        (
            "PSK31",
            "PSK",
            "PSK31",
            "'PSK31' is a submode of PSK; SUBMODE 'FAST' is not in the standard's table and is left out",
        ),
        ("FT-8", "FT8", "FAST", "MODE 'FT-8' is spelled FT8; SUBMODE 'FAST' is not in the standard's table"),
    ],
)
def test_an_unknown_submode_gives_way_to_a_known_one_in_mode(
    given_mode: str, mode: str, submode: str, why: str
) -> None:
    assert normalise(given_mode, "FAST") == (mode, submode, True, why)


@given(st.text(max_size=12), st.text(max_size=12) | st.none())
def test_a_mend_needs_no_second_mend(mode: str, submode: str | None) -> None:
    once = normalise(mode, submode)
    again = normalise(once.mode, once.submode)
    assert again[:3] == (once.mode, once.submode, False)


@given(st.sampled_from(sorted(tables.submodes())) | st.sampled_from(sorted(tables.enumeration("Mode") or {})))
def test_spoken_names_come_back(name: str) -> None:
    assert on_air(*to_adif(name)) == name
