"""The dispatcher: a courier for each destination, so that a slow or dead one delays neither another nor the watch."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable
from random import Random, SystemRandom
from typing import TYPE_CHECKING

import msgspec

from ..model import Destination
from . import outbox
from .clock import Clock, SystemClock
from .courier import Courier, Patience
from .outbox import Backlog

if TYPE_CHECKING:
    from .store import Store


class DestinationStatus(msgspec.Struct, frozen=True, kw_only=True):
    """How a destination stands; ``why`` is what its last failure said."""

    waiting: int = 0
    delivered: int = 0
    dead: int = 0
    down_since_ms: int | None = None
    oldest_s: float | None = None
    why: str | None = None


class Dispatcher:
    """Forwards what the outbox holds, from :meth:`start` to :meth:`stop`. Belongs to one event loop."""

    def __init__(
        self,
        store: Store,
        destinations: Iterable[Destination],
        *,
        clock: Clock | None = None,
        random: Random | None = None,
        patience: Patience | None = None,
    ) -> None:
        """``clock`` and ``random`` decide when a failed try is repeated; ``patience`` how long to wait for what."""
        self._store = store
        self._clock = clock or SystemClock()
        self._random = random or SystemRandom()
        self._patience = patience or Patience()
        self._couriers: dict[str, Courier] = {}
        self._tasks: dict[Courier, asyncio.Task[None]] = {}
        self._started = False
        with store.reader() as db:
            self._delivered_before = outbox.delivered(db)
        self.replace(destinations)

    def start(self) -> None:
        """Begin to deliver."""
        self._started = True
        for courier in self._couriers.values():
            self._send_out(courier)

    async def stop(self) -> None:
        """Make no further try; one that is on its way gets a moment to end."""
        self._started = False
        for courier in self._couriers.values():
            courier.stop()
        await asyncio.gather(*self._tasks.values())

    def replace(self, destinations: Iterable[Destination]) -> None:
        """Serve ``destinations`` from now on; what waits for one that is gone goes on waiting."""
        wanted = {destination.name: destination for destination in destinations}
        for name in self._couriers.keys() - wanted.keys():
            gone = self._couriers.pop(name)
            gone.stop()
            self._delivered_before[name] = gone.delivered
        for name, destination in wanted.items():
            courier = self._couriers.get(name)
            if courier is not None:
                courier.serve(destination)
                continue
            delivered = self._delivered_before.get(name, 0)
            courier = Courier(self._store, destination, self._clock, self._random, self._patience, delivered)
            self._couriers[name] = courier
            if self._started:
                self._send_out(courier)

    def wake(self) -> None:
        """Something new waits. A courier that waits out a failure goes on waiting."""
        for courier in self._couriers.values():
            courier.wake()

    def reachable(self, name: str) -> None:
        """A destination is there again: what waits for it is due now."""
        courier = self._couriers.get(name)
        if courier is not None:
            courier.reachable()

    def retry_now(self) -> None:
        """Try at once, whatever a courier waits for."""
        for courier in self._couriers.values():
            courier.retry_now()

    def status(self) -> dict[str, DestinationStatus]:
        """How every destination stands, those included that only the outbox still knows."""
        with self._store.reader() as db:
            backlogs = outbox.backlogs(db)
        return {
            name: self._status(name, backlogs.get(name, Backlog()))
            for name in sorted(backlogs.keys() | self._couriers.keys())
        }

    def _status(self, name: str, backlog: Backlog) -> DestinationStatus:
        courier = self._couriers.get(name)
        oldest_ms = backlog.oldest_ms
        return DestinationStatus(
            waiting=backlog.waiting,
            delivered=courier.delivered if courier else self._delivered_before.get(name, 0),
            dead=backlog.dead,
            down_since_ms=courier.down_since_ms if courier else None,
            oldest_s=None if oldest_ms is None else max(0, self._clock.now_ms() - oldest_ms) / 1000,
            why=courier.why if courier else "no such destination is configured",
        )

    def _send_out(self, courier: Courier) -> None:
        task = asyncio.get_running_loop().create_task(courier.run(), name=f"courier {courier.name}")
        self._tasks[courier] = task
        task.add_done_callback(lambda _task: self._tasks.pop(courier, None))


def in_words(name: str, status: DestinationStatus) -> str:
    """The state of a destination as an operator reads it; empty when all is delivered.

    ``3 waiting for the home log (down since 14:02), oldest 12 min``
    """
    parts: list[str] = []
    if status.waiting:
        down = ""
        if status.down_since_ms is not None:
            minutes = status.down_since_ms // 60_000 % 1440
            down = f" (down since {minutes // 60:02d}:{minutes % 60:02d})"
        oldest = "" if status.oldest_s is None else f", oldest {_lasting(status.oldest_s)}"
        parts.append(f"{status.waiting} waiting for the {name}{down}{oldest}")
    if status.dead:
        parts.append(f"{status.dead} refused by the {name}: see `watchkeeper outbox list`")
    return "; ".join(parts)


def _lasting(seconds: float) -> str:
    for size, unit in ((86_400, "d"), (3_600, "h"), (60, "min")):
        if seconds >= size:
            return f"{int(seconds // size)} {unit}"
    return f"{int(seconds)} s"
