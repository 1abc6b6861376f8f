"""The outline of a file: whatever it has learned, an excerpt says what the record read in full says."""

from __future__ import annotations

import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.adif import Record, read
from watchkeeper.adif.outline import Outline, Picked
from watchkeeper.adif.reader import excerpts, header_end

FIELDS = (
    Picked("CALL", "[A-Z0-9/]", needed=True),
    Picked("BAND", "[0-9a-z]", needed=True),
    Picked("STATE", "[ -;=-~]", needed=False),
)
PLAIN = b"<CALL:5>W1QSB <BAND:3>20m <RST_SENT:3>-12 <EOR>\n"


def taken(data: bytes, patience: int = 1) -> list[Record | dict[str, str]]:
    """The records that were read in full, and the fields of the excerpts."""
    outline = Outline(FIELDS, patience)
    names = [field.name for field in FIELDS]
    return [
        one
        if isinstance(one, Record)
        else {name: text.partition(">")[2] for name, text in zip(names, one[1], strict=True) if text is not None}
        for one in excerpts(io.BytesIO(data), outline)
    ]


def how(data: bytes, patience: int = 1) -> str:
    """Which records were read in full (f), and of which there is an excerpt (e)."""
    return "".join("f" if isinstance(one, Record) else "e" for one in taken(data, patience))


def test_a_record_like_an_earlier_one_is_an_excerpt() -> None:
    other = PLAIN.replace(b"W1QSB", b"W1QSC")
    assert taken(PLAIN + other)[1] == {"CALL": "W1QSC", "BAND": "20m"}


@pytest.mark.parametrize(
    ("second", "expected"),
    [
        (PLAIN.replace(b"<RST_SENT:3>-12 ", b""), "fee"),  # a field may be absent
        (PLAIN.replace(b" <", b"\r\n<"), "fee"),  # blanks are no matter
        (PLAIN.replace(b"W1QSB", b"w1qsb"), "ffe"),  # not of the characters asked for
        (PLAIN.replace(b"20m ", b"20m x "), "ffe"),  # a comment between the fields
        (PLAIN.replace(b"W1QSB", b"W1QSBX"), "ffe"),  # a wrong length
        (PLAIN.replace(b"<BAND:3>20m ", b""), "ffe"),  # a needed field is absent
        (PLAIN.replace(b"<BAND:3>20m ", b"<BAND:3>20m <BAND:3>20m "), "ffe"),
        (b"<BAND:3>20m <CALL:5>W1QSB <EOR>", "ffe"),  # another order
        (PLAIN.replace(b"EOR", b"eor"), "ffe"),
        (b"remark " + PLAIN, "ffe"),
    ],
)
def test_what_does_not_fit_is_read_in_full(second: bytes, expected: str) -> None:
    assert how(PLAIN + second + PLAIN) == expected


def test_the_outline_grows_with_what_it_meets() -> None:
    other = b"<CALL:6:S>DL5QRM <STATE:2>BE <BAND:3>40m <RST_SENT:3>-09 <EOR>\n"
    assert how(PLAIN + 2 * other + PLAIN) == "fffe"  # made anew after twice as many
    assert how(PLAIN + 3 * other + PLAIN) == "fffee"


def test_a_file_of_which_no_two_records_are_alike_is_read_in_full_in_the_end() -> None:
    outline = Outline(FIELDS)
    mixed = (PLAIN + b"<BAND:3>20m <CALL:5>W1QSB <EOR>\n" * 4) * 3000
    kinds = [isinstance(one, Record) for one in excerpts(io.BytesIO(mixed), outline)]
    assert outline.hopeless
    assert not all(kinds[:5000])
    assert all(kinds[-1000:])


fields = st.tuples(
    st.sampled_from(["CALL", "BAND", "STATE", "RST_SENT", "call", "APP_X_Y", "NAME"]),
    st.sampled_from(["", ":S", ":"]),
    st.sampled_from(["W1QSB", "DL5QRM", "20m", "BE", "-12", "", "Jürgen", "a<b", "x>y", "w1qsb", "1 2"]),
    st.sampled_from([0, 0, 0, 0, 0, 0, 1, -1]),
    st.sampled_from(["", " ", " ", "\n", "\r\n", "   ", " remark "]),
)


def written(parts: list[tuple[str, str, str, int, str]], mark: str) -> bytes:
    texts = (
        f"<{name}:{max(0, len(data.encode()) + off)}{kind}>{data}{behind}" for name, kind, data, off, behind in parts
    )
    return ("".join(texts) + mark).encode()


kinds = st.lists(
    st.builds(written, st.lists(fields, max_size=6), st.sampled_from(["<EOR>\n", "<eor>", "<EOR>", "<EOH>"])),
    min_size=1,
    max_size=5,
)


@given(kinds.flatmap(lambda kinds: st.lists(st.sampled_from([*kinds, PLAIN]), max_size=40)), st.integers(1, 4))
def test_an_excerpt_says_what_the_whole_record_says(made: list[bytes], patience: int) -> None:
    data = b"".join(made)
    names = [field.name for field in FIELDS]
    outline = Outline(FIELDS, patience)
    for whole, one in zip(read(io.BytesIO(data)), excerpts(io.BytesIO(data), outline), strict=True):
        if isinstance(one, Record):
            assert (one, one.line, one.number, one.problems) == (whole, whole.line, whole.number, whole.problems)
        else:
            end, texts = one
            assert end == whole.end
            assert whole.sound
            assert [text and text.partition(">")[2] for text in texts] == [whole.get(name) for name in names]


def test_a_header_is_looked_for_once_in_what_the_file_holds() -> None:
    header = b"a log <ADIF_VER:5>3.1.7 <EOH>"
    assert header_end(header + b"\n" + PLAIN) == len(header)
    assert header_end(PLAIN) == header_end(b"\xef\xbb\xbf" + PLAIN) == 0
    assert header_end(b"<CALL:5>W1QSB <MODE:5><EOH> ") == len(b"<CALL:5>W1QSB <MODE:5><EOH>")
