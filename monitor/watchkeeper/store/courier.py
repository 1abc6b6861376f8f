"""A courier takes contacts from the outbox to one destination, one try at a time, for as long as it takes.

Each try's end is noted before the next begins. When the process dies between a try and its note, the same bytes go out
once more under the same key: that window is closed by the receiver, who knows the key.
"""

from __future__ import annotations

import asyncio
import logging
from functools import partial
from random import Random
from typing import TYPE_CHECKING

import msgspec

from ..model import Destination, Sending, SendResult
from . import contacts, outbox
from .clock import Clock
from .errors import StoreError
from .outbox import OutboxRow, State

if TYPE_CHECKING:
    from .store import Store

logger = logging.getLogger(__name__)


class Patience(msgspec.Struct, frozen=True, kw_only=True):
    """How long to wait for what; seconds."""

    first_s: float = 2.0  # after the first failure, doubled with each further one
    longest_s: float = 900.0
    jitter: float = 0.25  # each wait is made up to this share longer or shorter
    longest_asked_s: float = 86_400.0  # what a receiver's own wish is cut to
    one_try_s: float = 60.0
    farewell_s: float = 2.0  # what a try may still take when the watch stops


class Courier:
    """Serves one destination."""

    def __init__(
        self,
        store: Store,
        destination: Destination,
        clock: Clock,
        random: Random,
        patience: Patience,
        delivered: int,
    ) -> None:
        self.name = destination.name
        self.delivered = delivered
        #: since when every try failed, or None
        self.down_since_ms: int | None = None
        #: what the last failure said, or None after a success
        self.why: str | None = None
        self._store = store
        self._destination = destination
        self._clock = clock
        self._random = random
        self._patience = patience
        self._failures = 0
        self._failed_rows: set[int] = set()
        self._stopping = False
        self._released = False
        self._news = asyncio.Event()
        self._hurry = asyncio.Event()
        self._stop = asyncio.Event()

    def serve(self, destination: Destination) -> None:
        """Use ``destination`` from the next try on: the same place, as a new configuration made it."""
        self._destination = destination

    def wake(self) -> None:
        """Something new waits in the outbox."""
        self._news.set()

    def retry_now(self) -> None:
        """Wait no longer."""
        self._hurry.set()
        self._news.set()

    def reachable(self) -> None:
        """The other side is there again: all that waits is due now."""
        self._released = True
        self.retry_now()

    def stop(self) -> None:
        """Make no further try."""
        self._stopping = True
        self._stop.set()
        self._hurry.set()
        self._news.set()

    async def run(self) -> None:
        """Deliver what waits, oldest first, until :meth:`stop`."""
        while not self._stopping:
            self._news.clear()
            try:
                if self._released:
                    await self._release()
                row, idle_s = self._next()
                if row is None:
                    await self._clock.wait(self._news, idle_s)
                    continue
                pause_s = await self._deliver(row)
            except StoreError as fault:  # a full disk, a locked database: nothing is lost, it goes on later
                logger.warning("%s: %s", self.name, fault)
                self.why = str(fault)
                pause_s = self._patience.first_s
            if pause_s and not self._stopping and not self._released:
                self._hurry.clear()
                await self._clock.wait(self._hurry, pause_s)

    async def _release(self) -> None:
        self._released = False
        self._failures = 0
        self._failed_rows.clear()
        await self._store.change(partial(outbox.release, destination=self.name))

    def _next(self) -> tuple[OutboxRow | None, float | None]:
        """The row to try now, or how long there is none (None: until something new comes)."""
        now_ms = self._clock.now_ms()
        with self._store.reader() as db:
            row = outbox.next_due(db, self.name, now_ms)
            due_ms = None if row is not None else outbox.next_due_ms(db, self.name)
        return row, None if due_ms is None else max(0.001, (due_ms - now_ms) / 1000)

    async def _deliver(self, row: OutboxRow) -> float:
        """Make one try and note how it ended; seconds to wait before the next."""
        payload = row.payload
        if payload is None:
            payload, failure = self._encode(row.contact_id)
            if payload is None:
                await self._note(row, State.DEAD, f"cannot be encoded: {failure}")
                return 0.0
            await self._store.change(partial(outbox.freeze, row_id=row.id, payload=payload))
        sending = await self._try(payload, row.key)
        if sending is None:  # how it ended nobody knows, so it will go out again
            return self._patience.first_s
        if sending.result is SendResult.TRY_LATER:
            return await self._postpone(row, sending)
        if sending.result is SendResult.REFUSED:
            await self._note(row, State.DEAD, sending.why or "refused")
        else:
            await self._note(row, State.DELIVERED, sending.why)
            self.delivered += 1
        await self._reached()
        return 0.0

    def _encode(self, contact_id: int) -> tuple[bytes | None, str]:
        with self._store.reader() as db:
            contact = contacts.by_id(db, contact_id)
        if contact is None:
            return None, f"contact {contact_id} is not in the log"
        try:
            return self._destination.encode(contact), ""
        except Exception as fault:
            return None, _said(fault)

    async def _try(self, payload: bytes, key: str) -> Sending | None:
        """One try, bounded in time; whatever a destination raises counts as a failure of the other side.

        None where nobody knows how it ended: the watch stops, or somebody cancelled it.
        """
        sending = asyncio.ensure_future(self._destination.send(payload, key))
        stopping = asyncio.ensure_future(self._stop.wait())
        try:
            await asyncio.wait({sending, stopping}, timeout=self._patience.one_try_s, return_when="FIRST_COMPLETED")
            if not sending.done() and self._stopping:
                await asyncio.wait({sending}, timeout=self._patience.farewell_s)
                if not sending.done():
                    return None
            if not sending.done():
                return Sending(result=SendResult.TRY_LATER, why=f"no answer in {self._patience.one_try_s:g} s")
            if sending.cancelled():
                return None
            return sending.result()
        except Exception as fault:
            logger.exception("%s failed", self.name)
            return Sending(result=SendResult.TRY_LATER, why=_said(fault))
        finally:
            stopping.cancel()
            sending.cancel()
            await asyncio.gather(sending, stopping, return_exceptions=True)

    async def _postpone(self, row: OutboxRow, sending: Sending) -> float:
        now_ms = self._clock.now_ms()
        self._failures += 1
        self._failed_rows.add(row.id)
        self.why = sending.why
        if self.down_since_ms is None:
            self.down_since_ms = now_ms
        asked_s = min(sending.retry_after_s or 0.0, self._patience.longest_asked_s)
        pause_s = max(asked_s, self._backoff_s(self._failures))
        due_ms = now_ms + round(1000 * max(pause_s, self._backoff_s(row.tries + 1)))
        await self._store.change(partial(outbox.postpone, row_id=row.id, due_ms=due_ms, why=sending.why))
        return pause_s

    async def _reached(self) -> None:
        """The other side answered: what failed while it was down is due again."""
        several = len(self._failed_rows) > 1
        self._failures = 0
        self._failed_rows.clear()
        self.down_since_ms = None
        self.why = None
        if several:
            await self._store.change(partial(outbox.release, destination=self.name))

    async def _note(self, row: OutboxRow, state: State, why: str | None) -> None:
        await self._store.change(partial(outbox.mark, row_id=row.id, state=state, now_ms=self._clock.now_ms(), why=why))

    def _backoff_s(self, failures: int) -> float:
        """How long to wait after so many failures: doubled each time, and made uneven."""
        patience = self._patience
        usual_s = min(patience.longest_s, patience.first_s * 2.0 ** min(failures - 1, 30))
        return usual_s * (1 + patience.jitter * (2 * self._random.random() - 1))


def _said(fault: BaseException) -> str:
    return f"{type(fault).__name__}: {fault}" if str(fault) else type(fault).__name__
