"""Inputs that are nearly right: a seed, or two of them, with a few things broken. The same number, the same input."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from random import Random

#: what breaks parsers: limits of numbers, marks of formats, characters with a meaning
TOKENS: tuple[bytes, ...] = (
    b"", b"\x00", b"\n", b"\r\n", b"\t", b" ", b"\x1b[2J", b"\xff", b"\xc3\x28", b"\xed\xa0\x80", b"\xf4\x90\x80\x80",
    b"\xef\xbb\xbf", "\u202e".encode(), "\u0130".encode(), "\u00df".encode(), "\u0661".encode(), "e\u0301".encode(),
    b'"', b"'", b"\\", b"\\ud800", b"\\u0000", b"{", b"}", b"[", b"]", b",", b":", b"<", b">", b"/", b"=", b"#", b"%",
    b"0", b"-1", b"-0", b"1e999", b"1e-999", b"NaN", b"Infinity", b"null", b"true", b"false", b"9007199254740993",
    b"18446744073709551616", b"-9223372036854775809", b"0x10", b"1.0", b"00", b"9" * 400, b"A" * 70, b"[" * 60,
    b"2026-02-30T25:61:61Z", b"0001-01-01T00:00:00Z", b"9999-12-31T23:59:60Z", b"2000-01-01T00:00:00.000Z",
    b"<CALL:5>", b"<EOR>", b"<EOH>", b"<X:-1>", b"<X:99999999>", b"<...>", b"RR73;", b"CQ ", b"/P", b"/MM", b"+99",
)  # fmt: skip

Mutation = Callable[[Random, bytearray, Sequence[bytes]], None]


def _flip(dice: Random, data: bytearray, _seeds: Sequence[bytes]) -> None:
    if data:
        data[dice.randrange(len(data))] ^= 1 << dice.randrange(8)


def _byte(dice: Random, data: bytearray, _seeds: Sequence[bytes]) -> None:
    if data:
        data[dice.randrange(len(data))] = dice.randrange(256)


def _insert(dice: Random, data: bytearray, _seeds: Sequence[bytes]) -> None:
    at = dice.randrange(len(data) + 1)
    data[at:at] = dice.choice(TOKENS)


def _replace(dice: Random, data: bytearray, _seeds: Sequence[bytes]) -> None:
    at, length = _slice(dice, data)
    data[at : at + length] = dice.choice(TOKENS)


def _cut(dice: Random, data: bytearray, _seeds: Sequence[bytes]) -> None:
    at, length = _slice(dice, data)
    del data[at : at + length]


def _end(dice: Random, data: bytearray, _seeds: Sequence[bytes]) -> None:
    del data[dice.randrange(len(data) + 1) :]


def _double(dice: Random, data: bytearray, _seeds: Sequence[bytes]) -> None:
    at, length = _slice(dice, data)
    data[at:at] = data[at : at + length]


def _splice(dice: Random, data: bytearray, seeds: Sequence[bytes]) -> None:
    other = dice.choice(seeds)
    start, length = _slice(dice, other)
    at = dice.randrange(len(data) + 1)
    data[at:at] = other[start : start + length]


def _digits(dice: Random, data: bytearray, _seeds: Sequence[bytes]) -> None:
    """Another number in place of one that is there: it stays well formed, so it gets further in."""
    places = [at for at, byte in enumerate(data) if 48 <= byte <= 57]
    if places:
        at = dice.choice(places)
        data[at : at + 1] = b"%d" % dice.choice((0, 1, 9, dice.randrange(100), dice.randrange(10**6), -7))


_MUTATIONS: tuple[Mutation, ...] = (_flip, _byte, _insert, _replace, _cut, _end, _double, _splice, _digits, _digits)


def _slice(dice: Random, data: bytes | bytearray) -> tuple[int, int]:
    return dice.randrange(len(data) + 1), dice.choice((1, 2, 4, 8, 16, 64))


def mutated(number: int, seeds: Sequence[bytes], most: int = 16_384) -> bytes:
    """Input ``number``: a seed, broken in up to six places; at most ``most`` bytes."""
    dice = Random(number)
    data = bytearray(dice.choice(seeds))
    for _ in range(dice.randrange(7)):
        dice.choice(_MUTATIONS)(dice, data, seeds)
    return bytes(data[:most])
