"""The words of a message: calls, hashed calls, locators, reports.

Shapes only: whether a call sign is allocated and where it belongs is asked elsewhere.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import NamedTuple

from watchkeeper.radio.callsign import parse_cached
from watchkeeper.radio.reading import Step

#: what is made out of a call is remembered of so many: of all that are on the air at a time, not of a day's
MOST_CALLS = 2048
#: prefix, digit, one to three letters, optionally rover or portable: what 28 bits can hold. Special series of four
#: characters before the digit's letters (3DA0, 3XA0) have code points of their own (from memory).
_STANDARD = re.compile(
    r"(?:(?:[A-Z]{1,2}|[A-Z][0-9]|[0-9][A-Z])[0-9][A-Z]{1,3}|3DA0[A-Z]{1,3}|3X[A-Z][0-9][A-Z]{1,3})(?:/[RP])?"
)
#: the characters that 58 bits can hold, at least three and at most eleven
_LONGEST = re.compile(r"(?=[A-Z0-9/]*[A-Z])(?=[A-Z0-9/]*[0-9])[A-Z0-9/]{3,11}")
_HASHED = re.compile(r"<(\.\.\.|[A-Z0-9/]{3,11})>")
_LOCATOR = re.compile(r"[A-R]{2}[0-9]{2}")
_FINE_LOCATOR = re.compile(r"[A-R]{2}[0-9]{2}[A-X]{2}")
_REPORT = re.compile(r"(R?)([+-][0-9]{1,2})")
_ACKNOWLEDGEMENTS: dict[str, Step] = {"RRR": "roger", "RR73": "roger_farewell", "73": "farewell"}


class Party(NamedTuple):
    """A station as a message names it; ``call`` is None for a hash that the decoder could not resolve."""

    call: str | None
    hashed: bool


class Tail(NamedTuple):
    """What follows the calls."""

    step: Step
    report_db: int | None = None
    locator: str | None = None


@lru_cache(maxsize=MOST_CALLS)
def is_standard_call(word: str) -> bool:
    """Say whether ``word`` has the ordinary shape of a call sign, ``/R`` or ``/P`` allowed."""
    return _STANDARD.fullmatch(word) is not None


def is_call(word: str) -> bool:
    """Say whether ``word`` looks like a call sign: ordinary, special or compound, at most eleven characters."""
    return is_standard_call(word) or (len(word) <= 11 and not word.startswith("<") and parse_cached(word) is not None)


def is_full_call(word: str) -> bool:
    """Say whether the 58 bits of a call in full can hold ``word``, sense or not. What ends a message is no call."""
    return _LONGEST.fullmatch(word) is not None and _LOCATOR.fullmatch(word) is None


def hashed(word: str) -> Party | None:
    """Return the station in angle brackets, or None for any other word."""
    found = _HASHED.fullmatch(word)
    if found is None:
        return None
    return Party(None if found[1] == "..." else found[1], hashed=True)


@lru_cache(maxsize=MOST_CALLS)
def party(word: str) -> Party | None:
    """Return the station that ``word`` names, or None."""
    return Party(word, hashed=False) if is_call(word) else hashed(word)


def is_locator(word: str) -> bool:
    """Say whether ``word`` is a locator of four characters. RR73 is none: it closes an exchange."""
    return word != "RR73" and _LOCATOR.fullmatch(word) is not None


def is_fine_locator(word: str) -> bool:
    """Say whether ``word`` is a locator of six characters."""
    return _FINE_LOCATOR.fullmatch(word) is not None


def report(word: str) -> tuple[bool, int] | None:
    """Return (acknowledges, dB) for ``-08`` or ``R-08``, or None."""
    found = _REPORT.fullmatch(word)
    return None if found is None else (found[1] == "R", int(found[2]))


@lru_cache(maxsize=4096)
def tail(*words: str) -> Tail | None:
    """Read what follows the calls in a standard message: nothing, a locator, a report or an acknowledgement."""
    match words:
        case ():
            return Tail("answering")
        case ["R", word] if is_locator(word):
            return Tail("roger_report", locator=word)
        case [word] if is_locator(word):
            return Tail("answering", locator=word)
        case [word] if word in _ACKNOWLEDGEMENTS:
            return Tail(_ACKNOWLEDGEMENTS[word])
        case [word]:
            found = report(word)
            return None if found is None else Tail("roger_report" if found[0] else "report", found[1])
    return None
