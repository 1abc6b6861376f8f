"""How credible a decode is: a phantom passes the checksum by accident and says what chance says.

Every finding about a decode carries a weight, the natural logarithm of how much likelier it is in a real message than
in a phantom; the weights add up from a prior (naive Bayes), and the score is the chance that the message is real.

Weights that follow from the bits are measured: phantoms are random 77-bit payloads unpacked, real ones the messages of
simulated stations (the tests measure both and hold the weights to it). Weights of strength, decoder's marks and
history are common practice, no source. What the decoder was told beforehand proves nothing: a decode that was aided by
one's own call is no evidence of being called, and phantoms of that kind favour it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import lru_cache
from math import exp, log
from typing import NamedTuple

import msgspec

from watchkeeper.radio import entity, entity_extent
from watchkeeper.radio.callsign import parse_cached
from watchkeeper.radio.entity import Placed
from watchkeeper.radio.mode import timed
from watchkeeper.radio.reading import Form, Reading

#: from this score on a decode may be hailed and counted. Naive odds are too sure of themselves, and a phantom hailed
#: costs more than a station heard a period later: at 0.9 the sets lose 1 in 130 by the message alone, 1 in 450 with all
#: evidence, and 1.5 % and 0.5 % of the phantoms pass.
CREDIBLE = 0.9

#: about one decode in twenty is a phantom when the decoder looks deep (common practice, no source)
_PRIOR = 2.94
#: weights below this say too little to be named
_NAMED = 0.5

#: no single finding decides alone: what the simulation never shows is still not impossible
LARGEST_WEIGHT = 4.0

#: finding → weight, measured on both sets (see above)
MEASURED: dict[str, float] = {
    "form_standard": 2.4,
    "form_standard_portable": -2.7,
    "form_rover": -3.5,
    "form_full_call": -2.7,
    "form_two_addressees": -2.0,
    "form_class_and_section": -2.5,
    "form_report_and_region": -4.0,
    "form_serial_and_locator": -4.0,
    "form_telemetry": -4.0,
    "form_other": -4.0,
    "text_written": 4.0,
    "text_unknown": -4.0,
    "sender_allocated": 0.1,
    "sender_hashed": 2.1,
    "sender_unallocated": -4.0,
    "sender_unresolved": -1.1,
    "prefix_one_letter": 3.6,
    "prefix_other": 0.0,
    "prefix_digit": -1.7,
    "prefix_long_number": -3.5,
    "locator_fits": 3.6,
    "locator_misfits": -4.0,
    "addressee_allocated": -0.1,
    "addressee_hashed": 3.0,
    "addressee_unallocated": -4.0,
    "addressee_unresolved": -1.8,
    "to_all": 4.0,
    "tail_report": 4.0,
    "tail_acknowledgement": 4.0,
    "tail_none": 3.4,
    "tail_locator": -0.2,
    "tail_acknowledged_locator": -4.0,
    "full_sender_allocated": 2.9,
    "full_sender_hashed": 1.9,
    "full_sender_unallocated": -4.0,
    "full_sender_unresolved": -3.3,
    "full_addressee_allocated": 2.5,
    "full_addressee_hashed": 2.2,
    "full_addressee_unallocated": -3.4,
    "full_addressee_unresolved": -0.6,
    "full_to_all": -0.2,
    "serial_sender_hashed": 4.0,
    "serial_sender_unresolved": -1.6,
    "serial_addressee_hashed": 1.9,
    "serial_addressee_unresolved": -1.5,
    "two_sender_hashed": 0.8,
    "two_sender_unresolved": -1.3,
    "two_addressee_allocated": 0.1,
    "two_addressee_unallocated": -1.6,
    "two_addressee_hashed": 0.6,
    "two_addressee_unresolved": 0.5,
}

#: finding → (share among real decodes, share among phantoms): common practice, no source
_PRACTICE: dict[str, tuple[float, float]] = {
    "strong": (0.55, 0.02),
    "weak": (0.20, 0.08),
    "at_limit": (0.20, 0.55),
    "at_floor": (0.05, 0.35),
    "unmarked": (0.92, 0.50),
    "aided": (0.05, 0.35),
    "low_confidence": (0.03, 0.15),
    "heard_never": (0.15, 0.99),
    "heard_once": (0.10, 0.008),
    "heard_often": (0.75, 0.002),
    "worked": (0.20, 0.002),
    "locator_again": (0.60, 0.001),
}

WEIGHTS: dict[str, float] = MEASURED | {
    name: max(-LARGEST_WEIGHT, min(LARGEST_WEIGHT, log(real / phantom))) for name, (real, phantom) in _PRACTICE.items()
}


class Evidence(msgspec.Struct, frozen=True):
    """A decode and what is known about it; None where something is not known."""

    #: the station to judge, normally the sender
    call: str | None
    reading: Reading
    snr_db: float | None = None
    #: lowest SNR that the source displays; a value there is censored
    floor_db: float | None = None
    mode: str = "FT8"
    #: whether the decoder was helped by what it was told beforehand
    aided: bool | None = None
    #: what the decoder was told: ``own_call``, ``their_call``, ``general_call``
    aided_by: tuple[str, ...] = ()
    low_confidence: bool | None = None
    #: how often the station was heard before, in other periods
    heard_before: int | None = None
    to_me: bool = False
    #: the locator to judge; where it is None, the message's
    locator: str | None = None
    #: the locator that the station gave before this message
    locator_before: str | None = None
    worked_before: bool = False


class Finding(NamedTuple):
    """What was found, by the name of its weight, and in words."""

    name: str
    reason: str


class Credibility(msgspec.Struct, frozen=True):
    """How credible a decode is: the score, from 0 to 1, and whether it reaches the threshold."""

    score: float
    credible: bool
    findings: tuple[Finding, ...]

    @property
    def reasons(self) -> tuple[str, ...]:
        """The weighty findings: those that agree with the verdict, then those that do not, the weightiest first.

        Put into words only where somebody asks: hardly any decode is ever explained.
        """
        verdict = _weigh(tuple([finding.name for finding in self.findings]))
        agreeing = [self.findings[index].reason for index in verdict.agreeing]
        return (*agreeing, *(f"but {self.findings[index].reason}" for index in verdict.speaking_against))


#: findings are remembered for so many different pieces of evidence of one kind: for those of an hour on a full band
_REMEMBERED = 2048

Findings = tuple[Finding, ...]


class _Verdict(NamedTuple):
    """What a row of findings comes to: the score, and which of them agree or not, the weightiest first."""

    score: float
    agreeing: tuple[int, ...]
    speaking_against: tuple[int, ...]


def judge(evidence: Evidence) -> Credibility:
    """Weigh a decode. Pure: the same evidence gives the same score and reasons."""
    found = tuple(findings(evidence))
    score = _weigh(tuple([finding.name for finding in found])).score
    return Credibility(score, score >= CREDIBLE, found)


@lru_cache(maxsize=_REMEMBERED)
def _weigh(names: tuple[str, ...]) -> _Verdict:
    weights = [WEIGHTS[name] for name in names]
    odds = _PRIOR + sum(weights)
    score = 1 / (1 + exp(-max(-50.0, min(50.0, odds))))
    sign = 1.0 if score >= CREDIBLE else -1.0
    weighty = [index for index, weight in enumerate(weights) if abs(weight) >= _NAMED]
    weighty.sort(key=lambda index: -abs(weights[index]))
    return _Verdict(
        score,
        tuple(index for index in weighty if weights[index] * sign > 0),
        tuple(index for index in weighty if weights[index] * sign < 0),
    )


def findings(evidence: Evidence) -> list[Finding]:
    """What can be found out about a decode, one finding a question.

    Stations are heard again and again: what a call tells is remembered by what it depends on.
    """
    reading, told, edition = evidence.reading, _told(evidence), entity.edition()
    found = [_form(reading)]
    if reading.has_parties:
        if "their_call" not in told:
            square = evidence.locator or reading.locator
            found += _sender(
                edition, evidence.call, reading.type, reading.sender_hashed, square, evidence.locator_before
            )
            found += _history(evidence.worked_before, evidence.heard_before)
        if "own_call" not in told and "general_call" not in told:
            found += _addressee(
                edition, reading.addressee, reading.type, reading.addressee_hashed, reading.is_call_to_all
            )
        if "own_call" not in told or "their_call" not in told:
            found += _tail(reading)
    found += _strength(evidence.mode, evidence.snr_db, evidence.floor_db)
    found += _marks(evidence.aided, evidence.low_confidence)
    return found


def _told(evidence: Evidence) -> tuple[str, ...]:
    """Return what the decoder knew beforehand; an aided call to me without particulars is taken as aided by my call."""
    if evidence.aided and not evidence.aided_by and evidence.to_me:
        return ("own_call",)
    return evidence.aided_by


_FORM_WORDS = {
    "standard": "an ordinary message",
    "standard_portable": "a portable form, seldom used",
    "full_call": "a call sign in full",
    "two_addressees": "a message to two stations",
    "class_and_section": "a field-day exchange",
    "report_and_region": "a contest exchange",
    "serial_and_locator": "a contest exchange between hashed calls",
    "telemetry": "telemetry, hardly ever sent",
    "other": "no message of the protocol",
}
_WRITTEN = re.compile(r"(?:^|[ .])(?:73|88|TNX|TKS|TU|GL|FB|GM|GA|GE|QSL|QRP|ANT|DX|OM|BEST|TEST|HPE|CUAGN)(?:$|[ .!])")


_FORMS = {form: Finding(f"form_{form}", words) for form, words in _FORM_WORDS.items()}
_ROVER = Finding("form_rover", "a roving station, seldom heard")
_TEXT_WRITTEN = Finding("text_written", "a text as operators write them")
_TEXT_UNKNOWN = Finding("text_unknown", "a text without a usual word")


def _form(reading: Reading) -> Finding:
    if reading.type == "free_text":
        return _TEXT_WRITTEN if _WRITTEN.search(reading.text.upper()) else _TEXT_UNKNOWN
    if reading.type == "standard" and (_roves(reading.sender) or _roves(reading.addressee)):
        return _ROVER
    return _FORMS[reading.type]


def _roves(call: str | None) -> bool:
    return call is not None and call.endswith("/R")


#: forms in which a call is a hash by rule, of 10, 12 or 22 bits: what a hash tells there differs, so the weights do
_GROUPS: dict[Form, str] = {"full_call": "full_", "serial_and_locator": "serial_", "two_addressees": "two_"}


def _within(group: str, finding: str) -> str:
    """The finding as weighed in its form; one that the sets never showed there counts as it does anywhere."""
    name = group + finding
    return name if name in WEIGHTS else finding


@lru_cache(maxsize=_REMEMBERED)
def _sender(
    _edition: int, call: str | None, form: Form, hashed: bool, square: str | None, before: str | None
) -> Findings:
    """What the sender's call tells. Where a call belongs can change with the country data, hence their edition."""
    group = _GROUPS.get(form, "")
    if call is None:
        return (Finding(_within(group, "sender_unresolved"), "its call sign is an unresolved hash"),)
    placed = entity.lookup(call)
    if not placed.valid:
        name = _within(group, "sender_unallocated")
        return (Finding(name, f"{call} is no call sign of an allocated series"),)
    if hashed:
        name = _within(group, "sender_hashed")
        found = [Finding(name, f"{call} is told by a hash, which another station can share")]
    else:
        found = [Finding(_within(group, "sender_allocated"), f"{call} is of an allocated series")]
        if form != "full_call":
            found.append(_prefix(call))
    if square is not None:
        found += _locator(placed, square, before)
    return tuple(found)


def _locator(placed: Placed, square: str, before: str | None) -> Iterator[Finding]:
    fits = entity_extent.fits(placed, square)
    if before is not None and before[:4] == square[:4]:
        yield Finding("locator_again", f"the locator {square} it gave before")
    elif fits is not None and placed.entity is not None:
        if fits:
            yield Finding("locator_fits", f"locator {square} can lie in {placed.entity.name}")
        else:
            yield Finding("locator_misfits", f"locator {square} does not lie in {placed.entity.name}")


def _prefix(call: str) -> Finding:
    """Chance seldom makes a prefix of one letter; it often begins with a digit or makes a number of two digits."""
    home = parse_cached(call)
    if home is None:
        return Finding("prefix_digit", f"{call} has no usual prefix")
    if len(home.number) > 1:
        return Finding("prefix_long_number", f"{home.base} has a number of {len(home.number)} digits")
    if home.base[0].isdigit():
        return Finding("prefix_digit", f"{home.base} begins with a digit, as chance often makes it")
    if home.base[1].isdigit() and home.base[0] in "BFGIKMNRW":
        return Finding("prefix_one_letter", f"{home.base} has a prefix of one letter, as chance seldom makes it")
    return Finding("prefix_other", f"{home.base} has a prefix of two characters")


@lru_cache(maxsize=_REMEMBERED)
def _addressee(_edition: int, call: str | None, form: Form, hashed: bool, to_all: bool) -> Findings:
    group = _GROUPS.get(form, "")
    if to_all:
        return (Finding(_within(group, "to_all"), "a call to all"),)
    if call is None:
        return (Finding(_within(group, "addressee_unresolved"), "it calls an unresolved hash"),)
    if not entity.lookup(call).valid:
        name = _within(group, "addressee_unallocated")
        return (Finding(name, f"{call}, whom it calls, is of no allocated series"),)
    if hashed:
        return (Finding(_within(group, "addressee_hashed"), f"{call}, whom it calls, is told by a hash"),)
    found = Finding(_within(group, "addressee_allocated"), f"{call}, whom it calls, is of an allocated series")
    return (found,) if form == "full_call" else (found, _prefix(call))


_ACKNOWLEDGED_LOCATOR = (Finding("tail_acknowledged_locator", "it acknowledges with a locator, as in few contests"),)
_LOCATOR = (Finding("tail_locator", "it gives a locator"),)
_REPORT = (Finding("tail_report", "it gives a report, which chance seldom makes"),)
_ACKNOWLEDGEMENT = (Finding("tail_acknowledgement", "it acknowledges, which chance seldom makes"),)
_NOTHING = (Finding("tail_none", "nothing follows the calls, which chance seldom makes"),)


def _tail(reading: Reading) -> Findings:
    if reading.type not in ("standard", "standard_portable"):
        return ()
    if reading.locator is not None:
        return _ACKNOWLEDGED_LOCATOR if reading.step == "roger_report" else _LOCATOR
    if reading.report_db is not None:
        return _REPORT
    return _ACKNOWLEDGEMENT if reading.is_closing else _NOTHING


@lru_cache(maxsize=_REMEMBERED)
def _strength(mode_name: str, snr_db: float | None, floor_db: float | None) -> Findings:
    mode = timed(mode_name)
    if snr_db is None or mode is None:
        return ()
    if snr_db <= (mode.floor_db if floor_db is None else floor_db):
        return (Finding("at_floor", "its strength is the lowest that is displayed, or less"),)
    above_db = snr_db - mode.limit_db
    if above_db > 6:
        return (Finding("strong", f"{above_db:.0f} dB above the decoding limit"),)
    if above_db > 2:
        return (Finding("weak", f"{above_db:.0f} dB above the decoding limit"),)
    return (Finding("at_limit", "at the decoding limit"),)


_AIDED = (Finding("aided", "the decoder was helped to it"),)
_NOT_SURE = (Finding("low_confidence", "the decoder is not sure of it"),)
_UNMARKED = (Finding("unmarked", "decoded without help"),)


def _marks(aided: bool | None, low_confidence: bool | None) -> Findings:
    if aided:
        return _AIDED
    if low_confidence:
        return _NOT_SURE
    return () if aided is None else _UNMARKED


@lru_cache(maxsize=_REMEMBERED)
def _history(worked_before: bool, heard_before: int | None) -> Findings:
    worked = (Finding("worked", "worked before"),) if worked_before else ()
    if heard_before is None:
        return worked
    if heard_before == 0:
        return (*worked, Finding("heard_never", "not heard before"))
    if heard_before == 1:
        return (*worked, Finding("heard_once", "heard once before"))
    return (*worked, Finding("heard_often", f"heard {heard_before} times before"))
