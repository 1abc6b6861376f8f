"""The bounded queue between the ways in and the watch."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable, Iterable

from ..schema.events import Contact, Heard
from .arrival import Arrival


class IntakeQueue:
    """First in, first out, for one consumer on the same loop.

    Under overload it sheds what costs least: ``heard`` from ``limit`` entries on, everything but ``contact`` from
    twice that. A contact is always taken: it is rare, and the log must not lose it.
    """

    def __init__(self, limit: int = 16_384, on_shed: Callable[[Arrival], None] | None = None) -> None:
        self.limit = limit
        self.shed = 0
        self._on_shed = on_shed
        self._entries: deque[Arrival] = deque()
        self._waiter: asyncio.Future[None] | None = None
        self._closed = False

    def __len__(self) -> int:
        return len(self._entries)

    def put_many(self, arrivals: Iterable[Arrival]) -> None:
        """Take what there is room for; the rest is shed and counted. Never blocks."""
        entries = self._entries
        for arrival in arrivals:
            waiting = len(entries)
            if waiting < self.limit or self._is_kept(arrival, waiting):
                entries.append(arrival)
            else:
                self.shed += 1
                if self._on_shed is not None:
                    self._on_shed(arrival)
        if entries:
            self._wake()

    def _is_kept(self, arrival: Arrival, waiting: int) -> bool:
        if isinstance(arrival.event, Contact):
            return True
        return not isinstance(arrival.event, Heard) and waiting < 2 * self.limit

    async def get_batch(self, most: int = 256) -> list[Arrival]:
        """Wait for something, then return up to ``most`` arrivals in order; empty once closed and drained."""
        while not self._entries and not self._closed:
            self._waiter = asyncio.get_running_loop().create_future()
            try:
                await self._waiter
            finally:
                self._waiter = None
        entries = self._entries
        return [entries.popleft() for _ in range(min(most, len(entries)))]

    def close(self) -> None:
        """Nothing more will come: the consumer gets what is left, then an empty batch."""
        self._closed = True
        self._wake()

    def _wake(self) -> None:
        if self._waiter is not None and not self._waiter.done():
            self._waiter.set_result(None)
