"""The plugin host: calls every plugin, one guard round each, so that none can stop another or the watch.

Everything here runs on the event loop's thread. What a plugin is shown follows from the journal alone; so does who is
rested: the host *asks* for a rest, the watch puts it into the journal and hands it back to :meth:`PluginHost.apply`.
While a journal is read again (``live`` is False) the host asks for nothing: the rests stand in the journal.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from watchkeeper.config import PluginSettings
from watchkeeper.model import Contact, Destination, Hail, Hearing, Note, Period
from watchkeeper.schema.events import Event
from watchkeeper.view import AnyView

from .background import Background
from .context import Check, Context, Records, Watching
from .discovery import Candidate
from .guard import Meter, Record, Slot
from .loading import Fleet, assemble, available
from .status import PluginStatus, Rest, State

_log = logging.getLogger(__name__)
#: hails of one plugin between two judgements: one for each hearing of a full burst. More are a flood, and dropped
MOST_HAILS = 250


class Outlets(NamedTuple):
    """Where the host hands things on to: hails (with the plugin's name), rests to be journaled, the durable record."""

    hail: Callable[[str, Hail], None]
    rest: Callable[[Rest], None]
    records: Records
    data_dir: Path


class PluginHost:
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
        self.settings = settings
        self._watching = watching
        self._outlets = outlets
        self.live = live
        self._meter = meter or Meter()
        self._contexts: dict[str, Context] = {}
        self._may_hail = False
        found = available(settings) if candidates is None else candidates
        self._fleet: Fleet = assemble(found, settings, self._context, outlets.records, safe=safe)
        self._background = Background()
        self._shown: dict[str, Sequence[AnyView]] = {}
        self._line_up()

    # -- making -------------------------------------------------------------------------------------------------------

    def _context(self, name: str) -> Context:
        made = Context(name, self._watching, self._hail, self._outlets.records, self._outlets.data_dir)
        self._contexts[name] = made
        return made

    def attach(self, watching: Watching) -> None:
        """Let all plugins read from ``watching`` from now on."""
        self._watching = watching
        for context in self._contexts.values():
            context.rebind(watching)

    def _line_up(self) -> None:
        """Precompute whom each hook calls."""
        running = [record for record in self._fleet.running if record.state is State.RUNNING]
        self._annotating = self._slots(running, "annotate")
        self._burst = self._slots(running, "burst_judged")
        self._closed = self._slots(running, "period_closed")
        self._logged = self._slots(running, "contact_logged")
        self._seen = self._slots(running, "event_seen")
        self._viewing = self._slots(running, "views")
        self._running = running

    @staticmethod
    def _slots(running: Iterable[Record], hook: str) -> list[Slot]:
        return [record.slots[hook] for record in running if hook in record.slots]

    @property
    def notices(self) -> list[str]:
        """What the operator should know of plugins that the config names and that are not there."""
        return list(self._fleet.notices)

    def status(self) -> list[PluginStatus]:
        """Every plugin found, by name, running or not."""
        return [record.status() for record in self._fleet.records]

    def refusals(self, current: PluginHost) -> list[str]:
        """Why these plugins should not take the place of ``current``'s: each that ran there and cannot run here."""
        ran = {record.name for record in current._fleet.records if record.state in (State.RUNNING, State.RESTED)}
        broken = [record for record in self._fleet.records if record.state in (State.BLOCKED, State.FAILED)]
        return [f"plugin {record.name}: {record.reason}" for record in broken if record.name in ran]

    # -- the watch's hooks --------------------------------------------------------------------------------------------

    def annotate(self, hearing: Hearing) -> None:
        """Let every plugin put its notes on the hearing, providers first. The hot path: one clock reading a plugin."""
        wall_ns = self._meter.wall_ns
        self._may_hail = True
        begun = wall_ns()
        for slot in self._annotating:
            record = slot.record
            try:
                made = slot.call(hearing)
                if made is not None:
                    _put(hearing.noted, made, record)
                if slot.streak:
                    slot.streak = 0
            except KeyboardInterrupt:
                raise
            except BaseException as error:
                self._failed(slot, error)
            ended = wall_ns()
            spent = ended - begun
            begun = ended
            slot.calls += 1
            slot.spent_ns += spent
            record.burst_ns += spent
            if spent > slot.max_ns:
                slot.max_ns = spent
        self._may_hail = False

    def burst_judged(self, period: Period) -> None:
        """A burst of the period is in."""
        self._judging()
        self._tell(self._burst, period)

    def period_closed(self, period: Period) -> None:
        """All of the period is in. Plugins whose rest is over are asked back."""
        self._judging()
        self._tell(self._closed, period)
        self._ask_back()

    def contact_logged(self, contact: Contact) -> None:
        """The contact is in the durable record."""
        self._tell(self._logged, contact)

    def event_seen(self, event: Event) -> None:
        """An accepted event that is no hearing and no contact."""
        self._tell(self._seen, event)

    def views(self) -> list[AnyView]:
        """What all running plugins show, each plugin's together; one that raises shows what it last did."""
        for slot in self._viewing:
            shown = self._call(slot)
            if shown is not None and shown is not self._shown.get(slot.record.name):
                self._show(slot, shown)
        return [view for slot in self._viewing for view in self._shown.get(slot.record.name, ())]

    def _show(self, slot: Slot, shown: Any) -> None:
        if isinstance(shown, Sequence) and all(isinstance(view, AnyView) for view in shown):
            self._shown[slot.record.name] = shown
        else:
            self._failed(slot, TypeError(f"it returned {type(shown).__name__}, not a sequence of views"))

    # -- hooks that are asked for now and then ------------------------------------------------------------------------

    def preflight(self) -> list[Check]:
        """All plugins' checks, in order of rank."""
        found = [check for _, checks in self._collect("preflight") for check in checks if isinstance(check, Check)]
        return sorted(found, key=lambda check: check.rank)

    def report_parts(self, session: int) -> list[AnyView]:
        """All plugins' parts of the report on ``session``."""
        parts = [
            view for _, views in self._collect("report_parts", session) for view in views if isinstance(view, AnyView)
        ]
        return sorted(parts, key=lambda view: view.rank)

    def metrics(self) -> dict[str, dict[str, float]]:
        """Counters and gauges by plugin."""
        return {name: dict(found) for name, found in self._collect("metrics")}

    def destinations(self) -> list[Destination]:
        """Where contacts go; asked once, after :meth:`start`. Of two with one name only the first is taken."""
        found: dict[str, Destination] = {}
        for plugin, destinations in self._collect("destinations"):
            for destination in destinations:
                if destination.name in found:
                    self._fleet.notices.append(f"plugin {plugin!r}: a destination {destination.name!r} exists already")
                else:
                    found[destination.name] = destination
        return list(found.values())

    def _collect(self, hook: str, *arguments: Any) -> list[tuple[str, Any]]:
        answers = [(slot.record.name, self._call(slot, *arguments)) for slot in self._slots(self._running, hook)]
        return [(name, answer) for name, answer in answers if answer is not None]

    # -- the guard ----------------------------------------------------------------------------------------------------

    def _tell(self, slots: list[Slot], argument: Any) -> None:
        self._may_hail = True
        for slot in slots:
            self._call(slot, argument)
        self._may_hail = False

    def _call(self, slot: Slot, *arguments: Any) -> Any:
        """What the hook returns, or None where it raised."""
        meter = self._meter
        before = meter.usage()
        begun = meter.wall_ns()
        answer = None
        try:
            answer = slot.call(*arguments)
            slot.streak = 0
        except KeyboardInterrupt:
            raise
        except BaseException as error:
            self._failed(slot, error)
        spent = meter.wall_ns() - begun
        slot.calls += 1
        slot.spent_ns += spent
        slot.max_ns = max(slot.max_ns, spent)
        allowed_ns = self.settings.budget_ms * 1e6
        if spent > allowed_ns:
            after = meter.usage()
            if after.cpu_ns - before.cpu_ns > allowed_ns or after.waits > before.waits:
                self._overran(slot, spent, self.settings.budget_ms)
        return answer

    def _failed(self, slot: Slot, error: BaseException) -> None:
        due = slot.record.failed(slot, error)
        if slot.streak == 1:
            _log.warning("plugin %s: %s", slot.record.name, slot.record.reason, exc_info=error)
        if due:
            self._ask_rest(slot.record, due)

    def _overran(self, slot: Slot, spent_ns: int, allowed_ms: float) -> None:
        due = slot.record.overran(slot, spent_ns, allowed_ms, self._watching.now_ms)
        _log.warning("plugin %s: %s", slot.record.name, slot.record.reason)
        if due:
            self._ask_rest(slot.record, due)

    def _judging(self) -> None:
        """Settle what plugins took for the notes since the last judgement."""
        allowed_ms = self.settings.burst_budget_ms
        for record in self._running:
            if record.burst_ns > allowed_ms * 1e6:
                self._overran(record.slots["annotate"], record.burst_ns, allowed_ms)
            record.burst_ns = record.hails = 0

    # -- rests --------------------------------------------------------------------------------------------------------

    def _ask_rest(self, record: Record, reason: str) -> None:
        if self.live and not record.asked:
            record.asked = True
            until_ms = self._watching.now_ms + round(self.settings.rest_min * 60_000)
            self._outlets.rest(Rest(plugin=record.name, resting=True, reason=reason, until_ms=until_ms))

    def _ask_back(self) -> None:
        if not self.live:
            return
        for record in self._fleet.running:
            due = record.until_ms is not None and self._watching.now_ms >= record.until_ms
            if record.state is State.RESTED and due and not record.asked:
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
        else:
            record.out(State.RUNNING, f"tried again after a rest: {record.reason}")
            record.overran_at.clear()
            for slot in record.slots.values():
                slot.streak = 0
        self._line_up()

    # -- hails --------------------------------------------------------------------------------------------------------

    def _hail(self, plugin: str, hail: Hail) -> None:
        if not self._may_hail:
            raise RuntimeError("hail() is only for annotate, burst_judged, period_closed, contact_logged, event_seen")
        record = next(each for each in self._running if each.name == plugin)
        record.hails += 1
        if record.hails <= MOST_HAILS:
            self._outlets.hail(plugin, hail)
        elif record.hails == MOST_HAILS + 1:
            record.reason = f"it raised more than {MOST_HAILS} hails in one judgement; the rest were dropped"
            _log.warning("plugin %s: %s", plugin, record.reason)

    # -- the plugins' own tasks ---------------------------------------------------------------------------------------

    async def start(self) -> None:
        """Run ``async_start`` of every plugin, then keep their background tasks and deliveries running."""
        await self._background.start(self._running, self._contexts)
        self._line_up()

    def deliver(self, hail: Hail) -> None:
        """Hand the hail to every plugin that reaches the operator; returns at once."""
        self._background.deliver(hail)

    async def stop(self) -> None:
        """Stop all tasks of plugins; those that do not stop within a second are cancelled and named."""
        await self._background.stop()


def _put(noted: dict[type[Note], Note], made: Any, record: Record) -> None:
    """Put what ``annotate`` returned on the hearing; raises TypeError unless it is what the plugin provides."""
    assert record.traits is not None
    kind = type(made)
    if kind in record.traits.provides:
        noted[kind] = made
        return
    if not isinstance(made, list | tuple):
        raise TypeError(f"annotate returned {kind.__name__}, which is not among its 'provides'")
    for note in made:
        if type(note) not in record.traits.provides:
            raise TypeError(f"annotate returned {type(note).__name__}, which is not among its 'provides'")
        noted[type(note)] = note
