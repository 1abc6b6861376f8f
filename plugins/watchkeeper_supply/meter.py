"""Counts charge, current and duty from gauges and transmissions."""

from __future__ import annotations

from collections import deque
from statistics import median

from watchkeeper.radio.supply import (
    TYPICAL_RECEIVING_A,
    Battery,
    Load,
    charge_bounds,
    drain_per_h,
    full_rest_v,
    resistance_ohm,
    typical_sending_a,
)

from .settings import SupplyConfig

_KEPT = 15
_HOUR_MS = 3_600_000
#: readings that make a voltage
_RESTED = 3
#: a smaller step of the current tells no resistance; with a higher resistance no radio would run
_LEAST_STEP_A = 0.5
_MOST_OHM = 1.0
#: the duty is that of the transmissions of this long
_DUTY_MS = 1_200_000
#: after charging, the voltage is above that of rest for so long (common practice, no source)
_SURFACE_CHARGE_MS = 7_200_000


class Meter:
    """What is known of current, duty and charge. Times are event time in ms."""

    def __init__(self, config: SupplyConfig) -> None:
        self._battery: Battery | None = config.battery
        self._temperature_c = config.temperature_c
        self._told = {False: config.receiving_a, True: config.sending_a}
        self._amperes: dict[bool, deque[float]] = {False: deque(maxlen=_KEPT), True: deque(maxlen=_KEPT)}
        self._volts: dict[bool, deque[float]] = {False: deque(maxlen=_KEPT), True: deque(maxlen=_KEPT)}
        self._sent: deque[tuple[int, float]] = deque(maxlen=1000)
        self._to_ms: int | None = None
        self._began_ms: int | None = None
        self._charged_ms: int | None = None
        self.power_w: float | None = None
        self.used_fraction = 1.0 - config.charged
        self.used_ah = 0.0
        self.used_wh = 0.0

    # -- evidence -----------------------------------------------------------------------------------------------------

    def sent(self, at_ms: int, seconds: float) -> None:
        """One own transmission."""
        self.pass_time(at_ms)
        self._sent.append((at_ms, seconds))
        self._drain(self.current_a(sending=True) - self.current_a(sending=False), seconds)

    def read(self, at_ms: int, *, sending: bool, volts: float | None, amperes: float | None) -> None:
        """One set of readings. A current that flows into the battery counts as none drawn."""
        if self._is_charging(volts, amperes):
            self._charged_ms = at_ms
        if volts is not None:
            self._volts[sending].append(volts)
        if amperes is not None:
            self._amperes[sending].append(max(0.0, amperes))
        if volts is not None and not sending:
            self._hold_to_voltage(at_ms)

    def _is_charging(self, volts: float | None, amperes: float | None) -> bool:
        """Whether a current flows in; where none is told, a voltage that no battery has at rest betrays a charger."""
        if amperes is not None and amperes < 0:
            return True
        return self._battery is not None and volts is not None and volts > full_rest_v(self._battery)

    def _hold_to_voltage(self, now_ms: int) -> None:
        """Where the voltage while receiving rules out the charge that was counted, go to the nearest that it allows.

        So a battery that was not as full as told, or holds less than its label says, is found out in time. A charger's
        voltage, and that of the charge on the plates' surface afterwards, says nothing of how much is in it.
        """
        rest_v = self.volts(sending=False)
        if self._battery is None or rest_v is None or len(self._volts[False]) < _RESTED:
            return
        ohm = self.resistance()
        rest_v += self.current_a(sending=False) * (self._battery.resistance_ohm if ohm is None else ohm)
        least, most = charge_bounds(self._battery, rest_v, self._temperature_c)
        self.used_fraction = max(1.0 - most, self.used_fraction)
        rested = self._charged_ms is None or now_ms - self._charged_ms > _SURFACE_CHARGE_MS
        if rested and rest_v <= full_rest_v(self._battery):
            self.used_fraction = min(1.0 - least, self.used_fraction)

    def pass_time(self, now_ms: int) -> None:
        """Take out what listening drew since the last call; a gap in the record counts for an hour at most."""
        if self._began_ms is None:
            self._began_ms = self._to_ms = now_ms
        assert self._to_ms is not None
        if now_ms > self._to_ms:
            self._drain(self.current_a(sending=False), min(now_ms - self._to_ms, _HOUR_MS) / 1000)
            self._to_ms = now_ms
        while self._sent and self._sent[0][0] < now_ms - _DUTY_MS:
            self._sent.popleft()

    def _drain(self, amperes: float, seconds: float) -> None:
        """Charge flows at the rate of the law for its current: a heavy one takes more of the capacity."""
        hours = seconds / 3600
        self.used_ah += amperes * hours
        self.used_wh += amperes * hours * (self.volts(sending=False) or 0.0)
        if self._battery is not None:
            base = self.current_a(sending=False)
            if amperes == base:
                share = drain_per_h(self._battery, base)
            else:
                share = drain_per_h(self._battery, base + amperes) - drain_per_h(self._battery, base)
            self.used_fraction = min(1.0, self.used_fraction + share * hours)

    # -- answers ------------------------------------------------------------------------------------------------------

    def measured(self, *, sending: bool) -> bool:
        """Whether a gauge tells that current."""
        return bool(self._amperes[sending])

    def current_a(self, *, sending: bool) -> float:
        """The current: as the gauges tell, as the operator says, or as is typical for the power."""
        if self._amperes[sending]:
            return median(self._amperes[sending])
        told = self._told[sending]
        if told is not None:
            return told
        return typical_sending_a(self.power_w or 10.0) if sending else TYPICAL_RECEIVING_A

    def volts(self, *, sending: bool) -> float | None:
        """The voltage under that load, of the last readings."""
        return median(list(self._volts[sending])[-3:]) if self._volts[sending] else None

    def resistance(self) -> float | None:
        """Resistance of battery and leads, where both loads were read."""
        light_v, heavy_v = self.volts(sending=False), self.volts(sending=True)
        if light_v is None or heavy_v is None or not (self.measured(sending=True) and self.measured(sending=False)):
            return None
        light_a, heavy_a = self.current_a(sending=False), self.current_a(sending=True)
        if heavy_a - light_a < _LEAST_STEP_A:
            return None
        ohm = resistance_ohm(light_v, light_a, heavy_v, heavy_a)
        return ohm if 0 < ohm < _MOST_OHM else None

    def duty(self, now_ms: int) -> float:
        """Share of the last minutes that was sent."""
        if self._began_ms is None:
            return 0.0
        span_s = max(30.0, min(_DUTY_MS, now_ms - self._began_ms) / 1000)
        return min(1.0, sum(seconds for _, seconds in self._sent) / span_s)

    def load(self, share: float) -> Load:
        """The load at a share of sending."""
        return Load(self.current_a(sending=False), self.current_a(sending=True), min(1.0, share))
