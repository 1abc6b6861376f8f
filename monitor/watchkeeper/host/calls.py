"""Calls the plugins' hooks, one guard round each: what one raises and how long it takes is counted against it alone."""

from __future__ import annotations

import logging
import math
import re
from abc import ABC, abstractmethod
from collections.abc import Callable, Collection, Iterable, Sequence
from functools import partial
from typing import Any, TypeVar

from watchkeeper.config import PluginSettings
from watchkeeper.model import Contact, Hearing, Note, Period
from watchkeeper.schema.events import Event
from watchkeeper.view import AnyView

from .context import Check
from .guard import Meter, Record, Slot
from .loop import owner

_log = logging.getLogger(__name__)
T = TypeVar("T")
_FIGURE = re.compile(r"[a-z][a-z0-9_]{0,63}")


class HookCaller(ABC):
    """The hooks of the plugins that run, in their order. Who is rested is decided by the class that builds on this."""

    def __init__(self, settings: PluginSettings, meter: Meter) -> None:
        self.settings = settings
        self.meter = meter
        #: whether a hook is being called that has its place in the journal
        self.may_hail = False
        self._settled_cpu_ns = meter.usage().cpu_ns
        #: hearings that the plugins may hail for: since the last judgement, or of the period that is judged
        self.heard = 0
        self._shown: dict[str, Sequence[AnyView]] = {}
        self.line_up(())

    def line_up(self, records: Iterable[Record]) -> None:
        """Precompute whom each hook calls, from the records of the plugins that run, in their order."""
        self.running = list(records)
        self._annotating = _slots(self.running, "annotate")
        self._burst = _slots(self.running, "burst_judged")
        self._closed = _slots(self.running, "period_closed")
        self._logged = _slots(self.running, "contact_logged")
        self._seen = _slots(self.running, "event_seen")
        self._viewing = _slots(self.running, "views")

    # -- the watch's hooks --------------------------------------------------------------------------------------------

    def annotate(self, hearing: Hearing) -> None:
        """Let every plugin put its notes on the hearing, providers first. The hot path: one clock reading a plugin."""
        wall_ns = self.meter.wall_ns
        self.heard += 1
        self.may_hail = True
        begun = wall_ns()
        for slot in self._annotating:
            record = slot.record
            owner.set(record)
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
        owner.set(None)
        self.may_hail = False

    def burst_judged(self, period: Period) -> None:
        """A burst of the period is in."""
        self._judge(self._burst, period)

    def period_closed(self, period: Period) -> None:
        """All of the period is in."""
        self._judge(self._closed, period)

    def contact_logged(self, contact: Contact) -> None:
        """The contact is in the durable record."""
        self._tell(self._logged, contact)

    def event_seen(self, event: Event) -> None:
        """An accepted event that is no hearing and no contact."""
        self._tell(self._seen, event)

    def _judge(self, slots: list[Slot], period: Period) -> None:
        self._settle_notes()
        self.heard = max(self.heard, len(period.hearings))
        self._tell(slots, period)
        self.heard = 0
        for record in self.running:
            record.calm()

    def _tell(self, slots: list[Slot], argument: Any) -> None:
        self.may_hail = True
        for slot in slots:
            self._call(slot, _as_it_is, argument)
        self.may_hail = False

    # -- hooks that are asked -----------------------------------------------------------------------------------------

    def views(self) -> list[AnyView]:
        """What all running plugins show, each plugin's together; one that raises shows what it last did."""
        shown = self._shown
        for slot in self._viewing:
            before = shown.get(slot.record.name)
            made = self._call(slot, partial(_new_views, before))
            if made is not None:
                shown[slot.record.name] = made
        return [view for slot in self._viewing for view in shown.get(slot.record.name, ())]

    def forget_views(self, staying: Collection[str]) -> None:
        """Show no more what others than the ``staying`` plugins showed."""
        self._shown = {name: shown for name, shown in self._shown.items() if name in staying}

    def preflight(self) -> list[Check]:
        """All plugins' checks, in order of rank."""
        found = [check for _, checks in self.collect("preflight", _checks) for check in checks]
        return sorted(found, key=lambda check: check.rank)

    def report_parts(self, session: int) -> list[AnyView]:
        """All plugins' parts of the report on ``session``."""
        parts = [view for _, views in self.collect("report_parts", _views, session) for view in views]
        return sorted(parts, key=lambda view: view.rank)

    def explain(self, call: str) -> list[str]:
        """What all plugins say of why ``call`` did hail and why not."""
        return [sentence for _, sentences in self.collect("explain", _sentences, call) for sentence in sentences]

    def metrics(self) -> dict[str, dict[str, float]]:
        """Counters and gauges by plugin."""
        return dict(self.collect("metrics", _figures))

    def collect(
        self, hook: str, take: Callable[[Any], T], *arguments: Any, among: Iterable[Record] | None = None
    ) -> list[tuple[str, T]]:
        """What the hook of each plugin that runs (or of each ``among`` those given) answers, by plugin.

        ``take`` makes it what is wanted: what it raises is the plugin's fault.
        """
        asked = _slots(self.running if among is None else among, hook)
        answers = [(slot.record.name, self._call(slot, take, *arguments)) for slot in asked]
        return [(name, answer) for name, answer in answers if answer is not None]

    # -- the guard ----------------------------------------------------------------------------------------------------

    def _call(self, slot: Slot, take: Callable[[Any], T], *arguments: Any) -> T | None:
        """What the hook returns, as ``take`` makes it, or None where either raised."""
        meter = self.meter
        before = meter.usage()
        begun = meter.wall_ns()
        answer = None
        outer = owner.set(slot.record)
        try:
            answer = take(slot.call(*arguments))
            slot.streak = 0
        except KeyboardInterrupt:
            raise
        except BaseException as error:
            self._failed(slot, error)
        finally:
            owner.reset(outer)
        spent = meter.wall_ns() - begun
        slot.calls += 1
        slot.spent_ns += spent
        slot.max_ns = max(slot.max_ns, spent)
        if meter.is_overrun(spent, before, self.settings.budget_ms):
            self._overran(slot, spent, self.settings.budget_ms)
        return answer

    def _failed(self, slot: Slot, error: BaseException) -> None:
        due = slot.record.failed(slot, error)
        if slot.streak == 1:
            _log.warning("plugin %s: %s", slot.record.name, slot.record.reason, exc_info=error)
        if due:
            self._ask_rest(slot.record, due)

    def _overran(self, slot: Slot, spent_ns: int, allowed_ms: float) -> None:
        slot.overruns += 1
        self._held_against(slot.record, slot.record.overran(slot.hook, spent_ns, allowed_ms, self._now_ms()))

    def _held_against(self, record: Record, due: str | None) -> None:
        """Log what was just held against the plugin, and rest it where that is ``due``."""
        _log.warning("plugin %s: %s", record.name, record.reason)
        if due:
            self._ask_rest(record, due)

    def _settle_notes(self) -> None:
        """Settle what plugins took for the notes since the last judgement, and let them hail anew.

        What one computed for its notes is known no closer than by what the thread computed for all of the burst.
        """
        allowed_ms = self.settings.burst_budget_ms
        allowed_ns = allowed_ms * 1e6
        cpu_ns = self.meter.usage().cpu_ns
        computed = cpu_ns - self._settled_cpu_ns
        self._settled_cpu_ns = cpu_ns
        for record in self.running:
            spent = record.burst_ns
            if spent > allowed_ns and (computed > allowed_ns or spent - computed > allowed_ns):
                self._overran(record.slots["annotate"], spent, allowed_ms)
            record.burst_ns = 0
            record.calm()

    @abstractmethod
    def _now_ms(self) -> int:
        """The event clock."""

    @abstractmethod
    def _ask_rest(self, record: Record, reason: str) -> None:
        """A plugin should rest."""


def _slots(records: Iterable[Record], hook: str) -> list[Slot]:
    return [record.slots[hook] for record in records if hook in record.slots]


def _as_it_is(answer: Any) -> Any:
    return answer


def _new_views(before: Sequence[AnyView] | None, answer: Any) -> Sequence[AnyView]:
    """As :func:`_views`; what was shown before is known to be good."""
    return before if before is not None and answer is before else _views(answer)


def _views(answer: Any) -> Sequence[AnyView]:
    found = tuple(answer)
    for view in found:
        if not isinstance(view, AnyView):
            raise TypeError(f"it returned {type(view).__name__}, which is no view")
    return answer if isinstance(answer, Sequence) else found


def _checks(answer: Any) -> list[Check]:
    found = list(answer)
    for check in found:
        if not isinstance(check, Check):
            raise TypeError(f"it returned {type(check).__name__}, which is no check")
    return found


def _sentences(answer: Any) -> list[str]:
    """Sentences, taken apart from what a plugin may still change. Raises TypeError."""
    if isinstance(answer, str) or not isinstance(answer, Sequence) or not all(isinstance(one, str) for one in answer):
        raise TypeError(f"it returned {type(answer).__name__}, not a sequence of sentences")
    return list(answer)


def _figures(answer: Any) -> dict[str, float]:
    """Counters and gauges, each a finite number by a name of small letters. Raises TypeError."""
    found = dict(answer)
    for name, value in found.items():
        if not (isinstance(name, str) and _FIGURE.fullmatch(name)):
            raise TypeError(
                f"it returned the figure {name!r}, which is no name of small letters, digits and underscores"
            )
        if not isinstance(value, int | float) or not math.isfinite(value):
            raise TypeError(f"it returned {value!r} for {name!r}, which is no finite number")
    return found


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
