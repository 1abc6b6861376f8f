"""The plugin: what is left in the battery, how long it lasts, and a hail before it ends."""

from __future__ import annotations

from collections import deque

from watchkeeper.api import (
    Check,
    CheckState,
    Contact,
    Context,
    Event,
    Gauge,
    Hail,
    Period,
    Sent,
    Station,
    Urgency,
    hookimpl,
)
from watchkeeper.radio.mode import timed
from watchkeeper.radio.supply import (
    CHARGING,
    FUSE,
    HEAT,
    Battery,
    Endurance,
    endurance_h,
    sending_share,
    with_interval,
)
from watchkeeper.view import Gauges, Line, Panel, Reading, Series, View

from .host_battery import HostBattery
from .meter import Meter
from .settings import SupplyConfig

#: points of the curve, and how far they lie apart
_POINTS = 360
_APART_MS = 60_000
#: relative uncertainties: of a battery's capacity; of a current that is measured, and of one from the table
_CAPACITY = 0.10
_MEASURED, _TABLE = 0.05, 0.33
#: volts above the radio's lowest at which its voltage under load is near the end
_NEAR_V = 0.3
#: what to do, by what is wrong
_REMEDIES = {
    "left": "Lower the power, send less often, or change the battery.",
    "volts": "Lower the power, shorten the leads, or change the battery.",
    "host": "Plug it in, or dim its screen.",
}


class Supply:
    """How long does it last?"""

    name = "supply"
    api = 1
    Config = SupplyConfig

    def __init__(self, config: SupplyConfig, context: Context) -> None:
        self._config = config
        self._context = context
        self._battery = config.battery
        self._meter = Meter(config)
        self._mode = "FT8"
        self._contacts = 0
        self._host = HostBattery()
        self._volts: deque[tuple[int, float | None]] = deque(maxlen=_POINTS)
        self._left: deque[tuple[int, float | None]] = deque(maxlen=_POINTS)
        self._warned: set[str] = set()
        self._views: tuple[View, ...] | None = None

    # -- evidence -----------------------------------------------------------------------------------------------------

    @hookimpl
    def event_seen(self, event: Event) -> None:
        """Gauges and transmissions."""
        if isinstance(event, Gauge):
            sending = event.sending if event.sending is not None else bool(event.forward_w)
            self._meter.read(event.at_ms, sending=sending, volts=event.supply_v, amperes=event.supply_a)
            if event.host_battery_fraction is not None:
                self._host.take(event.at_ms, event.host_battery_fraction)
            self._judge()
        elif isinstance(event, Sent) and not event.aborted:
            known = timed(event.mode)
            self._mode = event.mode
            self._meter.power_w = event.power_w or self._context.own.power_w
            self._meter.sent(event.at_ms, 0.0 if known is None else known.transmission_s)
        elif isinstance(event, Station):
            self._meter.power_w = event.power_w or self._meter.power_w

    @hookimpl
    def contact_logged(self, contact: Contact) -> None:
        """One more contact shares the energy."""
        self._contacts += 1

    @hookimpl
    def period_closed(self, period: Period) -> None:
        """Time has passed."""
        now_ms = self._context.now_ms
        if self._meter.power_w is None:
            self._meter.power_w = self._context.own.power_w
        self._meter.pass_time(now_ms)
        self._judge()
        if not self._left or now_ms - self._left[-1][0] >= _APART_MS:
            self._volts.append((now_ms, self._meter.volts(sending=False)))
            left = self.left()
            self._left.append((now_ms, None if left is None else round(left.likely_h, 2)))

    # -- answers ------------------------------------------------------------------------------------------------------

    def left(self, share: float | None = None) -> Endurance | None:
        """Hours left at a share of sending, the present one if absent; None without a battery."""
        if self._battery is None:
            return None
        load = self._meter.load(self._meter.duty(self._context.now_ms) if share is None else share)
        likely_h = endurance_h(
            self._battery,
            load,
            used_fraction=self._meter.used_fraction,
            minimum_v=self._config.minimum_v,
            temperature_c=self._config.temperature_c,
            measured_ohm=self._meter.resistance(),
        )
        measured = self._meter.measured(sending=load.sending_share > 0)
        return with_interval(likely_h, capacity_spread=_CAPACITY, current_spread=_MEASURED if measured else _TABLE)

    def _alternating(self) -> float:
        return sending_share(self._mode) if timed(self._mode) else 0.5

    def _judge(self) -> None:
        self._views = None
        left = self.left()
        minutes = None if left is None else left.likely_h * 60
        short = minutes is not None and minutes < self._config.warn_min
        self._tell("left", short, f"The battery lasts about {minutes or 0:.0f} min more at your present duty.")
        loaded_v = self._meter.volts(sending=True)
        near = loaded_v is not None and loaded_v < self._config.minimum_v + _NEAR_V
        self._tell(
            "volts",
            near,
            f"Only {loaded_v or 0:.1f} V while sending: the radio turns off at {self._config.minimum_v:.1f} V.",
        )
        self._tell("host", self._host_low(), f"The computer's own battery is down to {self._host_words()}.")

    def _host_low(self) -> bool:
        left_h, fraction = self._host.left_h(), self._host.fraction
        short = left_h is not None and left_h * 60 < self._config.warn_min
        return fraction is not None and (short or fraction < self._config.host_warn_fraction)

    def _host_words(self) -> str:
        left_h = self._host.left_h()
        return f"{self._host.fraction or 0:.0%}" + ("" if left_h is None else f", about {_time(left_h)} more")

    def _tell(self, key: str, wrong: bool, sentence: str) -> None:
        matter = f"supply|{key}"
        if not wrong:
            self._warned.discard(key)
        elif key not in self._warned or self._context.why_silent(matter) is not None:
            self._warned.add(key)
            self._context.hail(
                Hail(
                    key=matter,
                    urgency=Urgency.URGENT,
                    sentence=f"{sentence} {_REMEDIES[key]}",
                    rule="supply",
                    at_ms=self._context.now_ms,
                    own_station=True,
                )
            )

    # -- showing ------------------------------------------------------------------------------------------------------

    @hookimpl
    def preflight(self) -> list[Check]:
        """Whether the battery is known and lasts an hour."""
        left = self.left(self._alternating())
        if left is None:
            return []
        good = left.likely_h >= 1
        return [
            Check(
                key="battery",
                label="Battery",
                state=CheckState.GOOD if good else CheckState.POOR,
                evidence=f"{_hours(left)} if you call every other period",
                remedy=None if good else "Charge it, or set `charged` under [plugins.supply] if it is full.",
                rank=41,
            )
        ]

    @hookimpl
    def views(self) -> tuple[View, ...]:
        """Readings, and the curve of the battery; nothing where nothing is known of a supply."""
        if self._views is None:
            readings = tuple(self._readings())
            gauges = Gauges(
                name="supply.battery",
                panel=Panel.VITALS,
                title="Supply",
                rank=20,
                missing=self._missing(),
                readings=readings,
            )
            self._views = (gauges, *self._curve()) if readings else ()
        return self._views

    def _missing(self) -> str | None:
        if self._battery is None:
            return "the battery's capacity under [plugins.supply], for the time that is left"
        if not self._meter.measured(sending=True):
            return "the current while sending (`gauge` events), for a closer estimate"
        return None

    def _readings(self) -> list[Reading]:
        found: list[Reading] = []
        left = self.left()
        if self._battery is not None and left is not None:
            found += self._time_left(self._battery, left)
        idle_v, loaded_v = self._meter.volts(sending=False), self._meter.volts(sending=True)
        volts = idle_v if idle_v is not None else loaded_v
        if volts is not None:
            sag = f", {loaded_v:.1f} V sending" if loaded_v is not None else ""
            ohm = self._meter.resistance()
            wire = f" ({ohm * 1000:.0f} mΩ with the leads)" if ohm is not None else ""
            near = loaded_v is not None and loaded_v < self._config.minimum_v + _NEAR_V
            found.append(
                Reading(
                    key="volts",
                    label="Voltage",
                    text=f"{volts:.1f} V{sag}{wire}",
                    value=round(volts, 2),
                    low=self._config.minimum_v,
                    urgency=Urgency.URGENT if near else Urgency.CALM,
                    sentence=f"The radio turns off at {self._config.minimum_v:.1f} V." if near else None,
                )
            )
        if self._host.fraction is not None:
            found.append(
                Reading(
                    key="host",
                    label="Computer",
                    text=f"battery at {self._host_words()}",
                    value=self._host.fraction,
                    low=self._config.host_warn_fraction,
                    high=1.0,
                    urgency=Urgency.URGENT if self._host_low() else Urgency.CALM,
                )
            )
        return found

    def _time_left(self, battery: Battery, left: Endurance) -> list[Reading]:
        short = left.likely_h * 60 < self._config.warn_min
        duty = self._meter.duty(self._context.now_ms)
        now = Reading(
            key="left",
            label="Time left",
            text=f"{_hours(left)} at your duty of {duty:.0%}",
            value=round(left.likely_h, 3),
            low=self._config.warn_min / 60,
            urgency=Urgency.URGENT if short else Urgency.CALM,
        )
        alternating = self.left(self._alternating())
        assert alternating is not None
        deep = self._meter.used_fraction > self._config.planned_depth
        aging = f"Beyond {self._config.planned_depth:.0%} used the battery ages faster. " if deep else ""
        found = [
            now,
            Reading(
                key="alternating",
                label="If you call every other period",
                text=_hours(alternating),
                value=round(alternating.likely_h, 3),
            ),
            Reading(
                key="charge",
                label="Charge",
                text=f"{self._meter.used_ah:.1f} Ah used, {1 - self._meter.used_fraction:.0%} of "
                f"{battery.capacity_ah:g} Ah left",
                value=round(1 - self._meter.used_fraction, 3),
                low=round(1 - self._config.planned_depth, 3),
                high=1.0,
                sentence=f"{aging}{FUSE} {CHARGING[battery.chemistry.name]} {HEAT}",
            ),
        ]
        if self._contacts:
            used_wh = self._meter.used_wh or self._meter.used_ah * 12.8
            found.append(
                Reading(key="energy", label="Energy", text=f"{used_wh / self._contacts:.1f} Wh for each contact")
            )
        return found

    def _curve(self) -> list[View]:
        curves = [
            ("supply.volts", "Voltage while receiving", "V", self._volts),
            ("supply.left", "Time left", "h", self._left),
        ]
        return [
            Series(
                name=name,
                panel=Panel.VITALS,
                title=title,
                rank=21,
                unit=unit,
                lines=(Line(label=title, points=tuple(points)),),
            )
            for name, title, unit, points in curves
            if any(value is not None for _, value in points)
        ]


def _hours(left: Endurance) -> str:
    """``2 h 40 min (2 h 10 min to 3 h 10 min)``."""
    if left.likely_h > 99:
        return "more than 99 h"
    return f"{_time(left.likely_h)} ({_time(left.low_h)} to {_time(left.high_h)})"


def _time(hours: float) -> str:
    minutes = round(hours * 60)
    if minutes < 60:
        return f"{minutes} min"
    return f"{minutes // 60} h" if minutes % 60 == 0 else f"{minutes // 60} h {minutes % 60} min"
