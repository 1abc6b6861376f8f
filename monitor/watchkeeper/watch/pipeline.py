"""The watch itself: one journal entry in, everything that follows from it done. No I/O, no clock, no thread.

``Watch.feed`` is the only way in, for a live watch, a restart and a replay alike. What has to happen outside (a commit,
a delivery, a row) is left in ``candidate`` and :meth:`Watch.drain` for whoever feeds it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple, Protocol

import msgspec

from ..host.status import Rest, Resting
from ..model import Contact, Hail, Hearing, Losses, OnAir, Own, Period
from ..radio import locator
from ..radio.entity import lookup
from ..radio.message import read
from ..schema import events
from ..store.worked import Dimension, WorkedIndex, facts
from ..view import AnyView
from . import contacts, unannounced
from .clock import EventClock, period_ms, watermark_ms
from .exchange import ExchangeTracker
from .gaps import Gaps
from .hails import HailBook
from .hearing import HearingDesk, Places
from .journal import Act, Entry, Outcome, Reload
from .periods import PeriodBook
from .rules import Rules, own_of, rules_of
from .stations import Stations

#: contacts of the session that the faces can look back on
KEPT_CONTACTS = 500
#: plugins are told of these by hooks of their own
_TOLD_OTHERWISE = (events.Heard, events.Contact)
#: sources whose coverage is remembered
MAX_SOURCES = 64


class Plugins(Protocol):
    """What the watch needs of the plugin host. Nothing here raises."""

    def annotate(self, hearing: Hearing) -> None: ...
    def burst_judged(self, period: Period) -> None: ...
    def period_closed(self, period: Period) -> None: ...
    def contact_logged(self, contact: Contact) -> None: ...
    def event_seen(self, event: events.Event) -> None: ...
    def views(self) -> Sequence[AnyView]: ...
    def apply(self, rest: Rest) -> None: ...
    def rested(self) -> tuple[Resting, ...]: ...


class Outbound(NamedTuple):
    """What the watch leaves for the outside.

    Hails to deliver; hearings that a judgement has seen, to be kept; calls whose unannounced contact is to be logged.
    """

    hails: list[Hail]
    hearings: list[Hearing]
    to_log: list[str]


class Cover(msgspec.Struct, frozen=True, kw_only=True):
    """How far one source's run has been worked through."""

    run: str | None
    seq: int


class Watch:
    """One session's watch. Its state follows from the entries, the rules, the own station and the worked index."""

    def __init__(
        self,
        rules: Rules,
        own: Own,
        worked: WorkedIndex,
        load_worked: Callable[[int], WorkedIndex] | None = None,
    ) -> None:
        """``load_worked(baseline)`` gives the index of a log that was changed from outside while the session ran."""
        self.worked = worked
        self._load_worked = load_worked
        self.own = own
        self._told: dict[str, Any] = {}  # of the own station, by events: it outweighs the configuration
        self.hails = HailBook(rules.hails)
        self.covers: dict[str, Cover] = {}
        self._gaps = Gaps()
        self.contacts: list[Contact] = []
        self.contacts_logged = 0
        self.candidate: contacts.Candidate | None = None
        self._hails_out: list[Hail] = []
        self._judged: list[Hearing] = []
        self._to_log: list[str] = []
        self._log_unannounced = rules.log_unannounced
        self.judgements = 0
        self._plugins: Plugins | None = None
        self._clock = EventClock()
        self._periods = PeriodBook(rules.silence_ms, rules.grace_ms)
        self._places = Places()
        self._places.moved(own.locator)
        self._desk = HearingDesk(self._places)
        self._stations = Stations()
        self._exchanges = ExchangeTracker(self._stations)
        self._sent_in: set[tuple[int, str]] = set()
        self._on_event: dict[type, Callable[[events.Event, int], None]] = {
            events.Heard: self._heard,
            events.Period: self._period,
            events.Sent: self._sent,
            events.Station: self._station,
            events.Tuning: self._tuning,
            events.Contact: self._contact,
        }

    def attach(self, plugins: Plugins) -> None:
        """Give the watch its plugins, before the first entry and at a reload."""
        self._plugins = plugins

    # what plugins and faces may ask

    @property
    def now_ms(self) -> int:
        """The event clock."""
        return self._clock.now_ms

    @property
    def period(self) -> Period | None:
        """The period that began last, of any stream."""
        return self._periods.newest

    def stations(self) -> Iterable[OnAir]:
        """The stations on the air, the one heard last first."""
        return self._stations.newest_first()

    def station(self, call: str) -> OnAir | None:
        """What is known of ``call`` on the air."""
        return self._stations.get(call)

    def losses(self) -> Mapping[str, Losses]:
        """What each source lost on its way, by its name."""
        return self._gaps.counts()

    def unheeded_ms(self, key: str) -> int | None:
        """When the last hail of a matter went out; None where none did, or the operator has seen to it."""
        return self.hails.unheeded_ms(key)

    def why_silent(self, key: str) -> str | None:
        """Why the last hail of a matter was held back, in words; None where it went out or none was raised."""
        return self.hails.why_silent(key)

    def looks_complete(self, call: str | None) -> bool:
        """Whether the exchange with ``call`` looks complete and is not in the log."""
        ours = None if call is None else self._exchanges.with_us(call)
        return ours is not None and ours.complete and ours.logged_ms is None

    def views(self) -> Sequence[AnyView]:
        """What the plugins show now, and what the core has to offer."""
        shown = () if self._plugins is None else self._plugins.views()
        offered = self._exchanges.ours.offered()
        return [unannounced.view_of(offered), *shown] if offered else shown

    def rested(self) -> tuple[Resting, ...]:
        """The plugins that rest now, and why."""
        return () if self._plugins is None else self._plugins.rested()

    def next_due(self) -> int | None:
        """The journal time at which a tick has something to do; None while nothing waits."""
        return self._periods.next_due()

    def hail(self, _plugin: str, hail: Hail) -> None:
        """Take a plugin's hail; it goes out at the end of the judgement that is under way."""
        self.hails.hail(hail)

    def drain(self) -> Outbound:
        """What is to happen outside since the last call."""
        out = Outbound(self._hails_out, self._judged, self._to_log)
        self._hails_out, self._judged, self._to_log = [], [], []
        return out

    # the way in

    def feed(self, entry: Entry) -> None:
        """Do all that follows from one journal entry."""
        self._judge(self._periods.due(entry.t))
        if entry.event is not None:
            self._event(entry.event, entry.t)
        elif entry.outcome is not None:
            self._outcome(entry.outcome)
        elif entry.act is not None:
            self._act(entry.act)
        elif entry.rest is not None and self._plugins is not None:
            self._plugins.apply(entry.rest)
        elif entry.rebase is not None and self._load_worked is not None:
            before, self.worked = self.worked, self._load_worked(entry.rebase)
            self.worked.go_on_from(before)
        elif entry.reload is not None:
            self._obey(entry.reload)

    def _event(self, event: events.AnyEvent, t: int) -> None:
        before = self._clock.now_ms
        self._clock.reach(watermark_ms(event))
        if self._clock.now_ms != before:
            self._judge(self._periods.overtaken(self._clock.now_ms))
        if event.seq is not None:
            self._cover(event, event.seq)
            self._gaps.note(event.source, event.run, event.seq)
        act = self._on_event.get(type(event))
        if act is not None:
            act(event, t)
        if not isinstance(event, _TOLD_OTHERWISE) and self._plugins is not None:
            self._plugins.event_seen(event)
            self._settle()

    def _cover(self, event: events.Event, seq: int) -> None:
        known = self.covers.get(event.source)
        if known is None or known.run != event.run or known.seq < seq:
            if known is None and len(self.covers) >= MAX_SOURCES:
                del self.covers[next(iter(self.covers))]
            self.covers[event.source] = Cover(run=event.run, seq=seq)

    def _heard(self, event: events.Event, t: int) -> None:
        assert isinstance(event, events.Heard)
        stream = self._periods.stream(event)
        period, ended = self._periods.place(stream, event.at_ms, t)
        if ended is not None:
            self._judge([(ended, True)])
            self._begin(period)
        call = read(event.text).sender
        row = None if call is None else self._stations.get(call)
        hearing, new = self._desk.hear(
            event,
            period,
            self.own,
            0 if row is None else row.copied,
            worked_before=call is not None and self.worked.is_worked(Dimension.CALL, call),
        )
        if new:
            row = self._stations.heard(hearing)
            if row is not None:
                self._exchanges.heard(row, hearing, self.own.call)
            period.hearings.append(hearing)
            period.fresh.append(hearing)
            if self._plugins is not None:
                self._plugins.annotate(hearing)
        self._judge(self._periods.after_heard(stream, period))

    def _period(self, event: events.Event, t: int) -> None:
        assert isinstance(event, events.Period)
        stream = self._periods.stream(event)
        period, ended = self._periods.place(stream, event.at_ms, t)
        if ended is not None:
            self._judge([(ended, True)])
        self._begin(period)
        self._judge(self._periods.marked(stream, period, event))

    def _begin(self, period: Period) -> None:
        """We cannot hear in a period in which we send."""
        period.sent = (period.start_ms, period.mode) in self._sent_in

    def _sent(self, event: events.Event, _t: int) -> None:
        assert isinstance(event, events.Sent)
        length_ms = period_ms(event.mode)
        start_ms = event.at_ms - event.at_ms % length_ms
        if not event.aborted:
            self._sent_in.add((start_ms, event.mode))
            if len(self._sent_in) > KEPT_CONTACTS:
                self._sent_in = {sent for sent in self._sent_in if sent[0] > start_ms - 3_600_000}
            self._exchanges.sent(read(event.text), start_ms)
        changes = {"power_w": event.power_w} if event.power_w is not None else {}
        self._tell_own(send_offset_hz=event.offset_hz, send_parity=start_ms // length_ms % 2, **changes)

    def _station(self, event: events.Event, _t: int) -> None:
        assert isinstance(event, events.Station)
        known = {
            "call": event.call.upper(),
            "operator": event.operator,
            "power_w": event.power_w,
            "antenna": event.antenna,
            "activations": tuple((a.programme, a.reference) for a in event.activations) or None,
            "locator": event.locator if event.locator and locator.is_locator(event.locator) else None,
        }
        self._tell_own(**{k: v for k, v in known.items() if v is not None})
        self._places.moved(self.own.locator)

    def _tuning(self, event: events.Event, _t: int) -> None:
        assert isinstance(event, events.Tuning)
        self._tell_own(
            dial_hz=event.dial_hz,
            mode=event.mode,
            send_parity=event.send_parity,
            send_offset_hz=event.send_offset_hz,
            calling=event.calling,
        )

    def _tell_own(self, **told: Any) -> None:
        self._told |= told
        self.own = msgspec.structs.replace(self.own, **told)

    def _contact(self, event: events.Event, _t: int) -> None:
        assert isinstance(event, events.Contact)
        call = event.call.upper()
        row = self._stations.get(call)
        self.candidate = contacts.build(
            event, self.own, None if row is None else row.locator, self._exchanges.with_us(call), self._clock.now_ms
        )

    def _outcome(self, outcome: Outcome) -> None:
        candidate, self.candidate = self.candidate, None
        if candidate is None or outcome.status != "stored":
            return
        contact = candidate.contact
        self.worked.add(
            facts(contact.call, contact.locator, contact.state, lookup(contact.call)),
            contact.band,
            contact.mode,
            contact.started_ms,
        )
        self._exchanges.logged(contact.call, self._clock.now_ms)
        self.contacts.append(contact)
        self.contacts_logged += 1
        if len(self.contacts) > KEPT_CONTACTS:
            del self.contacts[0]
        if self._plugins is not None:
            self._plugins.contact_logged(contact)
        self._settle()

    def _obey(self, reload: Reload) -> None:
        """Work by another configuration from here on; its plugins are the host's matter."""
        config = reload.settings
        rules = rules_of(config)
        self.hails.obey(rules.hails)
        self._periods.obey(rules.silence_ms, rules.grace_ms)
        self._log_unannounced = rules.log_unannounced
        self.own = msgspec.structs.replace(own_of(config), **self._told)
        self._places.moved(self.own.locator)

    def _act(self, act: Act) -> None:
        if act.act == "done" and act.key is not None:
            self.hails.done(act.key, self._clock.now_ms)
        elif act.act == "release" and act.key is not None:
            self.hails.release(act.key)
        elif act.act == "pause" and act.minutes is not None:
            self.hails.pause(act.minutes, self._clock.now_ms)
        elif act.act == "log" and act.call is not None:
            self._log(act.call)

    def _log(self, call: str) -> None:
        """Take an exchange that looks complete for a contact; nothing where there is none or it is in the log."""
        ours = self._exchanges.with_us(call)
        if ours is not None and self.looks_complete(call):
            self._contact(unannounced.contact_of(ours, self.own, self._clock.now_ms), 0)

    def _offer(self) -> None:
        """Offer what looks complete and was announced by nobody."""
        now_ms = self._clock.now_ms
        for ours in self._exchanges.ours.unannounced(now_ms - unannounced.OFFER_AFTER_MS):
            ours.offered = True
            if self._log_unannounced:
                self._to_log.append(ours.call)
            else:
                self.hails.hail(unannounced.hail_of(ours, now_ms))

    def _judge(self, due: Iterable[tuple[Period, bool]] | Iterator[tuple[Period, bool]]) -> None:
        for period, closes in due:
            self.judgements += 1
            if closes:
                self._exchanges.closed(period, self._clock.now_ms)
                self._offer()
            if self._plugins is not None:
                if period.fresh:
                    self._plugins.burst_judged(period)
                if closes:
                    self._plugins.period_closed(period)
            self._judged += period.fresh
            period.fresh = []
            self._settle()
            if closes:
                self._stations.forget(self._clock.now_ms)

    def _settle(self) -> None:
        self._hails_out += self.hails.settle(self._clock.now_ms)
