"""Shows what arrives, datagram by datagram, with the reason for every refusal."""

from __future__ import annotations

import sys

from ..faces.outlet import Outlet
from ..intake.arrival import Peer
from ..schema.wire import Decoded
from .standing import wall_clock_ms
from .traffic import describe

LINES_WAITING = 10_000


class Dump:
    """Prints to standard output, from a thread of its own: a reader that stops reading does not hold up the watch."""

    def __init__(self) -> None:
        self._outlet: Outlet[str] = Outlet(lambda line: print(line, file=sys.stdout, flush=True), LINES_WAITING)

    def watch(self, peer: Peer, datagram: bytes, decoded: Decoded) -> None:
        """Show one datagram."""
        for line in describe(peer, datagram, decoded, wall_clock_ms()):
            self._outlet.put(line)

    def close(self) -> None:
        """Print what waits."""
        self._outlet.close()
