"""Reads the messages of the FT8 and FT4 family.

The structures are those that Franke, Somerville and Taylor published in QEX, July/August 2020 (Table 1). The reader
works on the text that a decoder shows, so it is more lenient than the 77 bits: two calls in full are read although
they could not have been sent so.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import lru_cache

from watchkeeper.radio.callsign import base_call
from watchkeeper.radio.message_words import (
    MOST_CALLS,
    Party,
    hashed,
    is_fine_locator,
    is_full_call,
    is_standard_call,
    party,
    report,
    tail,
)
from watchkeeper.radio.reading import Form, Part, Reading, Step

__all__ = ["Form", "Part", "Reading", "Step", "matches_own", "read", "reports_own"]

_DIRECTION = re.compile(r"[A-Z]{1,4}|[0-9]{3}")
_CLASS = re.compile(r"([1-9]|[12][0-9]|3[0-2])[A-H]")
_SECTION = re.compile(r"[A-Z]{2,3}")
_RST = re.compile(r"5[2-9]9")
_REGION = re.compile(r"[A-Z]{1,3}|[0-9]{4}")
_SERIAL = re.compile(r"5[2-9][0-9]{4}")
_TELEMETRY = re.compile(r"[0-7][0-9A-F]{17}|[0-9A-F]{14,17}")
_FREE_TEXT = re.compile(r"[ 0-9A-Z+\-./?]{1,13}")
_EVERYBODY = Party(None, hashed=False)


@lru_cache(maxsize=1024)  # a text is met again in its own period and in the next ones, hardly ever later
def read(text: str) -> Reading:
    """Read one message as a decoder shows it; case and extra blanks do not count. Any text can be read.

    Up to 13 characters that fit no structure are free text. A hexadecimal word of 14 to 18 digits is telemetry;
    a shorter one cannot be told from free text and is taken as such.
    """
    if not text.isascii() and not "".join(text.split()).isascii():
        return Reading(
            text, "other"
        )  # not in the protocol's alphabet, but capitals could be: ß becomes SS, ı becomes I
    words = text.upper().split()
    for form in _FORMS:
        found = form(text, words)
        if found is not None:
            return found
    plain = " ".join(words)
    if len(words) == 1 and _TELEMETRY.fullmatch(plain):
        return Reading(text, "telemetry", step="telemetry")
    if _FREE_TEXT.fullmatch(plain):
        return Reading(text, "free_text", step="free_text", free_text=plain)
    return Reading(text, "other")


@lru_cache(maxsize=MOST_CALLS)
def matches_own(own_call: str, call: str | None) -> bool:
    """Say whether ``call``, as a message names it, means the station ``own_call``.

    Base and compound forms of one call match, with or without the brackets of a hash; an unresolved hash (None, or
    ``<...>``) never does. Whether it was hashed is in the reading: a hash can be another station's.
    """
    if call is None or not own_call:
        return False
    return base_call(call) == base_call(own_call)


def reports_own(own_call: str | None, heard_call: str | None) -> bool:
    """Say whether somebody's report of hearing ``heard_call`` is of the own station: one that names nobody is."""
    return heard_call is None or matches_own(own_call or "", heard_call)


def _reading(
    text: str,
    form: Form,
    sender: Party,
    addressee: Party,
    step: Step,
    *,
    report_db: int | None = None,
    locator: str | None = None,
    directed_to: str | None = None,
    exchange: str | None = None,
    parts: tuple[Part, ...] | None = None,
) -> Reading:
    return Reading(
        text,
        form,
        sender=sender.call,
        addressee=addressee.call,
        step=step,
        report_db=report_db,
        locator=locator,
        directed_to=directed_to,
        exchange=exchange,
        sender_hashed=sender.hashed,
        addressee_hashed=addressee.hashed,
        parts=parts,
    )


def _call_to_all(text: str, words: list[str]) -> Reading | None:
    """``CQ W1QSB FN42``, ``CQ DX W1QSB``, ``CQ PJ4/W1QSB``, ``QRZ W1QSB``, ``DE W1QSB FN42``."""
    if len(words) < 2 or words[0] not in {"CQ", "QRZ", "DE"}:
        return None
    head, *rest = words
    directed_to = None
    if head == "CQ" and len(rest) > 1 and _DIRECTION.fullmatch(rest[0]):
        directed_to, *rest = rest
    sender = party(rest[0])
    if sender is None and len(words) == 2 and head == "CQ" and is_full_call(rest[0]):
        sender = Party(rest[0], hashed=False)
    end = tail(*rest[1:])
    if sender is None or end is None:
        return None
    # only DE can stand in for an addressee whose call does not fit, so only there a later step makes sense
    step: Step = "calling" if head != "DE" or end.step == "answering" else end.step
    return _reading(
        text,
        _form_of(sender),
        sender,
        _EVERYBODY,
        step,
        report_db=end.report_db,
        locator=end.locator,
        directed_to=directed_to,
    )


def _two_parties(text: str, words: list[str]) -> Reading | None:
    """``W1QSB W9QTA EN37``, ``W1QSB/R W9QTA/R R EN37``, ``W9QTA <PJ4/W1QSB> -03``, ``<W9QTA> PJ4/W1QSB RRR``."""
    if len(words) < 2:
        return None
    addressee, sender = _pair(words[0], words[1])
    end = tail(*words[2:])
    if addressee is None or sender is None or end is None:
        return None
    return _reading(
        text,
        _form_of(addressee, sender),
        sender,
        addressee,
        end.step,
        report_db=end.report_db,
        locator=end.locator,
    )


def _pair(first: str, second: str) -> tuple[Party | None, Party | None]:
    """Return addressee and sender. Beside a hash any string that 58 bits hold is a call, else it must look like one."""
    addressee, sender = party(first), party(second)
    if addressee is None and sender is not None and sender.hashed and is_full_call(first):
        addressee = Party(first, hashed=False)
    if sender is None and addressee is not None and addressee.hashed and is_full_call(second):
        sender = Party(second, hashed=False)
    return addressee, sender


def _form_of(*parties: Party) -> Form:
    shapes = [_shape(one) for one in parties]
    if "full_call" in shapes:
        return "full_call"
    return "standard_portable" if "standard_portable" in shapes else "standard"


@lru_cache(maxsize=MOST_CALLS)
def _shape(one: Party) -> Form:
    """The form that this party's call alone asks for."""
    if one.call is None or one.hashed:
        return "standard"
    if not is_standard_call(one.call):
        return "full_call"
    return "standard_portable" if one.call.endswith("/P") else "standard"


def _two_addressees(text: str, words: list[str]) -> Reading | None:
    """``W1QSB RR73; W9QTA <KH1/W7QTZ> -08``: a farewell to the first, a report to the second."""
    if len(words) != 5 or words[1] != "RR73;":
        return None
    first, second, sender, shown = party(words[0]), party(words[2]), party(words[3]), report(words[4])
    if first is None or second is None or sender is None or shown is None or shown[0]:
        return None
    farewell = Part(sender.call, first.call, "roger_farewell", None, sender.hashed, first.hashed)
    answer = Part(sender.call, second.call, "report", shown[1], sender.hashed, second.hashed)
    return _reading(text, "two_addressees", sender, first, "roger_farewell", parts=(farewell, answer))


def _class_and_section(text: str, words: list[str]) -> Reading | None:
    """``W1QSB W9QTA 6A WI``, ``W9QTA W1QSB R 17B EMA``."""
    return _contest(text, words, "class_and_section", _CLASS, _SECTION)


def _report_and_region(text: str, words: list[str]) -> Reading | None:
    """``W1QSB W9QTA 579 WI``, ``W1QSB W9QTA 559 0013``, ``TU; W9QTA W1QSB R 589 MA``."""
    return _contest(text, words[1:] if words[:1] == ["TU;"] else words, "report_and_region", _RST, _REGION)


def _contest(
    text: str, words: list[str], form: Form, first: re.Pattern[str], second: re.Pattern[str]
) -> Reading | None:
    """Read two calls, an optional R, and two words that fit ``first`` and ``second``."""
    acknowledged = len(words) == 5 and words[2] == "R"
    if len(words) != 4 + acknowledged:
        return None
    addressee, sender = party(words[0]), party(words[1])
    if addressee is None or sender is None or not first.fullmatch(words[-2]) or not second.fullmatch(words[-1]):
        return None
    step: Step = "roger_report" if acknowledged else "report"
    return _reading(text, form, sender, addressee, step, exchange=" ".join(words[-2:]))


def _serial_and_locator(text: str, words: list[str]) -> Reading | None:
    """``<G4QRS> <PA9QRT> R 570007 JO22DB``: both calls are hashes."""
    acknowledged = len(words) == 5 and words[2] == "R"
    if len(words) != 4 + acknowledged:
        return None
    addressee, sender = hashed(words[0]), hashed(words[1])
    if addressee is None or sender is None or not _SERIAL.fullmatch(words[-2]) or not is_fine_locator(words[-1]):
        return None
    step: Step = "roger_report" if acknowledged else "report"
    exchange = " ".join(words[-2:])
    return _reading(text, "serial_and_locator", sender, addressee, step, locator=words[-1], exchange=exchange)


#: tried in this order; no text fits two of them
_FORMS: tuple[Callable[[str, list[str]], Reading | None], ...] = (
    _call_to_all,
    _two_parties,
    _two_addressees,
    _report_and_region,
    _class_and_section,
    _serial_and_locator,
)
