"""Call signs taken apart: ITU Radio Regulations Article 19 (19.50, 19.68-19.69), and what amateurs add to them.

The shape of a home call is prefix, number, suffix: ``DL`` ``5`` ``QRM``. Article 19 is read as administrations use it:
0 and 1 are allowed (19.69), suffixes may be longer on special occasions (19.68A), one letter suffices for B, F, G, I,
K, M, N, R and W (19.50.1) and, in use though not in that list, for U; a prefix of letter and digit may serve as the
number too (``C4A``). What the parts around a slash mean is common practice, no source:

* a leading part, and a trailing one of the form of a prefix, names the place of operation: ``VE3/G4QRS``,
  ``G4QRS/VE3``;
* a single trailing digit changes the call area: ``SV1QRM/5`` counts as ``SV5``. A call of the United States becomes a
  mainland one whatever its prefix (``KL7QRM/4`` is in ``K4``), a Japanese island call one of the main islands
  (``JD1QRM/1``: ``JA1``);
* trailing words tell how one operates: /P and /A portable, /M, /PM and /R (rover) mobile, /MM maritime, /AM
  aeronautical mobile. Any other letter or word (/QRP, /B, a province, ...) is kept and changes nothing.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

Status = Literal["home", "portable", "mobile", "maritime", "aeronautical", "unknown"]

# The one-letter prefixes of RR 19.50.1, and U; the digit 2 is no prefix by itself (RR 19.68). SS is a half series
# (19.68.1). 1A, L1, S0 and NLD are in use without an allocation by the ITU. Q begins no call sign.
_STEM = r"[BFGIKMNRUW]|[A-PR-Z][A-Z]|[2-9][A-Z]{1,2}|[A-PR-Z][2-9]|SS[A-Z]|1A|L1|S0|NLD"
_SUFFIX = r"[A-Z0-9]{0,3}[A-Z]|[A-Z]{5,8}"

#: the shape of a home call: (prefix, number, suffix), or (prefix that holds the number, suffix)
HOME_CALL = re.compile(rf"(?:({_STEM})([0-9]{{1,4}})({_SUFFIX})|([AC-EHJLOPSTVX-Z]([2-9]))([A-Z]{{1,4}}))")
_DESIGNATOR = re.compile(rf"(?:{_STEM})(?:[0-9]+[A-Z]{{0,2}})?|[A-PR-Z][2-9][A-Z]{{1,2}}")
# Designators that have the shape of a call as well; they decide between two parts of equal length (K9QRM/KH8S).
_TERRITORY = re.compile(r"(?:[AKNW]H[0-9]|VP[0268]|VK[09]|FT[0-9]|CE0|PY0|HK0|3D2)[A-Z]")
_UNITED_STATES = re.compile(r"[KNW]|A[A-L]")
_UP_TO_NUMBER = re.compile(r"(.+[0-9])[A-Z]*")

_WORDS: dict[str, Status] = {
    "MM": "maritime",
    "AM": "aeronautical",
    "M": "mobile",
    "PM": "mobile",
    "R": "mobile",
    "P": "portable",
    "A": "portable",
}
# Lighthouses and nature parks: two letters that would else pass for prefixes of Norway and France.
_PLAIN_WORDS = frozenset({"LH", "FF"})
_WEIGHT: dict[Status, int] = {"home": 0, "portable": 1, "mobile": 2, "aeronautical": 3, "maritime": 4}


@dataclass(frozen=True, slots=True)
class CallSign:
    """A call sign and its parts, all in capitals; parts that are not there are empty."""

    text: str  #: the whole call, without the angle brackets of a hashed one
    base: str  #: the home call, without what stands before and after a slash
    prefix: (
        str  #: the prefix as awards count it: DL5, VE3, C4; a place of operation without a number counts as number 0
    )
    number: str  #: the digits between the home call's prefix and suffix
    suffix: str  #: what follows the number
    before: str  #: what stands before the home call: VE3 in VE3/G4QRS
    after: tuple[str, ...]  #: the parts that follow it: ("4", "P")
    operating: (
        str  #: what decides the entity: a designator, a changed call area, else the home call; empty on the high seas
    )
    status: Status
    hashed: bool  #: whether it stood in angle brackets: told by a hash, which can collide


def parse(text: str) -> CallSign | None:
    """A call sign in any case, also in the angle brackets of a hashed one; None where it is none (``<...>`` too)."""
    call = text.strip()
    if not call.isascii():
        return None
    call = call.upper()
    hashed = call.startswith("<") and call.endswith(">")
    if hashed:
        call = call[1:-1]
    parts = call.split("/")
    place = _home_index(parts)
    if place is None or place > 1:
        return None
    found = HOME_CALL.fullmatch(parts[place])
    assert found is not None
    before = parts[0] if place else ""
    after = tuple(parts[place + 1 :])
    if (place and not _is_designator(before)) or not all(after):
        return None
    stem, number, suffix = found[1] or found[4], found[2] or found[5], found[3] or found[6]
    operating, status = _operation(parts[place], stem, number, before, after)
    abroad = operating not in ("", parts[place])
    return CallSign(
        text=call,
        base=parts[place],
        prefix=_numbered(operating) if abroad else found[4] or stem + number,
        number=number,
        suffix=suffix,
        before=before,
        after=after,
        operating=operating,
        status=status,
        hashed=hashed,
    )


#: ``parse`` for hot loops: remembers what it has taken apart
parse_cached = lru_cache(maxsize=4096)(parse)


def base_call(text: str) -> str:
    """The home call within ``text``; where that is no call sign, the text itself in capitals without angle brackets."""
    call = parse_cached(text)
    return call.base if call else text.strip().upper().removeprefix("<").removesuffix(">")


def _home_index(parts: list[str]) -> int | None:
    """Which part is the home call: the longest; of equally long ones the last that names no territory."""
    best: int | None = None
    for index, part in enumerate(parts):
        if HOME_CALL.fullmatch(part) is None:
            continue
        if best is None or _home_rank(part) >= _home_rank(parts[best]):
            best = index
    return best


def _home_rank(part: str) -> tuple[int, bool, bool]:
    found = HOME_CALL.fullmatch(part)
    assert found is not None
    return len(part), found[1] is not None, _TERRITORY.fullmatch(part) is None


def _is_designator(part: str) -> bool:
    return len(part) <= 6 and _DESIGNATOR.fullmatch(part) is not None


def _is_trailing_designator(part: str) -> bool:
    """A trailing part is read as a place only where it cannot be a letter or word that tells something else."""
    if part in _WORDS or part in _PLAIN_WORDS or len(part) < 2:
        return False
    return (len(part) == 2 or not part.isalpha()) and _is_designator(part)


def _operation(base: str, stem: str, number: str, before: str, after: tuple[str, ...]) -> tuple[str, Status]:
    """What decides the entity, and how the station operates."""
    operating = before or base
    status: Status = "portable" if before else "home"
    for part in after:
        told = _WORDS.get(part, "home")
        if len(part) == 1 and part.isdigit():
            operating = _changed_area(stem, number, part) if operating == base else operating
            told = "portable"
        elif operating == base and _is_trailing_designator(part):
            operating, told = part, "portable"
        if _WEIGHT[told] > _WEIGHT[status]:
            status = told
    return ("" if status in ("maritime", "aeronautical") else operating), status


def _changed_area(stem: str, number: str, digit: str) -> str:
    if _UNITED_STATES.match(stem):
        return "K" + digit
    if stem == "JD" and number == "1":
        return "JA" + digit
    return stem + digit


def _numbered(designator: str) -> str:
    """A designator up to its last digit; one without a number (9A counts as such) gets the number 0."""
    found = _UP_TO_NUMBER.fullmatch(designator)
    return found[1] if found else designator + "0"
