"""Sets of small numbers for many texts, kept small: what a million call signs need must fit a portable computer.

Most texts are short and made of capitals and digits; read as numbers to the base 36 they stand in one sorted array,
their sets in arrays beside it. The few others, and what was added last, stand in a dict.
"""

from __future__ import annotations

from array import array
from bisect import bisect_left
from collections.abc import Iterator

import msgspec

_PLANE_BITS = 64
_PLANE_MASK = (1 << _PLANE_BITS) - 1
_LONGEST = 12  # 36 ** 12 < 2 ** 64
#: the dict is packed when it holds more than this and more than a quarter of what is packed
_PACK_FROM = 1 << 15
#: packed texts that are taken apart at a time
_STRETCH = 1 << 16
#: answers that are remembered
_ASKED = 1 << 13


def _number(text: str) -> int | None:
    """``text`` as a number that no other text has, or None where it has no such form."""
    if len(text) <= _LONGEST and text.isalnum() and text.isascii() and text[0] != "0" and text.isupper():
        return int(text, 36)
    return None


class DumpedBits(msgspec.Struct, frozen=True, kw_only=True):
    """A table as it is kept; numbers of more than 64 bits do not fit the format, so the rest's are hexadecimal."""

    keys: bytes
    planes: list[bytes]
    rest: dict[str, str]


class BitTable:
    """Text → set of numbers, as the bits of an int. Adding is cheap; a text can never be taken out."""

    __slots__ = ("_asked", "_keys", "_new", "_planes")

    def __init__(self) -> None:
        self._keys = array("Q")
        #: plane i holds bits 64·i to 64·i + 63 of every packed text
        self._planes: list[array[int]] = []
        self._new: dict[str, int] = {}
        #: answers to give again: the same stations are heard all the time
        self._asked: dict[str, int] = {}

    def get(self, text: str) -> int:
        """The set of ``text``; 0 for one that was never added."""
        found = self._asked.get(text)
        if found is None:
            if len(self._asked) >= _ASKED:
                self._asked.clear()
            found = self._asked[text] = self._new.get(text, 0) | self._packed(text)
        return found

    def add(self, text: str, bits: int) -> None:
        """Add the numbers in ``bits`` to the set of ``text``."""
        self._new[text] = self._new.get(text, 0) | bits
        self._asked.pop(text, None)
        if len(self._new) > _PACK_FROM and len(self._new) > len(self._keys) // 4:
            self.pack()

    def update(self, sets: dict[str, int]) -> None:
        """Add to many sets at once."""
        new = self._new
        self._asked.clear()
        if new:
            for text, bits in sets.items():
                new[text] = new.get(text, 0) | bits
        else:
            new.update(sets)
        if len(new) > _PACK_FROM:
            self.pack()

    def pack(self) -> None:
        """Move what was added to the arrays, as far as it has a number."""
        rest: dict[str, int] = {}
        fresh: list[tuple[int, int]] = []
        for text, bits in self._new.items():
            number = _number(text)
            if number is None:
                rest[text] = bits
            else:
                fresh.append((number, bits))
        if fresh:
            fresh.sort()
            self._merge(fresh)
        self._new = rest

    def __len__(self) -> int:
        return len(self._keys) + sum(1 for text in self._new if not self._packed(text))

    def dump(self) -> DumpedBits:
        """All of it as plain values, in this machine's byte order."""
        self.pack()
        return DumpedBits(
            keys=self._keys.tobytes(),
            planes=[plane.tobytes() for plane in self._planes],
            rest={text: f"{bits:x}" for text, bits in self._new.items()},
        )

    @classmethod
    def load(cls, dumped: DumpedBits) -> BitTable:
        """The table that :meth:`dump` gave."""
        table = cls()
        table._keys.frombytes(dumped.keys)
        for plane_bytes in dumped.planes:
            plane = array("Q")
            plane.frombytes(plane_bytes)
            table._planes.append(plane)
        table._new = {text: int(bits, 16) for text, bits in dumped.rest.items()}
        return table

    def _packed(self, text: str) -> int:
        number = _number(text)
        if number is None:
            return 0
        at = bisect_left(self._keys, number)
        if at == len(self._keys) or self._keys[at] != number:
            return 0
        found = 0
        for shift, plane in enumerate(self._planes):
            found |= plane[at] << (shift * _PLANE_BITS)
        return found

    def _merge(self, fresh: list[tuple[int, int]]) -> None:
        """Merge sorted (number, set) pairs into the arrays, a stretch at a time to keep the memory small."""
        wide = max(bits for _, bits in fresh).bit_length()
        count = max(len(self._planes), -(-wide // _PLANE_BITS))
        keys = array("Q")
        planes = [array("Q") for _ in range(count)]
        done = used = 0
        while done < len(self._keys) or used < len(fresh):
            end = min(done + _STRETCH, len(self._keys))
            until = bisect_left(fresh, (self._keys[end],)) if end < len(self._keys) else len(fresh)
            merged = self._stretch(done, end)
            for number, bits in fresh[used:until]:
                merged[number] = merged.get(number, 0) | bits
            order = sorted(merged)
            keys.extend(order)
            for shift, plane in enumerate(planes):
                plane.extend([merged[number] >> (shift * _PLANE_BITS) & _PLANE_MASK for number in order])
            done, used = end, until
        self._keys, self._planes = keys, planes

    def _stretch(self, start: int, end: int) -> dict[int, int]:
        """Number → set for a stretch of the arrays."""
        numbers_here = self._keys[start:end]
        found = dict.fromkeys(numbers_here, 0)
        for shift, plane in enumerate(self._planes):
            for number, bits in zip(numbers_here, plane[start:end], strict=True):
                found[number] |= bits << (shift * _PLANE_BITS)
        return found


def numbers(bits: int) -> Iterator[int]:
    """The numbers in a set, lowest first."""
    while bits:
        low = bits & -bits
        yield low.bit_length() - 1
        bits ^= low
