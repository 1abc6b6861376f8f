"""What arrives, as lines for a person: every event, and every refusal with its reason and place."""

from __future__ import annotations

from collections.abc import Iterator

from ..schema.events import stamp
from ..schema.wire import Decoded, encode
from .arrival import Peer

_SHOWN_BYTES = 160


def describe(peer: Peer, datagram: bytes, decoded: Decoded, arrived_ms: int) -> Iterator[str]:
    """One line an event or refusal: when, from where, what. Nothing in them can command a terminal."""
    head = f"{stamp(arrived_ms)[11:-1]} {_place(peer)}"
    for event in decoded.events:
        yield f"{head} {event.kind} {printable(encode(event).decode())}"
    for refusal in decoded.refusals:
        where = f" at {printable(refusal.where)}" if refusal.where else ""
        yield f"{head} REFUSED {refusal.reason}{where}: {printable(refusal.why)}"
    if decoded.refusals:
        yield f"{head}   in {printable(datagram[:_SHOWN_BYTES].decode('utf-8', 'replace'))}"


def printable(text: str) -> str:
    """``text`` with a mark in place of everything that is no visible character."""
    return "".join(char if char.isprintable() else "\N{REPLACEMENT CHARACTER}" for char in text)


def _place(peer: Peer) -> str:
    return "-" if peer is None else f"{peer[0]}:{peer[1]}"
