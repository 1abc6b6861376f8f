"""The data types of ADIF: does a text have the form of a type, and if not, what would?

The forms are those of the standard's data type table and of the XML schema that is published with it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from decimal import Decimal

_NUMBER = re.compile(r"-?(?:[0-9]+\.?[0-9]*|\.[0-9]+)")
_INTEGER = re.compile(r"-?[0-9]+")
_PRINTABLE = re.compile(r"[ -~]*")
_PRINTABLE_LINES = re.compile(r"(?:[ -~]|\r\n)*")
_DATE = re.compile(r"[0-9]{8}")
_TIME = re.compile(r"(?:[01][0-9]|2[0-3])[0-5][0-9](?:[0-5][0-9])?")
_GRID = r"[A-R]{2}(?:[0-9]{2}(?:[A-X]{2}(?:[0-9]{2})?)?)?"
_POTA = r"[A-Z0-9]{1,4}-[0-9]{4,5}(?:@[A-Z]{2}-[A-Z0-9]{1,3})?"
_NOT_ZERO = r"(?!000)[0-9]{3}"
_CREDIT = r"[A-Z0-9_]+(?::(?:CARD|EQSL|LOTW)(?:&(?:CARD|EQSL|LOTW))*)?"
_AWARD = r"[A-Z0-9]+_[^ ,_]+_[^ ,]+"
_FIRST_YEAR = 1930

#: data type → (pattern, the form in words); letter case does not count
_PATTERNS: dict[str, tuple[str, str]] = {
    "AwardList": (r"[A-Z0-9_ -]+(?:,[A-Z0-9_ -]+)*", "award names with commas between them"),
    "CreditList": (rf"{_CREDIT}(?:,{_CREDIT})*", "credits as DXCC:card&lotw with commas between them"),
    "SponsoredAwardList": (rf"{_AWARD}(?:,{_AWARD})*", "SPONSOR_PROGRAMME_AWARD with commas between them"),
    "Boolean": (r"[YN]", "Y or N"),
    "Digit": (r"[0-9]", "one digit"),
    "Integer": (_INTEGER.pattern, "a whole number"),
    "Number": (_NUMBER.pattern, "a number with a decimal point"),
    "PositiveInteger": (r"0*[1-9][0-9]*", "a whole number from 1 up"),
    "Character": (r"[ -~]", "one ASCII character"),
    "IntlCharacter": (r"[^\r\n]", "one character"),
    "Time": (_TIME.pattern, "a UTC time HHMM or HHMMSS"),
    "IOTARefNo": (rf"(?:NA|SA|EU|AF|OC|AS|AN)-{_NOT_ZERO}", "an island reference as EU-005"),
    "IntlString": (r"[^\r\n]*", "one line of text"),
    "GridSquare": (_GRID, "a locator of 2, 4, 6 or 8 characters"),
    "GridSquareExt": (r"[A-X]{2}(?:[0-9]{2})?", "the 9th to 12th character of a locator, 2 or 4 of them"),
    "GridSquareList": (rf"{_GRID}(?:,{_GRID})*", "locators with commas between them"),
    "Location": (r"[NSEW](?:0[0-9]{2}|1[0-7][0-9]) [0-5][0-9]\.[0-9]{3}|[EW]180 00\.000", "a place as N052 31.200"),
    "POTARef": (_POTA, "a park reference as XX-1234"),
    "POTARefList": (rf"{_POTA}(?:,{_POTA})*", "park references with commas between them"),
    "SecondarySubdivisionList": (r"[A-Z]{2},[^:]+(?::[A-Z]{2},[^:]+)*", "counties as MA,Franklin:MA,Hampshire"),
    "SecondaryAdministrativeSubdivisionListAlt": (r"[^:;]+:[^;]+(?:;[^:;]+:[^;]+)*", "LIST:Name with ; between them"),
    "SOTARef": (rf"[A-Z0-9]{{1,8}}/[A-Z]{{2}}-{_NOT_ZERO}", "a summit reference as W2/WE-003"),
    "WWFFRef": (r"[A-Z0-9]{1,4}FF-[0-9]{4}", "a reference as DLFF-0001"),
}
_COMPILED = {
    name: (re.compile(pattern, re.IGNORECASE | re.ASCII), words) for name, (pattern, words) in _PATTERNS.items()
}


def fault(type_name: str, text: str) -> str | None:
    """Why a text is not of a data type, with the form it should have; None when it is."""
    if type_name in _OWN_CHECKS:
        return _OWN_CHECKS[type_name](text)
    pattern, words = _COMPILED[type_name]
    return None if pattern.fullmatch(text) else f"is not {words}"


def number(text: str) -> Decimal | None:
    """The value of a Number, Integer or PositiveInteger; None when the text is none."""
    return Decimal(text) if _NUMBER.fullmatch(text) else None


def _string(text: str) -> str | None:
    if _PRINTABLE.fullmatch(text):
        return None
    if "\r" in text or "\n" in text:
        return "holds a line break, which this field cannot: write it in one line"
    return _not_ascii(text)


def _multiline(text: str) -> str | None:
    if _PRINTABLE_LINES.fullmatch(text):
        return None
    if text.isascii() and _PRINTABLE_LINES.fullmatch(text.replace("\r\n", "\n").replace("\n", "\r\n")):
        return "has a line break that is not CR LF: write CR LF"
    return _not_ascii(text)


def _not_ascii(text: str) -> str:
    odd = next(character for character in text if not " " <= character <= "~" and character not in "\r\n")
    if odd.isascii():
        return f"holds the control character {ord(odd)}: leave it out"
    return f"holds {odd!a}, which is not ASCII: spell it in ASCII, or use the _INTL field in ADX"


def _date(text: str) -> str | None:
    if not _DATE.fullmatch(text):
        return "is not a UTC date YYYYMMDD"
    try:
        date(int(text[:4]), int(text[4:6]), int(text[6:]))
    except ValueError:
        return "is not a date of the calendar"
    return None if int(text[:4]) >= _FIRST_YEAR else f"is before {_FIRST_YEAR}"


#: data types whose fault is more than "not of this form"
_OWN_CHECKS: dict[str, Callable[[str], str | None]] = {
    "String": _string,
    "MultilineString": _multiline,
    "IntlMultilineString": lambda _: None,
    "Date": _date,
    "Enumeration": _string,
}
