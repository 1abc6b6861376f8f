"""The 77 bits of an FT8 or FT4 message, unpacked to the text that a decoder shows; and the hash of a call sign.

Layout after Franke, Somerville and Taylor, QEX July/August 2020 (Tables 1 and 2, from memory; what arithmetic can
confirm is tested). It serves to tell what chance makes of random bits: a phantom is a payload that passed the
checksum by accident. Hashes are shown unresolved, as ``<...>``.
"""

from __future__ import annotations

from collections.abc import Sequence

from watchkeeper.radio import contest_words

PAYLOAD_BITS = 77

_FULL_ALPHABET = " 0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ/"
_TEXT_ALPHABET = " 0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ+-./?"
_ALPHANUMERIC = _FULL_ALPHABET[:37]
_LETTERS = " ABCDEFGHIJKLMNOPQRSTUVWXYZ"
#: first to last character of a call sign of ordinary shape
_CALL_ALPHABETS = (_ALPHANUMERIC, _ALPHANUMERIC[1:], _ALPHANUMERIC[1:11], _LETTERS, _LETTERS, _LETTERS)

_TOKENS = 2_063_592
_HASHES = 2**22
_FIRST_NUMBERED_CQ, _FIRST_LETTERED_CQ = 3, 1003
_LOCATORS = 18 * 18 * 10 * 10
_FINE_LOCATORS = _LOCATORS * 24 * 24
_TAILS = {1: "", 2: "RRR", 3: "RR73", 4: "73"}
_ACKNOWLEDGEMENTS = ("", "RRR", "RR73", "73")
_HASHED = "<...>"
_HASH_FACTOR = 47_055_833_459
_LARGEST_SERIAL = 7999
_FIRST_REGION = 8001


class InvalidPayloadError(ValueError):
    """The bits are no message."""


class _Bits:
    """Takes fields from the most significant end."""

    def __init__(self, payload: int) -> None:
        self._payload = payload
        self._left = PAYLOAD_BITS

    def take(self, width: int) -> int:
        self._left -= width
        return self._payload >> self._left & ((1 << width) - 1)


def call_hash(call: str, bits: int) -> int:
    """Return the hash of a call sign in 10, 12 or 22 bits. Raises ValueError for what eleven characters cannot hold."""
    if len(call) > 11 or any(character not in _FULL_ALPHABET for character in call):
        raise ValueError(f"{call!r} cannot be hashed")
    number = 0
    for character in call.ljust(11):
        number = number * len(_FULL_ALPHABET) + _FULL_ALPHABET.index(character)
    return (_HASH_FACTOR * number) % 2**64 >> (64 - bits)


def unpack(payload: int) -> str:
    """Return the message that 77 bits hold.

    Raises InvalidPayloadError if they hold none, ValueError for a number of more bits.
    """
    if not 0 <= payload < 1 << PAYLOAD_BITS:
        raise ValueError(f"{payload} does not fit 77 bits")
    kind, bits = payload & 7, _Bits(payload)
    if kind == 0:
        kind = 10 + (payload >> 3 & 7)
    unpacker = _UNPACKERS.get(kind)
    if unpacker is None:
        raise InvalidPayloadError(f"no message type has the number {kind}")
    return " ".join(word for word in unpacker(bits) if word)


def _characters(number: int, alphabets: Sequence[str]) -> str:
    """Return the characters of a number whose digits count in ``alphabets``, most significant first."""
    found = []
    for alphabet in reversed(alphabets):
        number, digit = divmod(number, len(alphabet))
        found.append(alphabet[digit])
    return "".join(reversed(found))


def _compact(text: str) -> str:
    """Return ``text`` without the blanks around it. Raises InvalidPayloadError for blanks within, or nothing at all."""
    word = text.strip()
    if not word or " " in word:
        raise InvalidPayloadError(f"blank within {text!r}")
    return word


def _free_text(bits: _Bits) -> list[str]:
    number = bits.take(71)
    if number >= len(_TEXT_ALPHABET) ** 13:
        raise InvalidPayloadError("free text out of range")
    return [_characters(number, [_TEXT_ALPHABET] * 13).strip()]


def _telemetry(bits: _Bits) -> list[str]:
    return [f"{bits.take(71):018X}"]


def _call(bits: _Bits, *, to_all: bool = False) -> str:
    """Return a call of 28 bits: a token (only where ``to_all``), a hash or a call of ordinary shape."""
    number = bits.take(28)
    if number < _TOKENS:
        if not to_all:
            raise InvalidPayloadError("a call to all where a station is named")
        return _token(number)
    number -= _TOKENS
    if number < _HASHES:
        return _HASHED
    number -= _HASHES
    return _compact(_characters(number, _CALL_ALPHABETS))


def _token(number: int) -> str:
    if number < _FIRST_NUMBERED_CQ:
        return ("DE", "QRZ", "CQ")[number]
    if number < _FIRST_LETTERED_CQ:
        return f"CQ {number - _FIRST_NUMBERED_CQ:03d}"
    number -= _FIRST_LETTERED_CQ
    if number >= len(_LETTERS) ** 4:
        raise InvalidPayloadError("token out of range")
    return "CQ " + _compact(_characters(number, [_LETTERS] * 4))


def _suffixed(bits: _Bits, suffix: str, *, to_all: bool = False) -> str:
    call = _call(bits, to_all=to_all)
    if not bits.take(1):
        return call
    if call == _HASHED or " " in call or call in {"DE", "QRZ", "CQ"}:
        raise InvalidPayloadError(f"{suffix} behind {call}")
    return call + suffix


def _locator(number: int) -> str:
    number, square = divmod(number, 100)
    first, second = divmod(number, 18)
    return f"{chr(65 + first)}{chr(65 + second)}{square:02d}"


def _standard(bits: _Bits, suffix: str) -> list[str]:
    first, second = _suffixed(bits, suffix, to_all=True), _suffixed(bits, suffix)
    acknowledged, number = bits.take(1), bits.take(15)
    if number < _LOCATORS:
        return [first, second, "R" if acknowledged else "", _locator(number)]
    number -= _LOCATORS
    if number in _TAILS and not acknowledged:
        return [first, second, _TAILS[number]]
    report_db = number - 35
    if not -30 <= report_db <= 49:
        raise InvalidPayloadError(f"report of {report_db} dB")
    return [first, second, f"{'R' if acknowledged else ''}{report_db:+03d}"]


def _rover(bits: _Bits) -> list[str]:
    return _standard(bits, "/R")


def _portable(bits: _Bits) -> list[str]:
    return _standard(bits, "/P")


def _two_addressees(bits: _Bits) -> list[str]:
    first, second = _call(bits), _call(bits)
    bits.take(10)
    return [first, "RR73;", second, _HASHED, f"{2 * bits.take(5) - 30:+03d}"]


def _section(bits: _Bits, least: int) -> list[str]:
    first, second, acknowledged = _call(bits), _call(bits), bits.take(1)
    transmitters, letter, number = least + bits.take(4), "ABCDEFGH"[bits.take(3)], bits.take(7)
    if not 1 <= number <= len(contest_words.SECTIONS):
        raise InvalidPayloadError(f"section number {number}")
    return [first, second, "R" if acknowledged else "", f"{transmitters}{letter}", contest_words.SECTIONS[number - 1]]


def _few_transmitters(bits: _Bits) -> list[str]:
    return _section(bits, 1)


def _many_transmitters(bits: _Bits) -> list[str]:
    return _section(bits, 17)


def _region(bits: _Bits) -> list[str]:
    thanks, first, second, acknowledged = bits.take(1), _call(bits), _call(bits), bits.take(1)
    rst, number = 529 + 10 * bits.take(3), bits.take(13)
    if 1 <= number <= _LARGEST_SERIAL:
        word = f"{number:04d}"
    elif 0 <= number - _FIRST_REGION < len(contest_words.REGIONS):
        word = contest_words.REGIONS[number - _FIRST_REGION]
    else:
        raise InvalidPayloadError(f"region number {number}")
    return ["TU;" if thanks else "", first, second, "R" if acknowledged else "", str(rst), word]


def _full_call(bits: _Bits) -> list[str]:
    bits.take(12)
    number = bits.take(58)
    if number >= len(_FULL_ALPHABET) ** 11:
        raise InvalidPayloadError("call out of range")
    call = _compact(_characters(number, [_FULL_ALPHABET] * 11))
    hashed_last, ending, to_all = bits.take(1), _ACKNOWLEDGEMENTS[bits.take(2)], bits.take(1)
    if to_all:
        return ["CQ", call]
    return [call, _HASHED, ending] if hashed_last else [_HASHED, call, ending]


def _serial(bits: _Bits) -> list[str]:
    bits.take(12 + 22)
    acknowledged, report, serial, number = bits.take(1), 52 + bits.take(3), bits.take(11), bits.take(25)
    if number >= _FINE_LOCATORS:
        raise InvalidPayloadError("locator out of range")
    square, fine = divmod(number, 24 * 24)
    locator = _locator(square) + "".join(chr(65 + part) for part in divmod(fine, 24))
    return [_HASHED, _HASHED, "R" if acknowledged else "", f"{report}{serial:04d}", locator]


#: message type → unpacker; type 0 with its subtype n as 10 + n
_UNPACKERS = {
    10: _free_text,
    11: _two_addressees,
    13: _few_transmitters,
    14: _many_transmitters,
    15: _telemetry,
    1: _rover,
    2: _portable,
    3: _region,
    4: _full_call,
    5: _serial,
}
