"""Phantoms: what chance makes of bits, and nobody's call signs."""

from __future__ import annotations

from random import Random

import pytest

from watchkeeper.radio.message import read
from watchkeeper.rehearsal.phantoms import out_of_both_calls, out_of_noise, out_of_own_call

OWN = "DL5QRM"


def test_the_types_come_as_often_as_their_bits_say() -> None:
    """Three bits name the type of a payload, so each of the two with standard calls is about one in eight; as two in
    three of the 28-bit numbers are calls (QEX July/August 2020, from memory), fewer are valid."""
    random = Random(1)
    types = [read(out_of_noise(random)).type for _ in range(2000)]
    assert 0.05 < types.count("standard") / len(types) < 0.3
    assert len(set(types)) > 5


@pytest.mark.parametrize("seed", range(5))
def test_a_message_to_the_own_call_has_a_sender_out_of_noise(seed: int) -> None:
    found = read(out_of_own_call(OWN, Random(seed)))
    assert found.addressee == OWN
    assert found.sender not in (None, OWN)


def test_where_both_calls_are_known_only_the_end_is_chance() -> None:
    random = Random(2)
    texts = {out_of_both_calls(OWN, "W1QSB", random) for _ in range(60)}
    assert texts == {f"{OWN} W1QSB {word}" for word in ("RRR", "RR73", "73")}


def test_call_signs_of_ordinary_shape_are_nobodys() -> None:
    random = Random(3)
    for _ in range(300):
        sender = read(out_of_own_call(OWN, random)).sender
        assert sender is not None
        assert sender.removesuffix("/R").removesuffix("/P")[-3:] >= "QRA" or "/" in sender, sender
        assert sender.removesuffix("/R")[-3:-1] in {"QR", "QS", "QT", "QU"}, sender


def test_the_same_seed_is_the_same_noise() -> None:
    assert [out_of_noise(Random(4)) for _ in range(3)] == [out_of_noise(Random(4)) for _ in range(3)]
