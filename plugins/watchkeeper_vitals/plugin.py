"""The plugin: takes in events and periods, judges the vitals at each close, hails what goes wrong once."""

from __future__ import annotations

from watchkeeper.api import (
    Check,
    Context,
    Event,
    Farewell,
    Gauge,
    Hail,
    Hearing,
    Period,
    Sent,
    Tuning,
    Urgency,
    hookimpl,
)
from watchkeeper.radio.mode import timed
from watchkeeper.view import Column, Gauges, Panel, Reading, Row, Table, View

from .checks import Evidence, checks
from .receiving import Receiving
from .sending import Sending
from .settings import VitalsConfig
from .shared import Shared
from .sources import Sources
from .vital import Vital

_MOST_RECEIVERS = 64
#: a receiver that was not listened to for so long says nothing about now
_OLD_MS = 300_000
_HOUR_MS = 3_600_000
_Key = tuple[str, int]


class Vitals:
    """Is the station right?"""

    name = "vitals"
    api = 1
    Config = VitalsConfig

    def __init__(self, config: VitalsConfig, context: Context) -> None:
        self._config = config
        self._context = context
        self._receivers: dict[_Key, Receiving] = {}
        self._tuned: dict[str, Tuning] = {}
        self._sending = Sending(config)
        self._sources = Sources(config)
        self._shared = Shared()
        self._sent: list[tuple[int, float]] = []
        self._vitals: dict[str, Vital] = {}
        self._clock_told: Gauge | None = None
        self._closed = 0
        self._views: tuple[View, ...] | None = None

    # -- evidence -----------------------------------------------------------------------------------------------------

    @hookimpl
    def event_seen(self, event: Event) -> None:
        """Gauges, tuning and transmissions."""
        self._sources.spoke(event.source, event.at_ms, farewell=isinstance(event, Farewell))
        if isinstance(event, Gauge):
            self._gauge(event)
        elif isinstance(event, Tuning):
            self._tuned.pop(event.source, None)
            self._tuned[event.source] = event
            if len(self._tuned) > _MOST_RECEIVERS:
                del self._tuned[next(iter(self._tuned))]
        elif isinstance(event, Sent) and not event.aborted:
            known = timed(event.mode)
            self._sent = [one for one in self._sent if one[0] > event.at_ms - _HOUR_MS]
            self._sent.append((event.at_ms, 0.0 if known is None else known.transmission_s))
            self._sending.sent()

    @hookimpl
    def annotate(self, hearing: Hearing) -> None:
        """Remember who had it. Puts no note on it."""
        self._shared.add(hearing)

    def _gauge(self, gauge: Gauge) -> None:
        self._sending.read(gauge)
        if gauge.clock_synchronised is not None or gauge.clock_error_s is not None:
            self._clock_told = gauge
        for vital in self._sending.found.values():
            self._put(vital)

    @hookimpl
    def period_closed(self, period: Period) -> None:
        """Judge the receiver and the sources."""
        self._closed += 1
        self._sources.spoke(period.source, period.end_ms)
        receiver = self._receiver(period)
        receiver.unsynchronised = self._clock_told is not None and self._clock_told.clock_synchronised is False
        receiver.close(period, self._shared.of(period))
        heard = {
            source: (period.band or "", one.count)
            for (source, dial_hz), one in self._receivers.items()
            if dial_hz == period.dial_hz and one.last_ms >= period.start_ms
        }
        found = [*receiver.vitals, self._gauged_clock(), self._duty(period.start_ms)]
        for vital in found:
            if vital is not None:
                self._put(vital)
        self._put(self._sources.judge(self._context.losses(), self._context.now_ms, period.length_ms, heard))

    def _receiver(self, period: Period) -> Receiving:
        key = (period.source, period.dial_hz)
        receiver = self._receivers.pop(key, None)
        if receiver is None or period.start_ms - receiver.last_ms > _OLD_MS:
            receiver = Receiving(self._config)
            receiver.last_ms = period.end_ms
        self._receivers[key] = receiver
        if len(self._receivers) > _MOST_RECEIVERS:
            del self._receivers[next(iter(self._receivers))]
        tuned = self._tuned.get(period.source)
        if tuned is not None and tuned.dial_hz == period.dial_hz:
            if tuned.search_low_hz is not None and tuned.search_high_hz is not None:
                receiver.width_hz = (tuned.search_low_hz, max(tuned.search_high_hz, tuned.search_low_hz + 500))
            if tuned.filter_low_hz is not None and tuned.filter_high_hz is not None:
                receiver.filter_hz = (tuned.filter_low_hz, tuned.filter_high_hz)
        return receiver

    def _gauged_clock(self) -> Vital | None:
        """The system's own word on its clock, where it tells an error."""
        told = self._clock_told
        if told is None or told.clock_error_s is None or abs(told.clock_error_s) <= self._config.clock_off_s:
            return None
        return Vital(
            "clock",
            "Clock",
            f"{told.clock_error_s:+.1f} s off",
            Urgency.WANTED,
            f"The computer says that its clock is {told.clock_error_s:+.1f} s off.",
            "Set the computer's clock from a time server or a satellite receiver.",
            0.95,
            told.clock_error_s,
        )

    def _duty(self, now_ms: int) -> Vital | None:
        if not self._sent:
            return None
        span_s = min(3600.0, max(60.0, (now_ms - self._sent[0][0]) / 1000))
        share = min(1.0, sum(seconds for at_ms, seconds in self._sent if at_ms > now_ms - _HOUR_MS) / span_s)
        return Vital("duty", "Duty", f"sending {share:.0%} of the last {span_s / 60:.0f} min", value=round(share, 3))

    # -- judging ------------------------------------------------------------------------------------------------------

    def _put(self, vital: Vital) -> None:
        """Take in how a vital stands; what has become wrong, or worse, is hailed once."""
        before = self._vitals.get(vital.key)
        if vital == before:
            return
        self._vitals[vital.key] = vital
        self._views = None
        if vital.wrong and (before is None or vital.level > before.level):
            self._context.hail(
                Hail(
                    key=f"vitals|{vital.key}",
                    urgency=vital.level,
                    sentence=f"{vital.label}: {vital.sentence}",
                    rule="vitals",
                    at_ms=self._context.now_ms,
                    reasons=tuple(filter(None, (vital.remedy, f"{vital.confidence:.0%} sure"))),
                )
            )

    # -- showing ------------------------------------------------------------------------------------------------------

    @hookimpl
    def preflight(self) -> list[Check]:
        """The station's checks; the core adds its own."""
        return checks(self._evidence())

    def _evidence(self) -> Evidence:
        return Evidence(
            self._context.own,
            dict(self._vitals),
            self._closed,
            sum(one.count for one in self._receivers.values()),
            self._sending.forward_w,
            self._sending.supply_v,
            tuple(self._sending.trials),
            self._sending.best,
            self._config.sheet,
            next(reversed(self._tuned.values()), None),
        )

    @hookimpl
    def views(self) -> tuple[View, ...]:
        """The readings in words; before the first period the preflight."""
        if self._views is None or not self._closed:
            self._views = (self._gauges(),) if self._closed else (self._guide(),)
        return self._views

    def _gauges(self) -> Gauges:
        order = sorted(self._vitals.values(), key=lambda vital: -vital.level)
        return Gauges(
            name="vitals.station",
            panel=Panel.VITALS,
            title="Is the station right",
            rank=10,
            missing=None if "match" in self._vitals else "`gauge` events, for drive, match, heat and supply",
            readings=tuple(map(_reading, order)),
        )

    def _guide(self) -> Table:
        found = self.preflight()
        return Table(
            name="vitals.preflight",
            panel=Panel.VITALS,
            title="Before the first call",
            rank=10,
            columns=(
                Column(key="state", title="state", keep=1),
                Column(key="check", title="check", keep=1),
                Column(key="evidence", title="evidence", keep=2),
            ),
            rows=tuple(
                Row(key=check.key, cells=(check.state.value, check.label, check.evidence), sentence=check.remedy)
                for check in found
            ),
        )


def _reading(vital: Vital) -> Reading:
    sentence = vital.sentence
    if vital.wrong and vital.remedy is not None:
        sentence = f"{vital.sentence} {vital.remedy} ({vital.confidence:.0%} sure)"
    return Reading(
        key=vital.key,
        label=vital.label,
        text=vital.text,
        value=vital.value,
        low=vital.low,
        high=vital.high,
        urgency=vital.level,
        sentence=sentence,
    )
