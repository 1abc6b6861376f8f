"""What the ways in hand on: one event, who sent it, and when it came."""

from __future__ import annotations

from typing import Any

import msgspec

from ..schema.events import AnyEvent

#: a socket address as the socket module gives it; None for what came from a file
Peer = tuple[Any, ...] | None


class Arrival(msgspec.Struct, frozen=True, gc=False):
    """One accepted event. ``arrived_ms`` is the host's clock, milliseconds since 1970-01-01 UTC."""

    event: AnyEvent
    peer: Peer
    arrived_ms: int
