"""The own station's equipment: what its gauges read, how its battery empties, what its faults do to the receiver."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

from watchkeeper.rehearsal import rng
from watchkeeper.rehearsal.faults import Timeline
from watchkeeper.rehearsal.receiver import Condition
from watchkeeper.rehearsal.scenario import Own, Supply

Reading = float | bool
Readings = Mapping[str, Reading]

_FILTER_MIDDLE_HZ = 1500.0
_USUAL_SWR = 1.3
_USUAL_ALC = 0.35
#: a match that gets worse takes this long to do so
_SWR_RISE_S = 300.0
#: below this level of audio the decoder loses half a decibel a decibel
_QUIET_DBFS = -60.0
#: and above this two, because peaks are clipped
_LOUD_DBFS = -6.0
_JAMMED_HZ = (1180.0, 1300.0)
#: open-circuit voltage of four LiFePO4 cells by the share of charge left (shape after vendors' curves, from memory)
_CELL_CURVE = (
    (0.0, 10.0),
    (0.03, 11.6),
    (0.1, 12.6),
    (0.2, 12.9),
    (0.4, 13.1),
    (0.7, 13.2),
    (0.95, 13.35),
    (1.0, 13.6),
)
#: the radio turns itself off below this
RADIO_OFF_V = 11.0
#: and gives less power below this
_FULL_POWER_V = 12.2
#: a portable computer empties its own battery in about five hours
_HOST_PER_H = 0.19


@dataclass(slots=True)
class Battery:
    """A battery with its charge in ampere hours."""

    settings: Supply
    charge_ah: float

    def voltage(self, current_a: float) -> float:
        """Return the voltage under a load."""
        return _between(self.charge_ah / self.settings.capacity_ah) - self.settings.resistance_ohm * current_a

    def drain(self, current_a: float, seconds: float) -> None:
        """Take charge out."""
        self.charge_ah = max(0.0, self.charge_ah - current_a * seconds / 3600)


def _between(share: float) -> float:
    for (low, low_v), (high, high_v) in pairwise(_CELL_CURVE):
        if share <= high:
            return low_v + (high_v - low_v) * (share - low) / (high - low)
    return _CELL_CURVE[-1][1]


def _audio_loss_db(audio_dbfs: float) -> float:
    """Return what a decoder loses to audio that drowns in the converter's own noise, or that it clips."""
    return max(0.0, (_QUIET_DBFS - audio_dbfs) / 2, 2 * (audio_dbfs - _LOUD_DBFS))


class Shack:
    """The radio, its antenna, its supply and its clock."""

    def __init__(self, seed: int, own: Own, timeline: Timeline) -> None:
        self._own = own
        self._timeline = timeline
        self._random = rng.stream(seed, "gauges")
        supply = own.supply
        self.battery = Battery(supply, supply.capacity_ah * supply.charged) if supply else None
        self._heat_c = 24.0
        self._weakened = False
        self._hours = 0.0

    def clock_s(self, at_ms: int) -> float:
        """Return the error of the own clock: positive when it is ahead."""
        error_s = self._timeline.value("clock", at_ms, 0.0)
        drift = self._timeline.active("drift", at_ms)
        return error_s + (drift.value * self._timeline.age_s(drift, at_ms) / 3600 if drift else 0.0)

    def condition(self, at_ms: int) -> Condition:
        """Return the state of the receiver."""
        condition = Condition(clock_s=self.clock_s(at_ms))
        width = self._timeline.active("passband", at_ms)
        if width is not None:
            condition.low_hz = _FILTER_MIDDLE_HZ - width.value / 2
            condition.high_hz = _FILTER_MIDDLE_HZ + width.value / 2
        condition.audio_dbfs = self._timeline.value("audio", at_ms, condition.audio_dbfs)
        condition.loss_db = self._timeline.value("deaf", at_ms, 0.0) + _audio_loss_db(condition.audio_dbfs)
        condition.farewell_lost = self._timeline.active("farewell_lost", at_ms) is not None
        condition.noise_db = self._timeline.value("interference", at_ms, 0.0)
        if condition.noise_db > 0:
            condition.jammed_hz = _JAMMED_HZ
        return condition

    def period(self, at_ms: int, seconds: float, sending_s: float) -> None:
        """Let a period pass, ``sending_s`` of it on the air."""
        self._hours += seconds / 3600
        share = sending_s / seconds
        self._heat_c += (24.0 + 30.0 * share - self._heat_c) * min(1.0, seconds / 400.0)
        if self.battery is None:
            return
        weak = self._timeline.active("battery", at_ms)
        if weak is not None and not self._weakened:
            self._weakened = True
            self.battery.charge_ah *= weak.value
        supply = self.battery.settings
        self.battery.drain(supply.sending_a, sending_s)
        self.battery.drain(supply.receiving_a, seconds - sending_s)

    @property
    def dead(self) -> bool:
        """Whether the supply no longer keeps the radio on while it sends."""
        return self.battery is not None and self.battery.voltage(self.battery.settings.sending_a) < RADIO_OFF_V

    def sending(self, at_ms: int) -> Readings:
        """Return the gauges in the middle of a transmission."""
        swr = self._swr(at_ms)
        power_w = self._own.power_w * self._random.gauss(1.0, 0.015) * self._sag() * (1.0 if swr < 2.5 else 0.7)
        alc = self._timeline.value("alc", at_ms, _USUAL_ALC)
        return {
            "sending": True,
            "forward_w": round(power_w, 1),
            "power_set_w": self._own.power_w,
            "swr": round(max(1.0, swr + self._random.gauss(0, 0.03)), 2),
            "alc_fraction": round(max(0.0, alc + self._random.gauss(0, 0.03)), 2),
            "heatsink_c": round(self._heat_c, 1),
            **self._supply(sending=True),
        }

    def receiving(self, at_ms: int) -> Readings:
        """Return the gauges while receiving; the clock's error is known only where it is kept by a reference."""
        right = self._timeline.active("clock", at_ms) is None and self._timeline.active("drift", at_ms) is None
        clock: dict[str, Reading] = {"clock_synchronised": right}
        if right:
            clock["clock_error_s"] = round(self._random.gauss(0.0, 0.01), 3)
        if self.battery is not None:
            clock["host_battery_fraction"] = round(max(0.03, 0.97 - _HOST_PER_H * self._hours), 2)
        return {"sending": False, "heatsink_c": round(self._heat_c, 1), **clock, **self._supply(sending=False)}

    def _sag(self) -> float:
        """Return the share of its power that the radio still makes: it falls with the square of a low voltage."""
        if self.battery is None:
            return 1.0
        return min(1.0, (self.battery.voltage(self.battery.settings.sending_a) / _FULL_POWER_V) ** 2)

    def _swr(self, at_ms: int) -> float:
        fault = self._timeline.active("swr", at_ms)
        if fault is None:
            return _USUAL_SWR
        share = min(1.0, self._timeline.age_s(fault, at_ms) / _SWR_RISE_S)
        return _USUAL_SWR + (fault.value - _USUAL_SWR) * share

    def _supply(self, *, sending: bool) -> dict[str, Reading]:
        if self.battery is None:
            return {"supply_v": round(13.8 + self._random.gauss(0, 0.02), 2)}
        settings = self.battery.settings
        current_a = settings.sending_a if sending else settings.receiving_a
        return {
            "supply_v": round(max(0.0, self.battery.voltage(current_a) + self._random.gauss(0, 0.01)), 2),
            "supply_a": round(max(0.0, current_a + self._random.gauss(0, 0.03)), 2),
        }
