"""What arrives, as lines for a person: every event, and every refusal with its reason and place."""

from __future__ import annotations

from collections.abc import Iterator

from ..faces.clean import clean
from ..intake.arrival import Peer
from ..schema.events import stamp
from ..schema.wire import Decoded, encode

_EVENT_LENGTH = 1000
_DATAGRAM_BYTES = 160


def describe(peer: Peer, datagram: bytes, decoded: Decoded, arrived_ms: int) -> Iterator[str]:
    """One line an event or refusal: when, from where, what. Nothing in them can command a terminal."""
    head = f"{stamp(arrived_ms)[11:-1]} {_place(peer)}"
    for event in decoded.events:
        yield f"{head} {event.kind} {clean(encode(event).decode(), _EVENT_LENGTH)}"
    for refusal in decoded.refusals:
        where = f" at {clean(refusal.where)}" if refusal.where else ""
        yield f"{head} REFUSED {refusal.reason}{where}: {clean(refusal.why)}"
    if not decoded.events and not decoded.refusals:
        yield f"{head} holds no event"
    if not decoded.events or decoded.refusals:
        yield f"{head}   in {clean(datagram[:_DATAGRAM_BYTES].decode('utf-8', 'replace'))}"


def _place(peer: Peer) -> str:
    return "-" if peer is None else f"{peer[0]}:{peer[1]}"
