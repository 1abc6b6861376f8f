"""Datagram ↔ events: a typed decoder in one call where all is well, a careful look only where it is not.

``decode`` never raises. What it cannot accept it names: a closed list of reasons, a sentence, and the place.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any

import msgspec

from .events import KINDS, MAX_BATCH, MAX_DATAGRAM, VERSION, AnyEvent, Contact, Event, Heard, Receipt, Sent

#: our own choice, from the range that IANA leaves to registered and private use
DEFAULT_PORT = 41815
#: every event lies in these years: a clock that stands outside them was never set
EARLIEST = datetime(2000, 1, 1, tzinfo=UTC)
LATEST = datetime(2101, 1, 1, tzinfo=UTC)

_UTF8_MARK = b"\xef\xbb\xbf"
#: no kind nests deeper than three
MAX_DEPTH = 32

_TOO_DEEP = f"nested deeper than {MAX_DEPTH} levels"
_WHITE = " \t\r\n"
#: strings as a whole (atomic, so that no text makes it slow) and the marks outside them
_STRUCTURE = re.compile(r'"(?:[^"\\]|\\.)*+"?|[\[\]{},]', re.DOTALL)
_PATH = re.compile(r" - at `\$(?P<path>.*)`$", re.DOTALL)
_MISSING = re.compile(r"missing required field `(?P<field>[^`]*)`")
#: the moments of a kind besides ``at``
_MOMENTS: dict[type[Event], tuple[str, ...]] = {
    Contact: ("started_at", "ended_at"),
    Heard: ("decoded_at",),
    Sent: ("started_at",),
}


class Reason(StrEnum):
    """Why something was refused: the labels of the counters, a closed list."""

    TOO_LARGE = "too_large"
    NOT_UTF8 = "not_utf8"
    NOT_JSON = "not_json"
    NOT_FINITE = "not_finite"
    LONE_SURROGATE = "lone_surrogate"
    TOO_DEEP = "too_deep"
    TOO_MANY = "too_many"
    NOT_OBJECT = "not_object"
    VERSION = "version"
    UNKNOWN_KIND = "unknown_kind"
    MISSING_FIELD = "missing_field"
    BAD_VALUE = "bad_value"
    BAD_TIME = "bad_time"
    AHEAD = "ahead"
    UNSEALED = "unsealed"
    BAD_SEAL = "bad_seal"
    SEAL_TIME = "seal_time"
    SEAL_REPEATED = "seal_repeated"
    SEAL_BUSY = "seal_busy"


#: each reason in a sentence, for the page
REASONS: dict[Reason, str] = {
    Reason.TOO_LARGE: f"the datagram has more than {MAX_DATAGRAM:,} bytes",
    Reason.NOT_UTF8: "it is not UTF-8",
    Reason.NOT_JSON: "it is not JSON (RFC 8259)",
    Reason.NOT_FINITE: "NaN, Infinity, or a number beyond all range",
    Reason.LONE_SURROGATE: "a text with half of a surrogate pair",
    Reason.TOO_DEEP: f"nested deeper than {MAX_DEPTH} levels",
    Reason.TOO_MANY: f"an array of more than {MAX_BATCH} events",
    Reason.NOT_OBJECT: "an event that is no JSON object",
    Reason.VERSION: "a schema version that this program does not read",
    Reason.UNKNOWN_KIND: "a kind that this version does not have; skipped, no harm done",
    Reason.MISSING_FIELD: "a required field is missing",
    Reason.BAD_VALUE: "a value of the wrong type, out of range, or with characters that do not belong there",
    Reason.BAD_TIME: f"a time outside the years {EARLIEST.year} to {LATEST.year - 1}",
    Reason.AHEAD: "`at` lies more than 60 s ahead of the watch's clock",
    Reason.UNSEALED: "not sealed, where only sealed datagrams are taken",
    Reason.BAD_SEAL: "the seal does not fit the key or the content",
    Reason.SEAL_TIME: "sealed more than 30 s from the watch's clock",
    Reason.SEAL_REPEATED: "a sealed datagram that came before",
    Reason.SEAL_BUSY: "more sealed datagrams than the watch can remember",
}


class Refusal(msgspec.Struct, frozen=True):
    """One event or datagram that was not taken. The envelope is given as far as it could be read."""

    reason: Reason
    why: str
    where: str = ""  # "dial_hz", "[3].text"; empty: the datagram as a whole
    source: str | None = None
    run: str | None = None
    seq: int | None = None
    of: str | None = None  # the id, where the event asked for a receipt


_NOT_JSON = {
    Reason.NOT_FINITE: "NaN, Infinity or a number beyond all range",
    Reason.LONE_SURROGATE: "half of a surrogate pair is no character",
}


class Decoded(msgspec.Struct, frozen=True):
    """What one datagram held, in its order."""

    events: Sequence[AnyEvent] = ()
    refusals: Sequence[Refusal] = ()


_one: msgspec.json.Decoder[AnyEvent] = msgspec.json.Decoder(AnyEvent)
_many: msgspec.json.Decoder[list[AnyEvent]] = msgspec.json.Decoder(list[AnyEvent])
_anything: msgspec.json.Decoder[Any] = msgspec.json.Decoder()
_encoder = msgspec.json.Encoder()


def encode(event: Event | Receipt) -> bytes:
    """The UTF-8 JSON object of ``event``; fields at their defaults are left out."""
    return _encoder.encode(event)


def decode_event(line: bytes | str) -> AnyEvent:
    """One event that this program wrote itself, such as a journal's. Raises ``msgspec.DecodeError``."""
    return _one.decode(line)


def decode(datagram: bytes) -> Decoded:
    """Take a datagram apart: the events that are valid, and a refusal for each thing that is not."""
    if len(datagram) > MAX_DATAGRAM:
        return _refused(Reason.TOO_LARGE, f"{len(datagram)} bytes; a datagram holds at most {MAX_DATAGRAM}")
    try:
        event = _one.decode(datagram)
    except (ValueError, RecursionError):
        return _decode_slowly(datagram)
    if _in_time(event):
        return Decoded((event,))
    return Decoded((), (_bad_time(event, ""),))


def _refused(reason: Reason, why: str) -> Decoded:
    return Decoded((), (Refusal(reason, why),))


def _decode_slowly(datagram: bytes) -> Decoded:
    """An array, or something that is wrong: find out what."""
    body = datagram.removeprefix(_UTF8_MARK)  # RFC 8259 §8.1 lets a reader pass over it
    try:
        text = body.decode()
    except UnicodeDecodeError as error:
        return _refused(Reason.NOT_UTF8, f"not UTF-8 at byte {error.start}")
    if text.lstrip(_WHITE).startswith("["):
        return _decode_array(text)
    outcome = _decode_element(text, "")
    return Decoded((), (outcome,)) if isinstance(outcome, Refusal) else Decoded((outcome,))


def _decode_array(text: str) -> Decoded:
    """One bad element does not lose the others, however bad it is."""
    try:
        whole = _many.decode(text)
    except (ValueError, RecursionError):
        pass  # which ones, and why, is found out below
    else:
        if len(whole) <= MAX_BATCH and all(map(_in_time, whole)):
            return Decoded(whole)
    elements = _split(text)
    if elements is None:
        if _depth(text) > MAX_DEPTH:
            return _refused(Reason.TOO_DEEP, _TOO_DEEP)
        return _refused(Reason.NOT_JSON, "the array does not end where the datagram does")
    if len(elements) > MAX_BATCH:
        return _refused(Reason.TOO_MANY, f"{len(elements)} events; an array holds at most {MAX_BATCH}")
    events: list[AnyEvent] = []
    refusals: list[Refusal] = []
    for index, element in enumerate(elements):
        outcome = _decode_element(element, f"[{index}]")
        if isinstance(outcome, Refusal):
            refusals.append(outcome)
        else:
            events.append(outcome)
    return Decoded(events, refusals)


def _split(text: str) -> list[str] | None:
    """The texts of an array's elements, valid or not, of one at least; None where its brackets do not match up."""
    elements: list[str] = []
    depth = start = 0
    for token in _STRUCTURE.finditer(text):
        mark = token[0]
        if mark in "[{":
            depth += 1
            if depth == 1:
                start = token.end()
        elif mark == "," and depth == 1:
            elements.append(text[start : token.start()])
            start = token.end()
        elif mark in "]}":
            depth -= 1
            if depth == 0:
                rest = text[token.end() :]
                return None if rest.strip(_WHITE) else [*elements, text[start : token.start()]]
    return None


def _depth(text: str) -> int:
    depth = deepest = 0
    for token in _STRUCTURE.finditer(text):
        if token[0] in "[{":
            depth += 1
            deepest = max(deepest, depth)
        elif token[0] in "]}":
            depth -= 1
    return deepest


def _decode_element(text: str, place: str) -> AnyEvent | Refusal:
    try:
        try:
            event = _one.decode(text)
        except msgspec.ValidationError:
            if _depth(text) > MAX_DEPTH:  # whatever depth this interpreter can bear
                return Refusal(Reason.TOO_DEEP, _TOO_DEEP, place)
            return _decode_loosely(_anything.decode(text), place)
    except RecursionError:
        return Refusal(Reason.TOO_DEEP, _TOO_DEEP, place)
    except ValueError as error:
        return _not_json(text, str(error), place)
    return event if _in_time(event) else _bad_time(event, place)


def _decode_loosely(value: Any, place: str) -> AnyEvent | Refusal:
    """Mend nulls, and whole numbers written as ``14074000.0``, an integer to JSON Schema too; refuse the rest."""
    if not isinstance(value, dict):
        return Refusal(Reason.NOT_OBJECT, f"an event is a JSON object, not {_sort(value)}", place)
    value = {key: item for key, item in value.items() if item is not None}  # the same as left out
    refusal = _wrong_envelope(value, place)
    if refusal is not None:
        return refusal
    mended = {key: int(item) if _is_whole(item) else item for key, item in value.items()}
    try:
        event = msgspec.convert(mended, AnyEvent)
    except msgspec.ValidationError as error:
        return _explain(str(error), value, place)
    return event if _in_time(event) else _bad_time(event, place)


def _is_whole(value: Any) -> bool:
    return isinstance(value, float) and value.is_integer() and abs(value) < 2**53


def _wrong_envelope(value: dict[str, Any], place: str) -> Refusal | None:
    """Version before kind, and kind before all else: a later version may change what follows."""
    if "v" not in value:
        return _refusal(Reason.MISSING_FIELD, "v is missing", value, place, "v")
    version = value["v"]
    if isinstance(version, int | float) and not isinstance(version, bool) and version > VERSION:
        return _refusal(Reason.VERSION, f"schema version {version}; this program reads {VERSION}", value, place, "v")
    if "kind" not in value:
        return _refusal(Reason.MISSING_FIELD, "kind is missing", value, place, "kind")
    kind = value["kind"]
    if isinstance(kind, str) and kind not in KINDS:
        return _refusal(Reason.UNKNOWN_KIND, f"no such kind: {kind[:32]!r}", value, place, "kind")
    return None


def _explain(problem: str, value: dict[str, Any], place: str) -> Refusal:
    """Put the decoder's complaint as reason and place."""
    at = _PATH.search(problem)
    field = at["path"].lstrip(".") if at else ""
    why = _PATH.sub("", problem).replace("`", "")
    missing = _MISSING.search(problem)
    if missing:
        field = f"{field}.{missing['field']}".lstrip(".")
        return _refusal(Reason.MISSING_FIELD, f"{field} is missing", value, place, field)
    return _refusal(Reason.BAD_VALUE, f"{field}: {why}", value, place, field)


def _refusal(reason: Reason, why: str, value: dict[str, Any], place: str, field: str) -> Refusal:
    def text(key: str, limit: int) -> str | None:
        found = value.get(key)
        return found if isinstance(found, str) and 0 < len(found) <= limit else None

    seq = value.get("seq")
    return Refusal(
        reason,
        why,
        f"{place}.{field}".lstrip("."),
        source=text("source", 32),
        run=text("run", 32),
        seq=seq if type(seq) is int and 0 <= seq <= 2**53 else None,
        of=text("id", 64) if value.get("ack") is True else None,
    )


def _in_time(event: AnyEvent) -> bool:
    if not EARLIEST <= event.at < LATEST:
        return False
    for name in _MOMENTS.get(type(event), ()):  # noqa: SIM110 a generator would cost as much as the rest of it
        if not _is_plausible(getattr(event, name)):
            return False
    return True


def _is_plausible(moment: datetime | None) -> bool:
    return moment is None or EARLIEST <= moment < LATEST


def _bad_time(event: AnyEvent, place: str) -> Refusal:
    names = ("at", *_MOMENTS.get(type(event), ()))
    field = next(name for name in names if not _is_plausible(getattr(event, name)))
    why = f"{field} lies outside the years {EARLIEST.year} to {LATEST.year - 1}"
    return refusal_of(event, Reason.BAD_TIME, why, f"{place}.{field}".lstrip("."))


def refusal_of(event: AnyEvent, reason: Reason, why: str, where: str) -> Refusal:
    """A refusal of an event that was well formed."""
    return Refusal(reason, why, where, event.source, event.run, event.seq, event.id if event.ack else None)


class _ConstantError(Exception):
    """The text holds NaN or Infinity."""


def _not_json(text: str, problem: str, place: str) -> Refusal:
    """Tell apart what is no JSON at all and what JSON cannot say: NaN, 1e999, half a character."""
    reason = Reason.NOT_FINITE if "out of range" in problem else _beyond_json(text)
    return Refusal(reason, _NOT_JSON.get(reason, problem.removeprefix("JSON is malformed: ")), place)


def _beyond_json(text: str) -> Reason:
    """The standard library reads a little more than JSON: NaN and lone surrogates. By that they are known."""

    def found(_: str) -> None:
        raise _ConstantError

    try:
        json.loads(text, parse_constant=found)
    except _ConstantError:
        return Reason.NOT_FINITE
    except (ValueError, RecursionError):
        return Reason.NOT_JSON
    return Reason.LONE_SURROGATE


def _sort(value: Any) -> str:
    """How JSON names the type of ``value``."""
    names: dict[type, str] = {list: "an array", str: "a string", bool: "a boolean", type(None): "null"}
    return names.get(type(value), "a number")
