"""The pump: takes what arrives, in order, through the journal into the watch, and does what has to happen outside.

A contact stops the pump until its commit is through, so everything behind it in the journal sees a log that holds it,
and its receipt goes out after the commit and never before.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Protocol

from ..host.status import Rest
from ..model import Contact, Hail
from ..schema import events
from ..store.errors import StoreError
from ..store.sessions import JournalChunk, hearing_row
from ..store.store import Store
from .contacts import Candidate
from .journal import Act, Chunk, Outcome
from .pipeline import Watch


class Arrival(Protocol):
    """One accepted event, who sent it, and when it came."""

    @property
    def event(self) -> events.AnyEvent: ...
    @property
    def peer(self) -> Any: ...
    @property
    def arrived_ms(self) -> int: ...


class Arrivals(Protocol):
    """Where they wait."""

    async def get_batch(self, most: int = ...) -> Sequence[Arrival]: ...


class Forwarding(Protocol):
    """Where contacts and hails go from here."""

    def payloads(self, contact: Contact) -> Sequence[tuple[str, bytes | None, str | None]]: ...
    def deliver(self, hail: Hail) -> None: ...


class Pump:
    """One session's pump. ``answer(peer, receipt)`` sends receipts; ``changed()`` tells the faces after each batch.

    Not re-entrant: whoever calls makes sure that one call ends before the next begins.
    """

    def __init__(
        self,
        *,
        store: Store,
        session: int,
        watch: Watch,
        forwarding: Forwarding,
        chunk: Chunk,
        clock_ms: Callable[[], int],
        answer: Callable[[Any, events.Receipt], None],
        committed: Callable[[], None],
        changed: Callable[[], None],
        rests: list[Rest],
    ) -> None:
        """``rests`` is where the host puts plugins that it wants rested or back; each is journaled behind its cause."""
        self._store = store
        self._session = session
        self.watch = watch
        self._forwarding = forwarding
        self._chunk = chunk
        self._clock_ms = clock_ms
        self._answer = answer
        self._committed = committed
        self._changed = changed
        self._rests = rests

    async def work(self, arrivals: Sequence[Arrival]) -> None:
        """Work through ``arrivals`` in order; write the journal once at the end."""
        for arrival in arrivals:
            if isinstance(arrival.event, events.Contact):
                await self._contact(arrival, arrival.event)
            else:
                self._feed(arrival.arrived_ms, event=arrival.event)
                if arrival.event.ack and arrival.event.id is not None:
                    self._receipt(arrival, "stored", None)
        await self._finish()

    async def tick(self) -> None:
        """Let time pass: judge what is due by now."""
        self._feed(self._clock_ms())
        await self._finish()

    async def _finish(self) -> None:
        """Write what waits, and log what the configuration wants logged unasked."""
        for call in self._flush():
            await self.act(Act(act="log", call=call))

    async def act(self, act: Act) -> None:
        """Enter what the operator, or the configuration in their place, does. It may make a contact."""
        self._feed(self._clock_ms(), act=act)
        if self.watch.candidate is not None:
            self._conclude(await self._commit(self.watch.candidate))
        self._flush()

    def enter(self, **what: Any) -> None:
        """Enter what is neither event nor act, such as a ``rebase``."""
        self._feed(self._clock_ms(), **what)
        self._flush()

    def settle(self) -> None:
        """Enter the rests that were asked for while nothing was fed: a plugin goes wrong beside its hooks as well."""
        if self._rests:
            self.enter(rest=self._rests.pop(0))

    @property
    def entries(self) -> int:
        """How many entries the session's journal has."""
        return self._chunk.next_n - 1

    def delay_s(self) -> float | None:
        """Seconds until :meth:`tick` has something to do; None while nothing waits."""
        due = self.watch.next_due()
        return None if due is None else max(0.0, (due - self._clock_ms()) / 1000)

    def _feed(self, t: int, **what: Any) -> None:
        self.watch.feed(self._chunk.number(t, **what))
        while self._rests:
            self.watch.feed(self._chunk.number(t, rest=self._rests.pop(0)))

    async def _contact(self, arrival: Arrival, event: events.Contact) -> None:
        self._feed(arrival.arrived_ms, event=event)
        assert self.watch.candidate is not None
        outcome = await self._commit(self.watch.candidate)
        # without a receipt the sender repeats it until the log can take it; what follows for the watch can wait for it
        if event.ack and outcome.status != "failed":
            self._receipt(arrival, outcome.status, outcome.why)
        self._conclude(outcome)

    async def _commit(self, candidate: Candidate) -> Outcome:
        chunk = self._chunk.take()
        try:
            done = await self._store.commit(
                candidate.contact,
                candidate.digest,
                self._forwarding.payloads(candidate.contact),
                None if chunk is None else self._stored(chunk),
            )
        except StoreError as error:
            if chunk is not None:
                self._store.journal(self._session, *chunk)
            return Outcome(key=candidate.contact.key, status="failed", why=str(error))
        return Outcome(
            key=candidate.contact.key,
            status=done.status,
            contact=done.contact_id,
            same_as=done.same_as,
            why=done.why,
        )

    def _conclude(self, outcome: Outcome) -> None:
        """Enter how a commit ended, right behind its contact."""
        self._feed(self._clock_ms(), outcome=outcome)
        if outcome.status == "stored":
            self._committed()

    def _stored(self, chunk: tuple[int, int, bytes]) -> JournalChunk:
        first_n, count, body = chunk
        return JournalChunk(session=self._session, first_n=first_n, count=count, body=body)

    def _receipt(self, arrival: Arrival, status: str, why: str | None) -> None:
        event = arrival.event
        assert event.id is not None
        receipt = events.Receipt(v=events.VERSION, source=event.source, of=event.id, status=status, why=why)
        self._answer(arrival.peer, receipt)

    def _flush(self) -> list[str]:
        """Write and deliver what waits; the calls whose unannounced contact is to be logged."""
        hails, hearings, to_log = self.watch.drain()
        for hail in hails:
            self._forwarding.deliver(hail)
        if hearings:
            self._store.hearings([hearing_row(self._session, hearing) for hearing in hearings])
        chunk = self._chunk.take()
        if chunk is not None:
            self._store.journal(self._session, *chunk)
        self._changed()
        return to_log
