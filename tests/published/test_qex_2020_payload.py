"""The 77-bit payload of "The FT4 and FT8 Communication Protocols": Franke, Somerville, Taylor, QEX July/August 2020.

The layout is from memory. What arithmetic can confirm: the values of calls and locators follow from the alphabets and
their sum fills 28 bits exactly; the hashes were computed from the published rule apart from this program.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.radio.codec77 import InvalidPayloadError, call_hash, unpack
from watchkeeper.radio.message import read

K1ABC, W9XYZ, G4ABC, PA9XYZ, ZZ9ZZZ = 10_214_965, 12_751_800, 9_486_694, 192_654_420, 2**28 - 1
DE, QRZ, CQ, CQ_000, CQ_A = 0, 1, 2, 3, 1003
EN37, FN42, JO22, RR73 = 8537, 10342, 17622, 32403
HASH_22 = 2_063_592


def payload(*fields: tuple[int, int]) -> int:
    """Join (value, width) from the most significant end."""
    bits = "".join(f"{value:0{width}b}" for value, width in fields)
    assert len(bits) == 77
    return int(bits, 2)


def standard(first: int, second: int, g15: int, *, flags: tuple[int, int, int] = (0, 0, 0), i3: int = 1) -> int:
    return payload((first, 28), (flags[0], 1), (second, 28), (flags[1], 1), (flags[2], 1), (g15, 15), (i3, 3))


@pytest.mark.parametrize(
    ("bits", "text"),
    [
        (standard(CQ, K1ABC, FN42), "CQ K1ABC FN42"),
        (standard(K1ABC, W9XYZ, EN37, flags=(1, 1, 1)), "K1ABC/R W9XYZ/R R EN37"),
        (standard(K1ABC, W9XYZ, 32400 + 35 - 8), "K1ABC W9XYZ -08"),
        (standard(K1ABC, W9XYZ, 32420, flags=(0, 0, 1)), "K1ABC W9XYZ R-15"),
        (standard(W9XYZ, K1ABC, 32402), "W9XYZ K1ABC RRR"),
        (standard(W9XYZ, K1ABC, RR73), "W9XYZ K1ABC RR73"),
        (standard(W9XYZ, K1ABC, 32404), "W9XYZ K1ABC 73"),
        (standard(W9XYZ, K1ABC, 32401), "W9XYZ K1ABC"),
        (standard(G4ABC, PA9XYZ, JO22, flags=(1, 0, 0), i3=2), "G4ABC/P PA9XYZ JO22"),
        (standard(DE, K1ABC, FN42), "DE K1ABC FN42"),
        (standard(QRZ, ZZ9ZZZ, 0), "QRZ ZZ9ZZZ AA00"),
        (standard(CQ_000 + 290, K1ABC, FN42), "CQ 290 K1ABC FN42"),
        (standard(CQ_A + 27 * 4 + 24, K1ABC, FN42), "CQ DX K1ABC FN42"),
        (standard(K1ABC, HASH_22, EN37), "K1ABC <...> EN37"),
        (payload((K1ABC, 28), (W9XYZ, 28), (712, 10), (11, 5), (1, 3), (0, 3)), "K1ABC RR73; W9XYZ <...> -08"),
        (payload((W9XYZ, 28), (K1ABC, 28), (1, 1), (0, 4), (1, 3), (1, 7), (4, 3), (0, 3)), "W9XYZ K1ABC R 17B AL"),
        (payload((K1ABC, 28), (W9XYZ, 28), (0, 1), (5, 4), (0, 3), (86, 7), (3, 3), (0, 3)), "K1ABC W9XYZ 6A DX"),
        (payload((0x123456789ABCDEF012, 71), (5, 3), (0, 3)), "123456789ABCDEF012"),
        (payload((1, 1), (W9XYZ, 28), (K1ABC, 28), (1, 1), (6, 3), (13, 13), (3, 3)), "TU; W9XYZ K1ABC R 589 0013"),
        (payload((0, 1), (K1ABC, 28), (W9XYZ, 28), (0, 1), (5, 3), (8001, 13), (3, 3)), "K1ABC W9XYZ 579 AK"),
        (payload((0, 12), (0, 22), (1, 1), (5, 3), (7, 11), (JO22 * 576 + 3 * 24 + 1, 25), (5, 3)),
         "<...> <...> R 570007 JO22DB"),
    ],
)  # fmt: skip
def test_message_of_known_fields(bits: int, text: str) -> None:
    assert unpack(bits) == text


def base(text: str, alphabet: str, length: int) -> int:
    value = 0
    for character in text.ljust(length):
        value = value * len(alphabet) + alphabet.index(character)
    return value


def test_a_call_in_full() -> None:
    call = base("PJ4/K1ABC", " 0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ/", 11)
    assert unpack(payload((2851, 12), (call, 58), (0, 1), (1, 2), (0, 1), (4, 3))) == "<...> PJ4/K1ABC RRR"
    assert unpack(payload((2851, 12), (call, 58), (1, 1), (3, 2), (0, 1), (4, 3))) == "PJ4/K1ABC <...> 73"
    assert unpack(payload((2851, 12), (call, 58), (0, 1), (0, 2), (1, 1), (4, 3))) == "CQ PJ4/K1ABC"


def test_free_text() -> None:
    words = base("TNX BOB 73 GL", " 0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ+-./?", 13)
    assert unpack(payload((words, 71), (0, 3), (0, 3))) == "TNX BOB 73 GL"


def test_the_ranges_of_a_call_fill_28_bits() -> None:
    assert 2_063_592 + 2**22 + 37 * 36 * 10 * 27**3 == 2**28


@pytest.mark.parametrize(
    "bits",
    [
        payload((0, 71), (2, 3), (0, 3)),  # a withdrawn type
        payload((0, 74), (6, 3)),
        standard(K1ABC, CQ, EN37),  # a call to all as sender
        standard(CQ, K1ABC, EN37, flags=(1, 0, 0)),  # CQ/R
        standard(K1ABC, W9XYZ, RR73, flags=(0, 0, 1)),  # R RR73
        standard(K1ABC, W9XYZ, 32400),
        standard(K1ABC, W9XYZ, 32767),  # a report of +332 dB
        standard(2_000_000, W9XYZ, EN37),  # no such token
        standard(HASH_22 + 2**22 + 1, W9XYZ, EN37),  # a blank within the call
        payload((2**71 - 1, 71), (0, 3), (0, 3)),
        payload((0, 12), (2**58 - 1, 58), (0, 4), (4, 3)),
        payload((0, 12), (0, 58), (0, 4), (4, 3)),
        payload((K1ABC, 28), (W9XYZ, 28), (0, 1), (0, 4), (0, 3), (87, 7), (3, 3), (0, 3)),
        payload((0, 1), (K1ABC, 28), (W9XYZ, 28), (0, 1), (0, 3), (8000, 13), (3, 3)),
        payload((0, 12), (0, 22), (0, 1), (0, 3), (0, 11), (2**25 - 1, 25), (5, 3)),
    ],
)
def test_bits_that_are_no_message(bits: int) -> None:
    with pytest.raises(InvalidPayloadError):
        unpack(bits)


@pytest.mark.parametrize("bits", [-1, 1 << 77])
def test_only_77_bits(bits: int) -> None:
    with pytest.raises(ValueError, match="does not fit 77 bits"):
        unpack(bits)


@pytest.mark.parametrize(("call", "hashes"), [("K1ABC", (712, 2851, 2_920_267)), ("PJ4/K1ABC", (346, 1387, 1_420_834))])
def test_hash(call: str, hashes: tuple[int, int, int]) -> None:
    assert tuple(call_hash(call, bits) for bits in (10, 12, 22)) == hashes


@pytest.mark.parametrize("call", ["TWELVE/CALLS", "k1abc", "<...>"])
def test_what_cannot_be_hashed(call: str) -> None:
    with pytest.raises(ValueError, match="cannot be hashed"):
        call_hash(call, 22)


@given(st.integers(0, 2**77 - 1))
def test_any_payload_is_a_readable_message_or_invalid(bits: int) -> None:
    try:
        text = unpack(bits)
    except InvalidPayloadError:
        return
    found = read(text)
    if bits & 7 in (4, 5):  # whatever the bits, the hash marks the parties
        assert found.has_parties or found.type in ("free_text", "other")
    if found.parts is not None:
        assert bits & 7 == 0
