"""From a ``contact`` event to the contact that the log keeps: filled where other events know more, flagged where it
looks impossible, and never refused for its looks."""

from __future__ import annotations

import hashlib
from typing import Any

import msgspec

from ..adif import encode_record
from ..adif.contact import OWN_CALL, to_record
from ..model import Contact, Own
from ..radio import band, geodesic, locator
from ..radio.entity import Placed, lookup
from ..radio.message import matches_own
from ..radio.place import Point
from ..schema import events
from ..store.contacts import FUTURE_MS, IN_FUTURE
from .with_us import WithUs

#: envelope fields: they tell how the contact was sent, not what it is
_ENVELOPE = frozenset({"v", "at", "receiver", "run", "seq", "ack", "live", "revision"})


class Candidate(msgspec.Struct, frozen=True, kw_only=True):
    """A contact on its way into the log, with the digest of what its source said."""

    contact: Contact
    digest: bytes


def digest(event: events.Contact) -> bytes:
    """Sixteen bytes that are the same for the same content, whatever envelope it came in."""
    said = {k: v for k, v in msgspec.to_builtins(event).items() if k not in _ENVELOPE and v is not None}
    return hashlib.blake2b(msgspec.json.encode(said, order="sorted"), digest_size=16).digest()


def contact_key(own_call: str | None, source: str, source_id: str) -> str:
    """The contact's global key: own call, source and the source's id."""
    return f"{(own_call or '').upper()}|{source}|{source_id}"


def build(
    event: events.Contact, own: Own, heard_locator: str | None, exchange: WithUs | None, now_ms: int
) -> Candidate:
    """The contact of ``event``, with what is missing taken from the own station, hearings and the exchange with us."""
    fill = _Filler(event)
    station_call = fill("station_call", own.call)
    own_locator = fill("own_locator", own.locator)
    call = event.call.upper()
    placed = lookup(call)
    their_locator = fill("locator", heard_locator)
    frequency = None if event.dial_hz == 0 else event.dial_hz + round(event.offset_hz or 0)
    contact = Contact(
        key=contact_key(station_call, event.source, event.id),
        source=event.source,
        source_id=event.id,
        revision=event.revision,
        call=call,
        started_ms=events.to_ms(event.started_at),
        ended_ms=events.to_ms(event.ended_at),
        band=None if frequency is None else band.of(frequency),
        frequency_hz=frequency,
        dial_hz=event.dial_hz,
        offset_hz=event.offset_hz,
        mode=event.mode.upper(),
        report_sent=fill("report_sent", None if exchange is None else exchange.our_report),
        report_received=fill("report_received", None if exchange is None else exchange.their_report),
        locator=their_locator,
        station_call=station_call,
        operator=fill("operator", own.operator),
        own_locator=own_locator,
        power_w=fill("power_w", own.power_w),
        distance_km=_distance(own_locator, their_locator, placed),
        entity_code=None if placed.entity is None else placed.entity.code,
        entity=None if placed.entity is None else placed.entity.name,
        cq_zone=placed.cq_zone,
        itu_zone=placed.itu_zone,
        continent=placed.continent,
        activations=_activations(event, own, fill),
        contest_id=event.contest_id,
        exchange_sent=event.exchange_sent,
        exchange_received=event.exchange_received,
        serial_sent=event.serial_sent,
        serial_received=event.serial_received,
        comment=event.comment,
        filled=tuple(fill.filled),
        flags=_flags(event, station_call, frequency, placed, now_ms),
    )
    respelled = _respelled(contact)
    if respelled:
        contact = msgspec.structs.replace(contact, flags=contact.flags + respelled)
    return Candidate(contact=contact, digest=digest(event))


def _respelled(contact: Contact) -> tuple[str, ...]:
    """What ADI, being ASCII, cannot hold as it is: the copies and the logs that take ADIF get it so."""
    record = to_record(contact)
    text = "".join(record.values())
    if text.isascii() and text.isprintable():  # nearly always: nothing is to be changed
        return ()
    changes = encode_record(record).changes
    return tuple(f"{change.field} is written {change.after or ''!r} in ADIF" for change in changes)


class _Filler:
    """Takes a field from the event, else from elsewhere, and remembers which ones came from elsewhere."""

    def __init__(self, event: events.Contact) -> None:
        self._event = event
        self.filled: list[str] = []

    def __call__(self, field: str, known: Any) -> Any:
        said = getattr(self._event, field)
        if said is not None:
            return said
        if known is not None:
            self.filled.append(field)
        return known


def _activations(event: events.Contact, own: Own, fill: _Filler) -> tuple[tuple[str, str], ...]:
    if event.activations:
        return tuple((a.programme, a.reference) for a in event.activations)
    if own.activations:
        fill.filled.append("activations")
    return own.activations


def _distance(own_locator: str | None, theirs: str | None, placed: Placed) -> float | None:
    if own_locator is None or not locator.is_locator(own_locator):
        return None
    if theirs is not None and locator.is_locator(theirs):
        return round(geodesic.between(own_locator, theirs).distance_km, 1)
    if placed.latitude is None or placed.longitude is None:
        return None
    there = Point(placed.latitude, placed.longitude)
    return round(geodesic.inverse(locator.centre(own_locator), there).distance_km, 1)


def _flags(
    event: events.Contact, station_call: str | None, frequency: int | None, placed: Placed, now_ms: int
) -> tuple[str, ...]:
    flags = []
    started, ended = events.to_ms(event.started_at), events.to_ms(event.ended_at)
    if ended > max(now_ms, event.at_ms) + FUTURE_MS:
        flags.append(IN_FUTURE)
    if ended < started:
        flags.append("ends before it starts")
    if frequency is None or band.of(frequency) is None:
        flags.append("frequency lies outside every amateur band")
    if station_call is not None and matches_own(station_call, event.call):
        flags.append(OWN_CALL)
    if not placed.valid:
        flags.append("no valid call sign")
    if event.locator is not None and not locator.is_locator(event.locator):
        flags.append("no valid locator")
    return tuple(flags)
