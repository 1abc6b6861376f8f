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
    Reception,
    Sent,
    Tuning,
    Urgency,
    hookimpl,
)
from watchkeeper.radio.mode import timed
from watchkeeper.view import Column, Gauges, Panel, Reading, Row, Table, View, minus

from .beside import Around
from .checks import Evidence, checks
from .detect import Latch
from .receivers import Receivers
from .sending import Sending
from .settings import VitalsConfig
from .shared import Shared
from .sources import Sources
from .vital import Vital

#: sources whose tuning is remembered
_MOST_SOURCES = 64
_HOUR_MS = 3_600_000
#: the duty of so long a time tells, and it clears so far below its bound
_DUTY_S = 600.0
_DUTY_STEP = 0.1
#: the source whose receiver a vital is of, none for the station's own, and the vital's key
_Place = tuple[str | None, str]


class Vitals:
    """Is the station right?"""

    name = "vitals"
    api = 1
    Config = VitalsConfig

    def __init__(self, config: VitalsConfig, context: Context) -> None:
        self._config = config
        self._context = context
        self._receivers = Receivers(config)
        self._tuned: dict[str, Tuning] = {}
        self._sending = Sending(config)
        self._sources = Sources(config)
        self._shared = Shared()
        self._around = Around()
        self._sent: list[tuple[int, float]] = []
        self._busy = Latch()
        self._vitals: dict[_Place, Vital] = {}
        #: the faults raised of which nobody knows yet that they went out, and the source that their hails name
        self._raised: dict[_Place, str | None] = {}
        self._clock_told: Gauge | None = None
        self._closed = 0
        self._views: tuple[View, ...] | None = None

    # -- evidence -----------------------------------------------------------------------------------------------------

    @hookimpl
    def event_seen(self, event: Event) -> None:
        """Gauges, tuning and transmissions."""
        self._sources.spoke(event.source, event.at_ms, farewell=isinstance(event, Farewell))
        if isinstance(event, Farewell):
            self._receivers.forget(event.source)
        self._fade()
        if isinstance(event, Gauge):
            self._gauge(event)
        elif isinstance(event, Tuning):
            self._tuned.pop(event.source, None)
            self._tuned[event.source] = event
            if len(self._tuned) > _MOST_SOURCES:
                del self._tuned[next(iter(self._tuned))]
        elif isinstance(event, Sent) and not event.aborted:
            known = timed(event.mode)
            self._sent = [one for one in self._sent if one[0] > event.at_ms - _HOUR_MS]
            self._sent.append((event.at_ms, 0.0 if known is None else known.transmission_s))
            self._sending.sent(event.at_ms, self._sent[-1][1])
            self._put_sending()
        elif isinstance(event, Reception):
            self._around.reported(event, self._context.own.call)

    @hookimpl
    def annotate(self, hearing: Hearing) -> None:
        """Remember who had it. Puts no note on it."""
        self._shared.add(hearing)

    def _gauge(self, gauge: Gauge) -> None:
        self._sending.read(gauge, self._context.own.power_w)
        if gauge.clock_synchronised is not None or gauge.clock_error_s is not None:
            self._clock_told = gauge
        self._put_sending()

    def _put_sending(self) -> None:
        for vital in self._sending.found.values():
            self._put(None, vital)

    @hookimpl
    def period_closed(self, period: Period) -> None:
        """Judge the receiver and the sources."""
        self._closed += 1
        held_back = self._held_back()
        self._sources.spoke(period.source, period.end_ms)
        receiver = self._receivers.of(period, self._tuned.get(period.source))
        receiver.unsynchronised = self._clock_told is not None and self._clock_told.clock_synchronised is False
        others, elsewhere = self._receivers.elsewhere(period)
        beside = self._around.beside(period, self._context.own.locator, others, elsewhere)
        receiver.close(period, self._shared.of(period), beside)
        self._receivers.closed(period, self._context.now_ms)
        self._fade()
        for vital in self._receivers.worst(period):
            self._put(period.source, self._gauged(vital) if vital.key == "clock" else vital)
        duty = self._duty(period.end_ms)
        if duty is not None:
            self._put(None, duty)
        heard = self._receivers.heard(period)
        self._put(None, self._sources.judge(self._context.losses(), self._context.now_ms, period.length_ms, heard))
        for place in held_back:
            self._raise_again(place)

    def _gauged(self, clock: Vital) -> Vital:
        """The clock as the air tells, and where the air tells nothing, or nothing wrong, by the computer's own word."""
        told = self._clock_told
        if told is None or clock.wrong:
            return clock
        error_s = told.clock_error_s
        if error_s is not None and abs(error_s) > self._config.clock_off_s:
            off = minus(f"{error_s:+.1f} s off")
            return Vital(
                "clock",
                "Clock",
                off,
                Urgency.WANTED,
                f"The computer says that its clock is {off}.",
                "Set the computer's clock from a time server or a satellite receiver.",
                0.95,
                error_s,
            )
        if not clock.known and told.clock_synchronised is True:
            return Vital("clock", "Clock", "synchronised, by the computer's word", value=error_s)
        return clock

    def _duty(self, now_ms: int) -> Vital | None:
        if not self._sent:
            return None
        span_s = min(3600.0, max(60.0, (now_ms - self._sent[0][0]) / 1000))
        share = min(1.0, sum(seconds for at_ms, seconds in self._sent if at_ms > now_ms - _HOUR_MS) / span_s)
        high = self._config.duty_high
        minutes = f"{span_s / 60:.0f} min"
        long = span_s >= _DUTY_S
        if not self._busy.update(poor=long and share > high, good=share < high - _DUTY_STEP):
            return Vital("duty", "Duty", f"sending {share:.0%} of the last {minutes}", value=round(share, 3), high=high)
        return Vital(
            "duty",
            "Duty",
            f"sending {share:.0%} of the last {minutes}",
            Urgency.WANTED,
            f"You sent {share:.0%} of the last {minutes}, with a constant carrier all the while: radio and supply get "
            "hot, and you hear nobody meanwhile.",
            "Pause a few periods, or send every other period at most; halve the power.",
            0.99,
            round(share, 3),
            None,
            high,
        )

    # -- judging ------------------------------------------------------------------------------------------------------

    def _put(self, source: str | None, vital: Vital) -> None:
        """Take in how a vital stands; what has become wrong, or worse, is hailed once."""
        place = (source, vital.key)
        before = self._vitals.get(place)
        if vital == before:
            return
        self._vitals[place] = vital
        self._views = None
        hailed = before is not None and before.hails and vital.level <= before.level
        if not vital.wrong or not vital.hails or hailed:
            return
        several = source is not None and len({one for one, _ in self._vitals if one is not None}) > 1
        self._raised[place] = source if several else None
        self._hail(vital, self._raised[place])

    def _held_back(self) -> list[_Place]:
        """The faults whose hails did not go out when they were raised."""
        for (whose, key), source in list(self._raised.items()):
            if self._context.why_silent(_matter(key, source)) is None:
                del self._raised[whose, key]
        return list(self._raised)

    def _raise_again(self, place: _Place) -> None:
        """A fault that still stands goes out as soon as it may, and one that is over not at all."""
        vital = self._vitals.get(place)
        if vital is None or not vital.wrong or not vital.hails:
            self._raised.pop(place, None)
        else:
            self._hail(vital, self._raised[place])

    def _hail(self, vital: Vital, source: str | None) -> None:
        """Raise a fault, with the name of its source where several listen."""
        self._context.hail(
            Hail(
                key=_matter(vital.key, source),
                urgency=vital.level,
                sentence=f"{vital.label}{'' if source is None else f' of {source}'}: {vital.advice}",
                rule="vitals",
                at_ms=self._context.now_ms,
                own_station=True,
            )
        )

    def _fade(self) -> None:
        """What was found of a source stands for as long as the source is listened to."""
        self._receivers.fade(self._context.now_ms)
        sources = self._receivers.sources
        gone = [(source, key) for source, key in self._vitals if source is not None and source not in sources]
        for place in gone:
            del self._vitals[place]
            self._views = None

    def _stand(self) -> dict[str, Vital]:
        """The worst of each vital among all receivers; where several listen, it says whose it is."""
        found: dict[str, Vital] = {}
        several = len({source for source, _ in self._vitals if source is not None}) > 1
        for (source, key), vital in self._vitals.items():
            best = found.get(key)
            if best is None or (vital.level, vital.known) > (best.level, best.known):
                named = several and source is not None and vital.wrong
                found[key] = vital._replace(text=f"{source}: {vital.text}") if named else vital
        return found

    # -- showing ------------------------------------------------------------------------------------------------------

    @hookimpl
    def preflight(self) -> list[Check]:
        """The station's checks; the core adds its own."""
        return checks(self._evidence())

    def _evidence(self) -> Evidence:
        listening = self._receivers.listening()
        return Evidence(
            self._context.own,
            self._stand(),
            self._closed,
            sum(one.count for one in listening),
            next((level for one in reversed(listening) if (level := one.noise_dbfs_hz) is not None), None),
            self._sending.supply_v,
            self._sending.trials.all,
            self._sending.trials.best,
            self._config,
            next(reversed(self._tuned.values()), None),
        )

    @hookimpl
    def views(self) -> tuple[View, ...]:
        """The readings in words; before the first period the preflight."""
        if self._views is None or not self._closed:
            self._views = (self._gauges(),) if self._closed else (self._guide(),)
        return self._views

    def _gauges(self) -> Gauges:
        standing = self._stand()
        order = sorted(standing.values(), key=lambda vital: -vital.level)
        return Gauges(
            name="vitals.station",
            panel=Panel.VITALS,
            title="Is the station right",
            rank=10,
            missing=None if "match" in standing else "`gauge` events, for drive, match, heat and supply",
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


def _matter(key: str, source: str | None) -> str:
    """The key of a vital's hails."""
    return f"vitals|{key}" if source is None else f"vitals|{key}|{source}"


def _reading(vital: Vital) -> Reading:
    return Reading(
        key=vital.key,
        label=vital.label,
        text=vital.text,
        value=vital.value,
        low=vital.low,
        high=vital.high,
        urgency=vital.level,
        sentence=vital.advice if vital.wrong else vital.sentence,
    )
