"""What browsers and programs are told as it happens: server-sent events, with a bounded queue for each client.

A client that reads slowly loses single events, never memory of ours: its queue is emptied and holds one ``resync``,
which says: fetch the snapshot again.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections import deque
from collections.abc import AsyncIterator, Iterator
from typing import Any

import msgspec

from ..clean import scrub
from ..source import ActRefusedError, NoDaemonError, Source

#: events that wait for one client at most
BOUND = 32
#: changes within this time are told together
GATHER_S = 0.2
#: so much longer for each client: telling many takes time that the watch needs to hear
GATHER_CLIENT_S = 0.002

Event = tuple[str, bytes]
CHANGED, HAIL, RESYNC = "changed", "hail", "resync"


class Client:
    """The queue of one listening client."""

    def __init__(self, bound: int = BOUND) -> None:
        self._events: deque[Event] = deque()
        self._bound = bound
        self._ready = asyncio.Event()

    def __len__(self) -> int:
        return len(self._events)

    def waiting(self) -> list[Event]:
        """What has not been taken yet."""
        return list(self._events)

    def offer(self, event: Event) -> None:
        """Queue ``event``; of changes in a row only the last is kept."""
        if event[0] == CHANGED and self._events and self._events[-1][0] == CHANGED:
            self._events[-1] = event
        elif len(self._events) >= self._bound:
            self._events.clear()
            self._events.append((RESYNC, b"{}"))
        else:
            self._events.append(event)
        self._ready.set()

    async def next(self) -> bytes:
        """The next event in the form of the event stream, as soon as there is one."""
        while not self._events:
            self._ready.clear()
            await self._ready.wait()
        name, data = self._events.popleft()
        return b"event: " + name.encode() + b"\ndata: " + data + b"\n\n"


class Hub:
    """Follows a source and tells all clients. Without clients it does nothing."""

    def __init__(self, source: Source, *, gather_s: float = GATHER_S) -> None:
        self._source = source
        self._gather_s = gather_s
        self._clients: set[Client] = set()
        self._told: set[tuple[str, int]] | None = None
        self._version = 0

    @property
    def clients(self) -> int:
        """How many listen."""
        return len(self._clients)

    @contextlib.contextmanager
    def client(self) -> Iterator[Client]:
        """A queue for one client, which begins with a change, so that it fetches its first snapshot."""
        client = Client()
        client.offer(self._change())
        self._clients.add(client)
        try:
            yield client
        finally:
            self._clients.discard(client)

    @contextlib.asynccontextmanager
    async def running(self) -> AsyncIterator[None]:
        """Follow the source for as long as the context lasts."""
        task = asyncio.create_task(self._follow())
        try:
            yield
        finally:
            task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await task

    async def _follow(self) -> None:
        async for _ in self._source.changes():
            if not self._clients:
                self._told = None
                continue
            await self._tell()
            await asyncio.sleep(self._gather_s + GATHER_CLIENT_S * len(self._clients))

    async def _tell(self) -> None:
        try:
            hails = (await self._source.snapshot()).get("hails", [])
        except (NoDaemonError, ActRefusedError):
            return
        fresh = [hail for hail in hails if self._told is not None and (hail["key"], hail["at_ms"]) not in self._told]
        self._told = {(hail["key"], hail["at_ms"]) for hail in hails}
        self._version += 1
        events = [*((HAIL, _line(hail)) for hail in fresh), self._change()]
        for client in list(self._clients):
            for event in events:
                client.offer(event)

    def _change(self) -> Event:
        return CHANGED, _line({"version": self._version})


def _line(plain: Any) -> bytes:
    """JSON on one line, as the event stream needs it (a line break would end the field)."""
    return msgspec.json.encode(scrub(plain))
