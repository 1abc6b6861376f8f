"""Modes as filed and as spoken, with the misuse of old files mended."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.adif import normalise, on_air, tables, to_adif


@pytest.mark.parametrize(
    ("given_mode", "given_submode", "mode", "submode"),
    [
        ("FT4", None, "MFSK", "FT4"),
        ("ft4", "", "MFSK", "FT4"),
        ("FT4", "FT4", "MFSK", "FT4"),
        ("DATA", "FT4", "MFSK", "FT4"),
        (None, "FT4", "MFSK", "FT4"),
        ("PSK31", None, "PSK", "PSK31"),
        ("BPSK31", None, "PSK", "PSK31"),
        ("C4FM", None, "DIGITALVOICE", "C4FM"),
        ("D-STAR", None, "DIGITALVOICE", "DSTAR"),
        ("USB", None, "SSB", "USB"),
        ("FT-8", None, "FT8", None),
        ("FT8", "FT8", "FT8", None),
        ("MFSK", "FT8", "FT8", None),
        ("JT65A", None, "JT65", "JT65A"),
        ("Q65-30A", None, "MFSK", "Q65"),
        ("FST4-60", None, "MFSK", "FST4"),
        ("MFSK-16", None, "MFSK", "MFSK16"),
    ],
)
def test_misuse_is_mended_and_told(
    given_mode: str | None, given_submode: str | None, mode: str, submode: str | None
) -> None:
    found = normalise(given_mode, given_submode)
    assert (found.mode, found.submode, found.mended) == (mode, submode, True)
    assert found.why


@pytest.mark.parametrize(
    ("mode", "submode"), [("FT8", None), ("MFSK", "FT4"), ("CW", None), ("ft8", ""), ("mfsk", "q65"), ("SSB", "USB")]
)
def test_what_is_right_is_left_alone(mode: str, submode: str | None) -> None:
    found = normalise(mode, submode)
    assert found == (mode.upper(), submode.upper() if submode else None, False, "")


@pytest.mark.parametrize(
    ("mode", "submode", "words"),
    [
        ("SSB", "FT4", "belongs to MFSK"),
        ("MFSK", "NEW9", "not in the standard's table"),
        ("NEW9", None, "not in the standard's table"),
        ("", None, "missing"),
    ],
)
def test_what_the_tables_do_not_settle_is_kept_and_told(mode: str, submode: str | None, words: str) -> None:
    found = normalise(mode, submode)
    assert found[:3] == (mode, submode, False)
    assert words in found.why


def test_a_known_submode_in_mode_outweighs_an_unknown_submode() -> None:
    found = normalise("PSK31", "FAST")
    assert found[:3] == ("PSK", "PSK31", True)
    assert "'FAST'" in found.why


@given(st.text(max_size=12), st.text(max_size=12) | st.none())
def test_a_mend_needs_no_second_mend(mode: str, submode: str | None) -> None:
    once = normalise(mode, submode)
    again = normalise(once.mode, once.submode)
    assert again[:3] == (once.mode, once.submode, False)


@given(st.sampled_from(sorted(tables.submodes())) | st.sampled_from(sorted(tables.enumeration("Mode") or {})))
def test_spoken_names_come_back(name: str) -> None:
    assert on_air(*to_adif(name)) == name
