"""The plugin host: calls every plugin, one guard round each, so that none can stop another or the watch.

Everything here runs on the event loop's thread. What a plugin is shown follows from the journal alone; so does who is
rested: the host *asks* for a rest, the watch puts it into the journal and hands it back to :meth:`PluginHost.apply`.
While a journal is read again (``live`` is False) the host asks for nothing: the rests stand in the journal.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable, Collection, Coroutine, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from watchkeeper.config import PluginSettings
from watchkeeper.model import Destination, Hail, Period

from .background import Background
from .calls import HookCaller
from .context import Context, Records, Watching
from .discovery import Candidate
from .guard import Meter, Record
from .lending import Lent
from .loading import Fleet, assemble, available
from .status import PluginStatus, Rest, Resting, State
from .tasks import Containment, Faults

_log = logging.getLogger(__name__)
#: hails of one plugin between two judgements: as many as the hearings of a full burst, or one for each where there were
#: more. Others are a flood, and dropped
MOST_HAILS = 250


def _unheard(*_: object) -> None:
    """Nobody listens."""


class Outlets(NamedTuple):
    """Where the host hands things on to.

    Hails (with the plugin's name), rests to be journaled, the durable record, and destinations that are back.
    """

    hail: Callable[[str, Hail], None]
    rest: Callable[[Rest], None]
    records: Records
    data_dir: Path
    reachable: Callable[[str], None] = _unheard


class PluginHost(HookCaller):
    """All plugins of one watch.

    Made from the ``[plugins]`` settings and the watch that plugins read; :meth:`attach` gives another watch later.
    ``safe`` starts no plugin. ``candidates`` replaces what is installed (for tests).
    """

    def __init__(
        self,
        settings: PluginSettings,
        watching: Watching,
        outlets: Outlets,
        *,
        live: bool = True,
        safe: bool = False,
        candidates: Sequence[Candidate] | None = None,
        meter: Meter | None = None,
    ) -> None:
        super().__init__(settings, meter or Meter())
        self._safe = safe
        self._watching = watching
        self._outlets = outlets
        self.live = live
        self._contexts: dict[str, Context] = {}
        found = available(settings) if candidates is None else candidates
        self._fleet: Fleet = assemble(found, settings, self._context, outlets.records, safe=safe)
        self._backgrounds: dict[str, Background] = {}
        faults = Faults(self._failed_beside, self._overran_beside, self._crowded, _stray)
        self._containment = Containment(
            lambda: self._fleet.running, self.meter, lambda: self.settings.budget_ms, faults
        )
        self._changing: set[asyncio.Task[None]] = set()
        self._refresh()

    # -- making -------------------------------------------------------------------------------------------------------

    def _context(self, name: str) -> Context:
        out = self._outlets
        made = Context(name, self._watching, self._hail, out.records, out.reachable, out.data_dir)
        self._contexts[name] = made
        return made

    def attach(self, watching: Watching) -> None:
        """Let all plugins read from ``watching`` from now on."""
        self._watching = watching
        for context in self._contexts.values():
            context.rebind(watching, self._hail, self._outlets.records, self._outlets.reachable)

    def _refresh(self) -> None:
        """Let the hooks call those who run now."""
        self.line_up(record for record in self._fleet.running if record.state is State.RUNNING)

    @property
    def notices(self) -> list[str]:
        """What the operator should know of plugins that the config names and that are not there."""
        return list(self._fleet.notices)

    def status(self) -> list[PluginStatus]:
        """Every plugin found, by name, running or not."""
        return [record.status() for record in self._fleet.records]

    def rested(self) -> tuple[Resting, ...]:
        """Those that rest now, by name."""
        resting = (record for record in self._fleet.records if record.state is State.RESTED)
        return tuple(Resting(plugin=record.name, reason=record.reason or "") for record in resting)

    def destinations(self) -> list[Destination]:
        """Where contacts go; asked once, after :meth:`start`. Of two with one name only the first is taken.

        Those of a plugin that rests are among them: no contact is to miss its way for a rest.
        """
        found: dict[str, Destination] = {}
        able = [record for record in self._fleet.running if record.state in (State.RUNNING, State.RESTED)]
        records = {record.name: record for record in able}
        for plugin, destinations in self.collect("destinations", list, among=able):
            for destination in destinations:
                if destination.name in found:
                    self._fleet.notices.append(f"plugin {plugin!r}: a destination {destination.name!r} exists already")
                else:
                    found[destination.name] = Lent(destination, records[plugin])
        return list(found.values())

    # -- rests --------------------------------------------------------------------------------------------------------

    def _now_ms(self) -> int:
        return self._watching.now_ms

    def _ask_rest(self, record: Record, reason: str) -> None:
        if self.live and not record.asked and record.state is State.RUNNING:
            record.asked = True
            self._outlets.rest(Rest(plugin=record.name, resting=True, reason=reason, until_ms=self._rested_until()))

    def _rested_until(self) -> int | None:
        """The event time until which a rest that begins now lasts; None while no event has told the time."""
        now_ms = self._now_ms()
        return now_ms + round(self.settings.rest_min * 60_000) if now_ms else None

    def period_closed(self, period: Period) -> None:
        """All of the period is in. Plugins whose rest is over are asked back."""
        super().period_closed(period)
        self._ask_back()

    def _ask_back(self) -> None:
        if not self.live:
            return
        for record in self._fleet.running:
            if record.state is not State.RESTED or record.asked:
                continue
            if record.until_ms is None:
                record.until_ms = self._rested_until()
            elif self._now_ms() >= record.until_ms:
                record.asked = True
                self._outlets.rest(Rest(plugin=record.name, resting=False))

    def apply(self, rest: Rest) -> None:
        """Rest a plugin or let it run again, as the journal says; one that is not here is passed over."""
        record = next((each for each in self._fleet.running if each.name == rest.plugin), None)
        if record is None:
            return
        record.asked = False
        record.until_ms = rest.until_ms
        if rest.resting:
            record.out(State.RESTED, rest.reason or "rested")
            _log.warning("plugin %s is rested: %s", record.name, record.reason)
            self._change(record, lambda background: background.pause(_other_tasks()))
        elif record.state is State.RESTED:
            record.wake()
            self._change(record, Background.resume)
        self._refresh()

    def _change(self, record: Record, change: Callable[[Background], Coroutine[Any, Any, None]]) -> None:
        """Let what the plugin does beside its hooks end or begin, if anything of it runs here."""
        background = self._backgrounds.get(record.name)
        if background is not None:
            task = asyncio.create_task(change(background), name=f"change of plugin {record.name}")
            self._changing.add(task)
            task.add_done_callback(self._changing.discard)

    # -- beside the hooks ---------------------------------------------------------------------------------------------

    def _failed_beside(self, record: Record, what: str, error: BaseException) -> None:
        self._held_against(record, record.failed_beside(what, error, self._now_ms()))

    def _overran_beside(self, record: Record, spent_ns: int, allowed_ms: float) -> None:
        what = "one step of a task or callback of its own"
        self._held_against(record, record.overran(what, spent_ns, allowed_ms, self._now_ms()))

    def _crowded(self, record: Record, allowed: int) -> None:
        if record.state is State.RUNNING and not record.asked:
            self._held_against(record, record.say(f"more than {allowed} tasks of its own run at once"))

    def _ended(self, record: Record, error: BaseException) -> None:
        self._held_against(record, record.say(f"its background task ended: {type(error).__name__}: {error}"))

    # -- hails --------------------------------------------------------------------------------------------------------

    def _hail(self, plugin: str, hail: Hail) -> None:
        if not self.may_hail:
            raise RuntimeError("hail() is only for annotate, burst_judged, period_closed, contact_logged, event_seen")
        record = next(each for each in self.running if each.name == plugin)
        record.hails += 1
        allowed = max(MOST_HAILS, self.heard)
        if record.hails <= allowed:
            self._outlets.hail(plugin, hail)
        elif not record.floods:
            record.floods = True
            self._held_against(record, record.flooded(allowed, self._now_ms()))

    # -- the plugins' own tasks ---------------------------------------------------------------------------------------

    async def start(self) -> None:
        """Run ``async_start`` of every plugin, then keep their background tasks and deliveries running."""
        self._containment.set()
        await self._start(self._fleet.running)

    async def _start(self, records: Iterable[Record]) -> None:
        for record in records:
            background = self._backgrounds[record.name] = Background(record, self.meter.sleep, self._ended)
            await background.start(self._contexts[record.name])
        self._refresh()

    def deliver(self, hail: Hail) -> None:
        """Hand the hail to every plugin that reaches the operator; returns at once."""
        for background in self._backgrounds.values():
            background.deliver(hail)

    async def stop(self) -> None:
        """Stop all tasks of plugins; those that do not stop within a second are cancelled and named."""
        others = _other_tasks() - self._changing
        await asyncio.gather(_stop(self._backgrounds.values(), others), *self._changing)
        self._backgrounds.clear()
        self._containment.unset()

    # -- reload -------------------------------------------------------------------------------------------------------

    async def reload(
        self,
        settings: PluginSettings,
        feed: Callable[[PluginHost], Awaitable[None]],
        *,
        candidates: Sequence[Candidate] | None = None,
    ) -> list[str]:
        """Go over to other settings, between two periods; the reasons why not, and then nothing has changed.

        Plugins that are new or changed are made anew and shown the session so far: ``feed`` lets a watch of its own,
        whose hails go nowhere, read the journal again with the host that it is given. The others run on as they are.
        """
        trial, fresh = self._trial(settings, candidates)
        before = _other_tasks()
        if not trial._refusals(self) and fresh:
            await feed(trial)
            await trial._start(fresh)
        refusals = trial._refusals(self)
        if refusals:
            await trial.stop()
            return refusals
        await _stop(self._take_over(trial, {record.name for record in fresh}), before)
        return []

    def follow(self, settings: PluginSettings, feed: Callable[[PluginHost], None]) -> None:
        """As :meth:`reload`, where a journal says that it was done: nothing is refused, and nothing is started."""
        trial, fresh = self._trial(settings, None)
        if fresh:
            feed(trial)
        self._take_over(trial, {record.name for record in fresh})

    def _trial(
        self, settings: PluginSettings, candidates: Sequence[Candidate] | None
    ) -> tuple[PluginHost, list[Record]]:
        """A host for the plugins of ``settings`` that is heard nowhere, and those that differ from ours."""
        outlets = Outlets(_unheard, _unheard, _ReadOnly(self._outlets.records), self._outlets.data_dir)
        trial = PluginHost(
            settings, self._watching, outlets, live=False, safe=self._safe, candidates=candidates, meter=self.meter
        )
        return trial, [record for record in trial._fleet.running if self._differs(record)]

    def _differs(self, record: Record) -> bool:
        ours = next((each for each in self._fleet.running if each.name == record.name), None)
        return ours is None or (ours.traits, ours.config) != (record.traits, record.config)

    def _refusals(self, current: PluginHost) -> list[str]:
        """Why these plugins should not take the place of ``current``'s: each that ran there and cannot run here."""
        ran = {record.name for record in current._fleet.records if record.state in (State.RUNNING, State.RESTED)}
        broken = [record for record in self._fleet.records if record.state in (State.BLOCKED, State.FAILED)]
        return [f"plugin {record.name}: {record.reason}" for record in broken if record.name in ran]

    def _take_over(self, trial: PluginHost, fresh: set[str]) -> list[Background]:
        """Put the trial's fresh plugins among ours, in the trial's order; returns what of ours is to be stopped."""
        staying = {record.name for record in trial._fleet.running} - fresh
        kept = {record.name: record for record in self._fleet.running if record.name in staying}
        records = [kept.get(record.name, record) for record in trial._fleet.records]
        running = [kept.get(record.name, record) for record in trial._fleet.running]
        self._fleet = Fleet(records, running, trial._fleet.notices)
        self.settings = trial.settings
        replaced = [self._backgrounds.pop(name) for name in list(self._backgrounds) if name not in staying]
        self._backgrounds |= trial._backgrounds
        for background in trial._backgrounds.values():
            background.on_end = self._ended
        self._contexts |= {name: trial._contexts[name] for name in fresh}
        for record in running:
            if record.name in fresh and record.state is State.RESTED:
                record.wake()  # it was the one before that earned the rest
        self.forget_views(staying)
        self.attach(self._watching)
        self._refresh()
        return replaced


class _ReadOnly:
    """The durable record for plugins that see a session again: what they would write stands there already."""

    def __init__(self, records: Records) -> None:
        self.reader = records.reader
        self.migrate = records.migrate

    def submit(self, plugin: str, statements: Sequence[tuple[str, Mapping[str, Any]]]) -> None:
        """Write nothing."""


def _stray(error: BaseException) -> None:
    _log.warning("something tried to end the program, and nobody knows whose it was: %r", error)


def _other_tasks() -> set[asyncio.Task[Any]]:
    """All tasks but the caller's."""
    return {task for task in asyncio.all_tasks() if task is not asyncio.current_task()}


async def _stop(backgrounds: Iterable[Background], among: Collection[asyncio.Task[Any]]) -> None:
    """Stop several at once: all are asked before the first is waited for."""
    stopping = list(backgrounds)
    for background in stopping:
        background.ask_to_stop()
    await asyncio.gather(*(background.stop(among) for background in stopping))
