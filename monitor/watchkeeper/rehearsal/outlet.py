"""Where events leave the rehearsal: one sender a source, all of them in the order of event time, at the pace
asked for.
"""

from __future__ import annotations

import heapq
import json
import time
from collections.abc import Iterator
from contextlib import nullcontext
from typing import Any

from watchkeeper.rehearsal.faults import WireFaults
from watchkeeper.rehearsal.wire import FaultyWire
from watchkeeper.schema.events import stamp
from watchkeeper.sender import Sender

Address = tuple[str, int]
Fields = dict[str, Any]


class Pace:
    """Holds the session back to real time, ``factor`` times as fast; not at all with None."""

    def __init__(self, factor: float | None, start_ms: int) -> None:
        self._factor = factor
        self._start_ms = start_ms
        # a session that begins in a moment is waited for
        self._began = time.monotonic() + max(0.0, start_ms / 1000 - time.time())

    @property
    def held(self) -> bool:
        """Whether time passes."""
        return self._factor is not None

    def left_s(self, at_ms: int) -> float:
        """Return how long there is to wait until event time ``at_ms``."""
        if self._factor is None:
            return 0.0
        return (at_ms - self._start_ms) / 1000 / self._factor - (time.monotonic() - self._began)


class Outlet:
    """One source."""

    def __init__(
        self, source: str, address: Address, run: str, seed: int, faults: WireFaults, *, batched: bool
    ) -> None:
        self.source = source
        self.wire = FaultyWire(seed, faults)
        self.sender = Sender(source, address, run, wrap=self.wire.wrap)
        self.batched = batched
        self._last: list[Fields] = []

    def send(self, kind: str, at_ms: int, fields: Fields) -> None:
        """Send one event."""
        event = self.sender.send(kind, at=stamp(at_ms), **fields)
        # the last marker and the last of all: what is repeated when the watch has not seen them
        self._last = [*[one for one in self._last if one.get("final")][-1:], event]

    @property
    def listened_to(self) -> bool:
        """Whether somebody is known to be there: a receipt came."""
        return bool(self.sender.receipts)

    def repeat_last(self) -> None:
        """Send the last final marker and the last event again, unchanged: both may be repeated without harm."""
        for event in self._last:
            body = json.dumps(event, ensure_ascii=False, separators=(",", ":")).encode()
            self.wire.send(body, self.sender.address)
        self.wire.flush()


class Outlets:
    """All sources, and what is still to be sent."""

    def __init__(self, pace: Pace) -> None:
        self._pace = pace
        self._by_source: dict[str, Outlet] = {}
        self._due: list[tuple[int, int, str, str, int, Fields]] = []
        self._count = 0

    def add(self, outlet: Outlet) -> None:
        """Take in a source."""
        self._by_source[outlet.source] = outlet

    def __contains__(self, source: str) -> bool:
        return source in self._by_source

    def __iter__(self) -> Iterator[Outlet]:
        return iter(self._by_source.values())

    def __getitem__(self, source: str) -> Outlet:
        return self._by_source[source]

    def put(self, due_ms: int, source: str, kind: str, at_ms: int, **fields: Any) -> None:
        """Have an event sent at event time ``due_ms``; those due at the same moment go in the order they were put."""
        self._count += 1
        heapq.heappush(self._due, (due_ms, self._count, source, kind, at_ms, fields))

    def send_until(self, until_ms: int) -> None:
        """Send all that is due before ``until_ms``, each at its time."""
        while self._due and self._due[0][0] < until_ms:
            self._wait(self._due[0][0])
            source = self._due[0][2]
            outlet = self._by_source[source]
            now_ms = self._due[0][0]
            with outlet.sender.batch() if outlet.batched else nullcontext():
                while self._due and self._due[0][0] == now_ms and self._due[0][2] == source:
                    _, _, _, kind, at_ms, fields = heapq.heappop(self._due)
                    outlet.send(kind, at_ms, fields)
        self._wait(until_ms)

    def _wait(self, at_ms: int) -> None:
        """Wait for event time ``at_ms``, reading receipts and repeating what has none on the way."""
        while (left_s := self._pace.left_s(at_ms)) > 0:
            self.pump()
            time.sleep(min(left_s, 0.05))

    def pump(self) -> None:
        """Read receipts and repeat what is due, on all sources."""
        for outlet in self._by_source.values():
            outlet.sender.pump()
