"""Invented destinations, a clock that tests turn, and a dispatcher on both."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from random import Random

from tests.monitor.store.making import contact, now

from watchkeeper.model import Contact, Sending, SendResult
from watchkeeper.store.courier import Patience
from watchkeeper.store.dispatch import Dispatcher
from watchkeeper.store.store import Store

DELIVERED = Sending(result=SendResult.DELIVERED)


LATER = Sending(result=SendResult.TRY_LATER, why="connection refused")


REFUSED = Sending(result=SendResult.REFUSED, why="400: no such field")


class TurnedClock:
    """Time passes only when :meth:`turn` says so."""

    def __init__(self) -> None:
        self.ms = round(now().timestamp() * 1000)
        self.couriers = 0
        self._waiting: list[tuple[int | None, asyncio.Event]] = []

    def now_ms(self) -> int:
        return self.ms

    async def wait(self, event: asyncio.Event, seconds: float | None) -> None:
        waiting = (None if seconds is None else self.ms + round(seconds * 1000), event)
        self._waiting.append(waiting)
        await event.wait()
        self._waiting.remove(waiting)

    async def turn(self, seconds: float) -> None:
        """Let ``seconds`` pass, and all happen that happens then."""
        await self.settle()
        self.ms += round(seconds * 1000)
        for at_ms, event in self._waiting:
            if at_ms is not None and at_ms <= self.ms:
                event.set()
        await self.settle()

    async def settle(self) -> None:
        """Until every courier waits for time to pass or for something new. A courier that died is told at once."""
        async with asyncio.timeout(10):
            while len(self._waiting) < self.couriers or any(event.is_set() for _, event in self._waiting):
                working = [task for task in asyncio.all_tasks() if task.get_name().startswith("courier ")]
                assert len(working) >= self.couriers, "a courier has died"
                await asyncio.sleep(0)


class Answering:
    """A destination that answers as told: by a list, then always with the last of it."""

    def __init__(self, name: str, *answers: Sending) -> None:
        self.name = name
        self.answers = list(answers)
        self.seen: list[tuple[str, bytes]] = []

    def encode(self, contact: Contact) -> bytes:
        return contact.call.encode()

    async def send(self, payload: bytes, key: str) -> Sending:
        self.seen.append((key, payload))
        return self.answers.pop(0) if len(self.answers) > 1 else self.answers[0]


class Judging(Answering):
    """A destination that answers by key."""

    def __init__(self, name: str, judge: Callable[[str], Sending]) -> None:
        super().__init__(name, DELIVERED)
        self.judge = judge

    async def send(self, payload: bytes, key: str) -> Sending:
        self.seen.append((key, payload))
        return self.judge(key)


class Stalling(Answering):
    """A destination that takes the connection and never answers."""

    def __init__(self, name: str, *answers: Sending) -> None:
        super().__init__(name, *answers)
        self.asked = asyncio.Event()

    async def send(self, payload: bytes, key: str) -> Sending:
        self.seen.append((key, payload))
        self.asked.set()
        await asyncio.Event().wait()
        return DELIVERED


class Lingering(Stalling):
    """A destination that never answers, and that takes a moment to end when its try is broken off."""

    ended = False

    async def send(self, payload: bytes, key: str) -> Sending:
        try:
            return await super().send(payload, key)
        finally:
            for _ in range(100):
                await asyncio.sleep(0)
            self.ended = True


class Raising(Answering):
    """A destination with a fault of its own."""

    async def send(self, payload: bytes, key: str) -> Sending:
        self.seen.append((key, payload))
        raise RuntimeError("its own fault")


NO_JITTER = Patience(first_s=2, longest_s=900, jitter=0, one_try_s=0.01, farewell_s=0.01)


@asynccontextmanager
async def running(
    store: Store, clock: TurnedClock, *destinations: Answering, patience: Patience = NO_JITTER
) -> AsyncIterator[Dispatcher]:
    dispatcher = Dispatcher(store, destinations, clock=clock, random=Random(7), patience=patience)
    dispatcher.start()
    clock.couriers = len(destinations)
    try:
        yield dispatcher
    finally:
        await dispatcher.stop()


async def log(store: Store, source_id: str, *destinations: str, dispatcher: Dispatcher | None = None) -> None:
    one = contact(source_id, call=f"W{source_id}QRX")
    await store.commit(one, source_id.encode(), [(name, f"<{source_id}>".encode(), None) for name in destinations])
    if dispatcher is not None:
        dispatcher.wake()
