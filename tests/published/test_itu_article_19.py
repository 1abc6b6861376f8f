"""ITU Radio Regulations, Article 19: the shape of an amateur station's call sign (19.50, 19.68, 19.68.1, 19.69)."""

from __future__ import annotations

import pytest

from watchkeeper.radio.callsign import parse


@pytest.mark.parametrize(
    ("call", "prefix", "number", "suffix"),
    [
        ("W1AW", "W1", "1", "AW"),
        ("G4ABC", "G4", "4", "ABC"),
        ("M6A", "M6", "6", "A"),
        ("2E0XYZ", "2E0", "0", "XYZ"),  # 2 is no prefix by itself
        ("9A1A", "9A1", "1", "A"),
        ("S51A", "S51", "1", "A"),
        ("A33A", "A33", "3", "A"),
        ("EI6XYZ", "EI6", "6", "XYZ"),
        ("4U1ITU", "4U1", "1", "ITU"),
        ("8J1RL", "8J1", "1", "RL"),
        ("3DA0RN", "3DA0", "0", "RN"),  # half series: three characters
        ("SSA1QR", "SSA1", "1", "QR"),
    ],
)
def test_calls_of_the_prescribed_shape(call: str, prefix: str, number: str, suffix: str) -> None:
    found = parse(call)
    assert found is not None
    assert (found.prefix, found.number, found.suffix) == (prefix, number, suffix)
    assert (found.text, found.base, found.operating, found.status) == (call, call, call, "home")


@pytest.mark.parametrize("call", ["26A", "2EABCD", "EI4RGD7"])
def test_calls_of_no_prescribed_shape(call: str) -> None:
    """The examples of hamradio.ie's course guide."""
    assert parse(call) is None


def test_fiji_as_in_use() -> None:
    """3D2 does not fit 19.68.1, by which Fiji's half series would give 3DN to 3DZ and a digit; it is what Fiji uses."""
    found = parse("3D2QRM")
    assert found is not None
    assert (found.prefix, found.number, found.suffix) == ("3D2", "2", "QRM")


@pytest.mark.parametrize(("call", "suffix"), [("GB1QRMQRS", "QRMQRS"), ("DL2026QRM", "QRM"), ("OE100QRM", "QRM")])
def test_special_occasions(call: str, suffix: str) -> None:
    """19.68A allows more than four characters; numbers of several digits are common practice, no source."""
    found = parse(call)
    assert found is not None
    assert found.suffix == suffix
