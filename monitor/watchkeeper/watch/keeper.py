"""The keeper: stands the live watch. It opens sessions, runs the pump and the forwarding, and answers the faces."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator, Callable, Iterable
from contextlib import asynccontextmanager
from contextvars import Context
from functools import partial
from itertools import islice
from pathlib import Path
from typing import Any, TypeVar

import msgspec

from .. import __version__
from ..config import Config
from ..host.loading import settled
from ..host.plugin_host import Outlets, PluginHost
from ..host.status import PluginStatus, Rest
from ..model import Contact, Hail
from ..radio import entity
from ..schema import events
from ..store.courier import Patience
from ..store.dispatch import Dispatcher
from ..store.sessions import SessionRow
from ..store.store import Store
from ..store.worked import WorkedIndex
from . import snapshot
from .clock import watermark_ms
from .contacts import Candidate
from .journal import Act, Chunk, Header, JournalError, Outcome, Reload, decode, plain
from .pipeline import MAX_SOURCES, Watch
from .pump import Arrival, Arrivals, Pump
from .reload import ReloadRefusedError, follow, show
from .rules import own_of, rules_of
from .session import Records, Session

T = TypeVar("T")

_log = logging.getLogger(__name__)
HOUR_MS = 3_600_000
#: these may tell of long ago
_OF_ANY_TIME = (events.Reception, events.Contact)
#: a reload waits for the gap between two periods, but no longer than this
GAP_WAIT_S = 20.0
#: entries of the session that are read again in one turn of the loop
TURN = 200
#: what a try to forward that is on its way may still take at the end: the service manager wants an end in two seconds
PATIENCE = Patience(farewell_s=0.5)


class Keeper:
    """One data folder's live watch. Create, :meth:`start`, :meth:`run` until the queue is closed, :meth:`stop`."""

    def __init__(
        self,
        config: Config,
        store: Store,
        *,
        clock_ms: Callable[[], int],
        answer: Callable[[Any, events.Receipt], None],
        changed: Callable[[], None],
        safe: bool = False,
    ) -> None:
        """``answer(peer, receipt)`` sends a receipt, ``changed()`` tells the faces, ``safe`` starts without plugins."""
        self._safe = safe
        self.config = self._in_force(config)
        self.store = store
        self._clock_ms = clock_ms
        self._answer = answer
        self._session: Session | None = None
        self._dispatcher: Dispatcher | None = None
        self._changed = changed
        self._turn = asyncio.Lock()
        self._moved = asyncio.Event()
        self._settling: set[asyncio.Task[None]] = set()
        self._ending = False
        self._shown: snapshot.Snapshot | None = None
        self._latest: dict[str, tuple[str | None, int]] = {}  # of each source its run, and how far its time has come

    @property
    def session(self) -> Session:
        """The session that runs. Only between :meth:`start` and :meth:`stop`."""
        assert self._session is not None
        return self._session

    @property
    def watch(self) -> Watch:
        """Its watch."""
        return self.session.watch

    @property
    def dispatcher(self) -> Dispatcher:
        """The forwarding."""
        assert self._dispatcher is not None
        return self._dispatcher

    # life

    async def start(self) -> None:
        """Take up the last session where a crash or a stop left it, or begin one; start plugins and forwarding."""
        last = self.store.last_session()
        if last is not None and not last.closed:
            await self._resume(last)
        else:
            await self._begin(self._clock_ms())
        self._dispatcher = Dispatcher(self.store, self.session.destinations, patience=PATIENCE)
        self._dispatcher.start()

    async def run(self, arrivals: Arrivals) -> None:
        """Work through what arrives until the queue is closed and drained."""
        while True:
            batch = await self._next(arrivals)
            if batch is None:
                async with self._turn:
                    await self.session.pump.tick()
            elif batch:
                async with self._turn:
                    await self._work(batch)
            else:
                return

    async def _next(self, arrivals: Arrivals) -> Any:
        delay = self.session.pump.delay_s()
        if delay is None:
            return await arrivals.get_batch()
        try:
            async with asyncio.timeout(delay):
                return await arrivals.get_batch()
        except TimeoutError:
            return None

    async def _work(self, batch: list[Arrival]) -> None:
        while batch:
            end = next((n for n, arrival in enumerate(batch) if self._begins_session(arrival)), len(batch))
            if end:
                await self.session.pump.work(batch[:end])
            else:
                self._note(batch[0].event)
                await self._roll(batch[0].event.at_ms)
                await self.session.pump.work(batch[:1])
                end = 1
            batch = batch[end:]

    def _begins_session(self, arrival: Arrival) -> bool:
        """Whether time has leapt: ahead, over all sources' silence, or back.

        Back it goes where the computer's own clock went back too, and where a source began anew in another time. What
        is behind alone begins none: a stray event, or a source that lives in the past. Receptions and contacts may tell
        of long ago.
        """
        event = arrival.event
        if isinstance(event, _OF_ANY_TIME) or not event.live:
            return False
        at_ms, now_ms = watermark_ms(event), self.watch.now_ms
        gap_ms = round(self.config.watch.session_gap_h * HOUR_MS)
        run, newest_ms = self._latest.get(event.source, (event.run, at_ms))
        began_anew = event.run not in (None, run) and at_ms < newest_ms - gap_ms
        behind = at_ms < now_ms - gap_ms and (began_anew or arrival.arrived_ms < now_ms - gap_ms)
        if now_ms and (behind or at_ms > now_ms + gap_ms):
            return True
        self._note(event)
        return False

    def _note(self, event: events.Event) -> None:
        """Remember which run its source is in, and how far its time has come in it."""
        known = self._latest.get(event.source)
        if known is None and len(self._latest) >= MAX_SOURCES:
            return
        at_ms = watermark_ms(event)
        if known is not None and known[0] == event.run:
            at_ms = max(at_ms, known[1])
        self._latest[event.source] = event.run, at_ms

    async def stop_forwarding(self) -> None:
        """Forward no more: what still comes in waits in the outbox for the next start. May be called twice."""
        if self._dispatcher is not None:
            await self._dispatcher.stop()

    async def stop(self) -> None:
        """Stop forwarding and plugins, write everything. The session stays open: the next start goes on with it."""
        self._ending = True
        await self.stop_forwarding()  # first: a try that is on its way may need what its plugin runs
        if self._session is not None:
            await self._session.host.stop()
        await asyncio.gather(*self._settling, return_exceptions=True)  # what failed is told already

    # sessions

    async def _begin(self, started_ms: int) -> None:
        header = Header(
            watchkeeper=__version__,
            started_ms=started_ms,
            config=plain(self.config),
            data=entity.release().name,
            baseline=0,
        )
        number = self.store.open_session(msgspec.json.encode(header), started_ms)
        last = self.store.last_session()
        assert last is not None
        self._session = self._assemble(number, last.baseline, self.config, Chunk())
        await self._ready(self._session)

    async def _resume(self, row: SessionRow) -> None:
        """Read the session's journal again, muted, so that hold-offs and states survive.

        It is read under the configuration that was in force then; what changed since enters it as a reload.
        """
        try:
            config = msgspec.json.decode(row.header, type=Header).settings
        except (JournalError, msgspec.DecodeError) as error:
            _log.warning("session %d is not gone on with: %s", row.id, error)
            self.store.close_session(row.id, row.started_ms)
            await self._begin(self._clock_ms())
            return
        chunk = Chunk()
        session = self._session = self._assemble(row.id, row.baseline, config, chunk)
        session.host.live = False  # rests come from the journal, not from what reading it costs
        newest = row.baseline
        for before, entry in enumerate(decode(self.store.read_journal(row.id))):
            if entry.reload is not None:
                config = entry.reload.settings
                self._follow(session, config, islice(self.store.read_journal(row.id), before))
            session.watch.feed(entry)
            session.watch.drain()
            chunk.resume(entry.n + 1, entry.t)
            if entry.outcome is not None and entry.outcome.contact is not None:
                newest = max(newest, entry.outcome.contact)
            if entry.rebase is not None:
                newest = max(newest, entry.rebase)
            if before % TURN == 0:
                await asyncio.sleep(0)
        if plain(config) != plain(self.config):
            self._follow(session, self.config, self.store.read_journal(row.id))
            session.pump.enter(reload=Reload(config=plain(self.config)))
        session.host.live = True
        if session.watch.candidate is not None:
            newest = max(newest, self._settle(session, session.watch.candidate))
        held = self.store.newest_contact()
        if held != newest:
            session.pump.enter(rebase=held)
        await self._ready(session)

    def _settle(self, session: Session, died_over: Candidate) -> int:
        """Enter the outcome of a contact that the process died over, between its commit and its outcome's entry."""
        key = died_over.contact.key
        found = self.store.contact_row(key, died_over.digest)
        status = "failed" if found is None else "stored"
        session.pump.enter(outcome=Outcome(key=key, status=status, contact=found))
        return found or 0

    def _follow(self, session: Session, config: Config, before: Iterable[bytes]) -> None:
        follow(session.host, config, decode(before), session.baseline, self._worked)

    async def _roll(self, started_ms: int) -> None:
        old = self.session
        _log.info("a new session begins: %s", events.stamp(started_ms))
        await old.host.stop()
        self.store.close_session(old.number, old.watch.now_ms)
        await self._begin(started_ms)
        self.dispatcher.replace(self.session.destinations)

    def _worked(self, baseline: int) -> WorkedIndex:
        return self.store.worked(before_id=baseline + 1)

    def _assemble(self, number: int, baseline: int, config: Config, chunk: Chunk) -> Session:
        watch = Watch(rules_of(config), own_of(config), self._worked(baseline), self._worked)
        rests: list[Rest] = []
        host = PluginHost(
            config.plugins,
            watch,
            Outlets(watch.hail, partial(self._rest, rests), Records(self.store), self.store.folder, self._reachable),
            safe=self._safe,
        )
        watch.attach(host)
        pump = Pump(
            store=self.store,
            session=number,
            watch=watch,
            forwarding=self,
            chunk=chunk,
            rests=rests,
            clock_ms=self._clock_ms,
            answer=self._answer,
            committed=self._committed,
            changed=self._notify,
        )
        return Session(number, baseline, watch, host, pump)

    def _rest(self, rests: list[Rest], asked: Rest) -> None:
        if self._ending:
            return
        rests.append(asked)
        # from beside the hooks nothing else would enter it soon; in a context of its own, for it is no plugin's work
        asyncio.get_running_loop().call_soon(self._settle_soon, context=Context())

    def _settle_soon(self) -> None:
        task = asyncio.create_task(self._enter_rests(), name="rests")
        self._settling.add(task)
        task.add_done_callback(self._settled)

    def _settled(self, task: asyncio.Task[None]) -> None:
        self._settling.discard(task)
        if not task.cancelled() and (fault := task.exception()) is not None:
            _log.error("a plugin's rest could not be entered", exc_info=fault)

    async def _enter_rests(self) -> None:
        async with self._turn:
            if not self._ending:
                self.session.pump.settle()

    def _reachable(self, destination: str) -> None:
        if self._dispatcher is not None:
            self._dispatcher.reachable(destination)

    @staticmethod
    async def _ready(session: Session) -> None:
        await session.host.start()
        session.destinations = session.host.destinations()

    # reload

    async def reload(self, config: Config) -> None:
        """Go over to ``config`` between two periods. Raises ReloadRefusedError, and then nothing has changed."""
        config = self._in_force(config)
        async with self._between_periods():
            session = self.session
            refusals = await session.host.reload(config.plugins, partial(self._show_again, session, config))
            if refusals:
                raise ReloadRefusedError(refusals)
            self.config = config
            session.pump.enter(reload=Reload(config=plain(config)))
            session.destinations = session.host.destinations()
            self.dispatcher.replace(session.destinations)
        self._notify()

    def _in_force(self, config: Config) -> Config:
        """As the journal has to have it: in safe mode no plugin is allowed, for its hails are none."""
        plugins = msgspec.structs.replace(config.plugins, allow=()) if self._safe else settled(config.plugins)
        made: Config = msgspec.structs.replace(config, plugins=plugins)
        return made

    @asynccontextmanager
    async def _between_periods(self) -> AsyncIterator[None]:
        """Hold the pump in the gap between two periods, when nothing waits to be judged; at the latest after a while.

        Periods of several sources may overlap for ever.
        """
        loop = asyncio.get_running_loop()
        latest = loop.time() + GAP_WAIT_S
        while True:
            async with self._turn:
                if self.watch.next_due() is None or loop.time() >= latest:
                    yield
                    return
                self._moved.clear()
            try:
                async with asyncio.timeout_at(latest):
                    await self._moved.wait()
            except TimeoutError:
                continue

    async def _show_again(self, session: Session, config: Config, host: PluginHost) -> None:
        await self.store.pulse()  # behind all that is queued of the journal
        lines = list(self.store.read_journal(session.number))
        if len(lines) != session.pump.entries:
            raise ReloadRefusedError(["the session so far cannot be read again: " + "; ".join(self.store.notices)])
        showing = show(host, config, decode(lines), session.baseline, self._worked)
        for shown, _ in enumerate(showing):
            if shown % TURN == 0:
                await asyncio.sleep(0)

    # what the pump needs

    def payloads(self, contact: Contact) -> list[tuple[str, bytes | None, str | None]]:
        """Each destination's frozen payload, or why it has none: an encoding that fails never blocks the contact."""
        made: list[tuple[str, bytes | None, str | None]] = []
        for destination in self.session.destinations:
            try:
                made.append((destination.name, destination.encode(contact), None))
            except Exception as error:
                made.append((destination.name, None, f"{type(error).__name__}: {error}"))
        return made

    def _committed(self) -> None:
        self.dispatcher.wake()

    def deliver(self, hail: Hail) -> None:
        """Hand a hail to the plugins that reach the operator."""
        self.session.host.deliver(hail)

    # what the faces ask

    def _notify(self) -> None:
        self._shown = None
        self._moved.set()
        self._changed()

    async def act(self, act: Act) -> None:
        """Enter what the operator did. ``session`` ends the session and begins another.

        Raises ValueError for an act that has nothing to act on.
        """
        async with self._turn:
            if act.act == "log" and not self.watch.looks_complete(act.call):
                raise ValueError(f"no exchange with {act.call} looks complete, or it is in the log already")
            if act.act == "session":
                await self._roll(self._clock_ms())
                self._notify()
            else:
                await self.session.pump.act(act)

    async def change_log(self, work: Callable[[Store], T]) -> T:
        """Have ``work`` change the log aside, while the watch goes on; from then on it judges by the changed log."""
        done = await asyncio.to_thread(work, self.store)
        async with self._turn:
            self.session.pump.enter(rebase=self.store.newest_contact())
            self._notify()
        return done

    def snapshot(self) -> snapshot.Snapshot:
        """What the faces draw; the same object while nothing changed."""
        if self._shown is None:
            self._shown = snapshot.take(self.watch)
        return self._shown

    def plugins(self) -> list[PluginStatus]:
        """How each plugin stands."""
        return self.session.host.status()

    @property
    def folder(self) -> Path:
        """The data folder."""
        return self.store.folder
