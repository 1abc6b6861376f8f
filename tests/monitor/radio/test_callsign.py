"""Call signs and what is added to them: common practice, no source, but where one is named."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.radio.callsign import CallSign, base_call, parse, parse_cached

HOME_CALLS = st.from_regex(r"(DL|G|K|VK|JA|S5|9A|2E|3DA|4X|E7)[0-9]Q[R-U][A-Z]", fullmatch=True)
AFFIXES = st.lists(st.sampled_from(["P", "M", "MM", "AM", "QRP", "R", "A", "B", "4", "VE3", "50"]), max_size=3)


def taken_apart(text: str) -> CallSign:
    found = parse(text)
    assert found is not None, text
    return found


@pytest.mark.parametrize(
    ("text", "base", "operating", "status", "prefix"),
    [
        ("DL5QRM", "DL5QRM", "DL5QRM", "home", "DL5"),
        ("dl5qrm", "DL5QRM", "DL5QRM", "home", "DL5"),
        (" DL5QRM ", "DL5QRM", "DL5QRM", "home", "DL5"),
        # the place of operation before and after
        ("VE3/G4QRS", "G4QRS", "VE3", "portable", "VE3"),
        ("G4QRS/VE3", "G4QRS", "VE3", "portable", "VE3"),
        ("DL/W1QSA", "W1QSA", "DL", "portable", "DL0"),
        ("DL/W1QSA/P", "W1QSA", "DL", "portable", "DL0"),
        ("9A/W1QSA", "W1QSA", "9A", "portable", "9A0"),
        ("F/G4QRS", "G4QRS", "F", "portable", "F0"),
        ("C6A/W1QSA", "W1QSA", "C6A", "portable", "C6"),
        ("W1QSA/C6A", "W1QSA", "C6A", "portable", "C6"),
        ("VP2E/W1QSA", "W1QSA", "VP2E", "portable", "VP2"),
        ("W1QSA/J6", "W1QSA", "J6", "portable", "J6"),
        ("MM/W1QSA", "W1QSA", "MM", "portable", "MM0"),  # Scotland: only a trailing MM is the sea
        # of two parts of equal length the one that names a territory, else the first, is the place
        ("KH8S/K9QR", "K9QR", "KH8S", "portable", "KH8"),
        ("K9QR/KH8S", "K9QR", "KH8S", "portable", "KH8"),
        ("W1QR/VP2E", "W1QR", "VP2E", "portable", "VP2"),
        # a call with a number of its own outranks one whose prefix holds it, wherever it stands
        ("C4QR/W1QR", "W1QR", "C4QR", "portable", "C4"),
        ("W1QR/C4QR", "W1QR", "C4QR", "portable", "C4"),
        ("F1QR/G4QR", "G4QR", "F1QR", "portable", "F1"),
        ("G4QRS/DL", "G4QRS", "DL", "portable", "DL0"),
        ("G4QRS/DAB", "G4QRS", "G4QRS", "home", "G4"),
        # another call area
        ("SV1QRM/5", "SV1QRM", "SV5", "portable", "SV5"),
        ("W1QSB/6", "W1QSB", "K6", "portable", "K6"),
        ("KG6QRM/4", "KG6QRM", "K4", "portable", "K4"),  # the mainland, not Guantanamo
        ("KL7QRM/4", "KL7QRM", "K4", "portable", "K4"),
        ("JD1QRM/1", "JD1QRM", "JA1", "portable", "JA1"),
        ("3DA0QR/1", "3DA0QR", "3DA1", "portable", "3DA1"),
        ("S51QRM/5", "S51QRM", "S55", "portable", "S55"),
        ("C4QRM/2", "C4QRM", "C42", "portable", "C42"),  # the 4 is of the prefix
        ("VE3/G4QRS/4", "G4QRS", "VE3", "portable", "VE3"),
        # how one operates
        ("G4QRS/P", "G4QRS", "G4QRS", "portable", "G4"),
        ("G4QRS/A", "G4QRS", "G4QRS", "portable", "G4"),
        ("G4QRS/M", "G4QRS", "G4QRS", "mobile", "G4"),
        ("G4QRS/PM", "G4QRS", "G4QRS", "mobile", "G4"),
        ("G4QRS/R", "G4QRS", "G4QRS", "mobile", "G4"),  # rover
        ("G4QRS/MM", "G4QRS", "", "maritime", "G4"),
        ("G4QRS/AM", "G4QRS", "", "aeronautical", "G4"),
        ("DL/G4QRS/MM", "G4QRS", "", "maritime", "G4"),
        ("SV1QRM/5/M", "SV1QRM", "SV5", "mobile", "SV5"),
        # what says nothing of the place
        ("G4QRS/QRP", "G4QRS", "G4QRS", "home", "G4"),
        ("G4QRS/LH", "G4QRS", "G4QRS", "home", "G4"),
        ("G4QRS/B", "G4QRS", "G4QRS", "home", "G4"),
        ("LU1QRM/D", "LU1QRM", "LU1QRM", "home", "LU1"),  # a province
        ("G4QRS/50", "G4QRS", "G4QRS", "home", "G4"),
        # special events, and prefixes that hold the number
        ("9A50QRM", "9A50QRM", "9A50QRM", "home", "9A50"),
        ("DL2026QRM", "DL2026QRM", "DL2026QRM", "home", "DL2026"),
        ("C4QRM", "C4QRM", "C4QRM", "home", "C4"),
        ("1A0QR", "1A0QR", "1A0QR", "home", "1A0"),
        ("U1QRM", "U1QRM", "U1QRM", "home", "U1"),
    ],
)
def test_parts(text: str, base: str, operating: str, status: str, prefix: str) -> None:
    found = taken_apart(text)
    assert (found.base, found.operating, found.status, found.prefix) == (base, operating, status, prefix)
    assert found.text == text.strip().upper()


def test_what_stands_before_and_after_is_kept() -> None:
    found = taken_apart("VE3/G4QRS/4/P")
    assert (found.before, found.after) == ("VE3", ("4", "P"))
    assert (found.number, found.suffix) == ("4", "QRS")


NO_CALLS = [
    *("", " ", "HELLO", "CQ", "73", "RR73", "TNX", "12345", "ABC", "K1", "JN58", "QRZ", "DL5", "<...>", "<>"),
    *("Q1QRM", "0A1QRM", "A1QRM", "DL5QRM7", "DL5QRM?", "DL5QRMQRSQRST", "DL5QRM G4QRS", "VE3/VE4", "XYZ/G4QRS"),
    *("/", "//", "DL5QRM/", "/DL5QRM", "DL5QRM//P", "VE3//G4QRS", "A/B/C/G4QRS"),
    *("DL5ÄRM", "DL٥QRM", "ﬁ5QRM"),
]


@pytest.mark.parametrize("text", NO_CALLS)
def test_what_is_no_call_sign(text: str) -> None:
    assert parse(text) is None


def test_a_hashed_call_is_marked() -> None:
    found = taken_apart("<VE3/G4QRS>")
    assert found.hashed
    assert (found.text, found.base, found.operating) == ("VE3/G4QRS", "G4QRS", "VE3")
    assert not taken_apart("VE3/G4QRS").hashed


@given(HOME_CALLS, AFFIXES)
def test_the_home_call_stays_the_base_whatever_is_added(call: str, after: list[str]) -> None:
    found = taken_apart("/".join([call, *after]))
    assert found.base == call
    assert found.after == tuple(after)
    assert base_call(found.text) == call
    assert parse(found.text.lower()) == found
    assert call == taken_apart(call).prefix + found.suffix


@given(HOME_CALLS, AFFIXES)
def test_the_sea_and_the_air_beat_all_else(call: str, after: list[str]) -> None:
    status = taken_apart("/".join([call, *after])).status
    if "MM" in after:
        assert status == "maritime"
    elif "AM" in after:
        assert status == "aeronautical"
    elif "M" in after or "R" in after:
        assert status == "mobile"


@given(st.text(alphabet="ABDGKQRSV0123459/<> ", max_size=12))
def test_any_text_is_taken_apart_or_not_a_call(text: str) -> None:
    found = parse(text)
    assert parse_cached(text) == found
    if found is not None:
        assert found.base in found.text.split("/")
        assert base_call(text) == found.base
        assert taken_apart(found.text).base == found.base


def test_the_base_of_no_call_is_the_text() -> None:
    assert base_call("<...>") == "..."
    assert base_call(" tnx ") == "TNX"


@pytest.mark.parametrize("text", ["<DL5QRM", "DL5QRM>", "<>", "<...>"])
def test_half_a_pair_of_brackets_makes_no_call(text: str) -> None:
    assert parse(text) is None


def test_a_prefix_that_holds_the_number_leaves_it_and_the_suffix_to_be_told() -> None:
    found = taken_apart("C4QRM")
    assert (found.number, found.suffix) == ("4", "QRM")
