"""The keeper: stands the live watch. It opens sessions, runs the pump and the forwarding, and answers the faces."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec

from .. import __version__
from ..config import Config
from ..host.plugin_host import Outlets, PluginHost
from ..host.status import PluginStatus, Rest
from ..model import Contact, Destination, Hail, Own
from ..radio import entity
from ..schema import events
from ..store.dispatch import Dispatcher
from ..store.store import Store
from ..store.worked import WorkedIndex
from . import snapshot
from .clock import watermark_ms
from .hails import HailRules
from .journal import Act, Chunk, Header, decode, plain
from .pipeline import Rules, Watch
from .pump import Arrival, Arrivals, Pump

_log = logging.getLogger(__name__)
HOUR_MS = 3_600_000


def rules_of(config: Config) -> Rules:
    """What the watch takes from the configuration."""
    watch = config.watch
    return Rules(
        silence_ms=watch.silence_ms,
        grace_ms=round(watch.grace_s * 1000),
        hails=HailRules(
            hold_off_min=watch.hail_hold_off_min, per_hour=watch.hails_per_hour, quiet=watch.quiet_minutes()
        ),
    )


def own_of(config: Config) -> Own:
    """The own station as the configuration tells it; ``station`` events outweigh it."""
    station = config.station
    return Own(
        call=station.call.upper() if station.call else None,
        locator=station.locator,
        operator=station.operator.upper() if station.operator else None,
        power_w=station.power_w,
        antenna=station.antenna,
        activations=tuple((one.programme, one.reference) for one in station.activations),
    )


class Records:
    """The durable record as plugins may use it."""

    def __init__(self, store: Store) -> None:
        self.reader = store.reader
        self.submit = store.submit
        self.migrate = store.plugin_migrations


class Session:
    """One session: its watch, its plugins, its pump."""

    def __init__(self, number: int, watch: Watch, host: PluginHost, pump: Pump) -> None:
        self.number = number
        self.watch = watch
        self.host = host
        self.pump = pump
        self.destinations: list[Destination] = []


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
        self.config = config
        self.store = store
        self._clock_ms = clock_ms
        self._answer = answer
        self._safe = safe
        self._session: Session | None = None
        self._dispatcher: Dispatcher | None = None
        self._changed = changed
        self._turn = asyncio.Lock()
        self._shown: snapshot.Snapshot | None = None

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
            await self._resume(last.id, last.baseline)
        else:
            await self._begin(self._clock_ms())
        self._dispatcher = Dispatcher(self.store, self.session.destinations)
        self._dispatcher.start()

    async def run(self, arrivals: Arrivals) -> None:
        """Work through what arrives until the queue is closed and drained."""
        while True:
            batch = await self._next(arrivals)
            if batch is None:
                async with self._turn:
                    self.session.pump.enter()
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
            end = next((n for n, arrival in enumerate(batch) if self._begins_session(arrival.event)), len(batch))
            if end:
                await self.session.pump.work(batch[:end])
            else:
                await self._roll(batch[0].event.at_ms)
                await self.session.pump.work(batch[:1])
                end = 1
            batch = batch[end:]

    def _begins_session(self, event: events.Event) -> bool:
        now_ms = self.watch.now_ms
        gap = round(self.config.watch.session_gap_h * HOUR_MS)
        return now_ms > 0 and abs(watermark_ms(event) - now_ms) > gap and not isinstance(event, events.Reception)

    async def stop(self) -> None:
        """Stop forwarding and plugins, write everything. The session stays open: the next start goes on with it."""
        if self._dispatcher is not None:
            await self._dispatcher.stop()
        if self._session is not None:
            await self._session.host.stop()

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
        self._session = self._assemble(number, self._worked(last.baseline), Chunk())
        await self._ready(self._session)

    async def _resume(self, number: int, baseline: int) -> None:
        """Read the session's journal again, muted, so that hold-offs and states survive."""
        chunk = Chunk()
        session = self._session = self._assemble(number, self._worked(baseline), chunk)
        await self._ready(session)
        newest = baseline
        for entry in decode(self.store.read_journal(number)):
            session.watch.feed(entry)
            session.watch.drain()
            chunk.resume(entry.n + 1, entry.t)
            if entry.outcome is not None and entry.outcome.contact is not None:
                newest = max(newest, entry.outcome.contact)
        held = self.store.newest_contact()
        if held != newest:
            session.pump.enter(rebase=held)

    async def _roll(self, started_ms: int) -> None:
        old = self.session
        _log.info("a new session begins: %s", events.stamp(started_ms))
        await old.host.stop()
        self.store.close_session(old.number, old.watch.now_ms)
        await self._begin(started_ms)
        self.dispatcher.replace(self.session.destinations)

    def _worked(self, baseline: int) -> WorkedIndex:
        return self.store.worked(before_id=baseline + 1)

    def _assemble(self, number: int, worked: WorkedIndex, chunk: Chunk) -> Session:
        watch = Watch(rules_of(self.config), own_of(self.config), worked, self._worked)
        rests: list[Rest] = []
        host = PluginHost(
            self.config.plugins,
            watch,
            Outlets(watch.hail, rests.append, Records(self.store), self.store.folder),
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
        return Session(number, watch, host, pump)

    @staticmethod
    async def _ready(session: Session) -> None:
        await session.host.start()
        session.destinations = session.host.destinations()

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
        self._changed()

    async def act(self, act: Act) -> None:
        """Enter what the operator did. ``session`` ends the session and begins another."""
        async with self._turn:
            if act.act == "session":
                await self._roll(self._clock_ms())
                self._notify()
            else:
                self.session.pump.enter(act=act)

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
