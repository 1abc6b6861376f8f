"""What gauges tell of the transmitter: drive, power, match, heat and supply."""

from __future__ import annotations

from watchkeeper.api import Gauge
from watchkeeper.view import Urgency

from .detect import Latch, Usual
from .settings import VitalsConfig
from .trials import Trials
from .vital import Vital

#: what one reading alone says is not yet believed
_ONCE = ", read once"
_SWR_STEP = 0.2
_ALC_STEP = 0.05
#: a supply that falls by so much from one reading to the next lost charge or a cell, volts; a discharge is slower
_FALL_V = 0.25
_SUPPLY_SPREAD_V = 0.06


class Sending:
    """The transmitter's gauges. Readings of a matching trial tell how it stands, and hail nothing."""

    def __init__(self, config: VitalsConfig) -> None:
        self._config = config
        self._drive = Latch(up=2, down=1)
        self._sag = Latch(up=2, down=1)
        self._match = Latch(up=2, down=1)
        self._hot = Latch()
        self._fallen = Latch()
        self._usual_v = Usual(_SUPPLY_SPREAD_V, keep=9)
        self.found: dict[str, Vital] = {}
        self.trials = Trials()
        self.forward_w: float | None = None
        #: the last voltages, sending and not
        self.supply_v: dict[bool, float] = {}

    def sent(self, at_ms: int, seconds: float) -> None:
        """A message went out: what the gauges showed meanwhile was no matching trial."""
        for swr in self.trials.sent(at_ms, round(seconds * 1000)):
            self._read_match(swr)

    def read(self, gauge: Gauge, own_power_w: float | None) -> None:
        """Take in one set of readings. ``own_power_w`` is what the station usually sends with."""
        if gauge.heatsink_c is not None:
            self._read_heat(gauge.heatsink_c)
        sending = gauge.sending if gauge.sending is not None else bool(gauge.forward_w)
        if gauge.supply_v is not None:
            self.supply_v[sending] = gauge.supply_v
        if not sending:
            if gauge.supply_v is not None:
                self._read_supply(gauge.supply_v)
            self.trials.carrier_off()
            return
        if gauge.alc_fraction is not None:
            self._read_drive(gauge.alc_fraction)
        if gauge.swr is not None:
            if self.trials.read(gauge.at_ms, gauge.swr, gauge.forward_w, own_power_w or gauge.power_set_w):
                self._try_match(gauge.swr)
            else:
                self._read_match(gauge.swr)
        if gauge.forward_w is not None:
            self.forward_w = gauge.forward_w
            if gauge.power_set_w:
                self._read_power(gauge.forward_w, gauge.power_set_w)

    def _try_match(self, swr: float) -> None:
        """A reading of a matching trial: the operator is at it, and wants no hail."""
        high = self._config.swr_high
        if swr <= high:
            self._match = Latch(up=2, down=1)
            self._put(Vital("match", "Match", f"good, SWR {swr:.1f}", value=swr, low=1.0, high=high))
            return
        self._put(
            Vital(
                "match", "Match", f"SWR {swr:.1f} in this trial", Urgency.WANTED,
                f"The SWR is {swr:.1f} in this trial, above {high:.1f}.",
                "Carrier off, adjust, and send another short one at low power.", 0.98, swr, 1.0, high, hails=False,
            )
        )  # fmt: skip

    def _read_drive(self, alc: float) -> None:
        low, high = self._config.alc_low_fraction, self._config.alc_high_fraction
        poor = not low <= alc <= high
        on = self._drive.update(poor=poor, good=low <= alc <= high - _ALC_STEP)
        if not on and poor:
            self._put(Vital("drive", "Drive", f"ALC {alc:.0%}{_ONCE}", value=alc, low=low, high=high, known=False))
            return
        if not on:
            self._put(
                Vital(
                    "drive", "Drive", f"ALC {alc:.0%} of its scale, in your band", value=alc, low=low, high=high,
                    sentence="A normal ALC alone does not prove a clean signal.",
                )
            )  # fmt: skip
            return
        over = alc > high - _ALC_STEP
        side = "below" if not over else "above" if alc > high else "at the end of"
        self._put(
            Vital(
                "drive", "Drive", f"ALC {alc:.0%}, {side} your band", Urgency.WANTED,
                f"The ALC shows {alc:.0%} of its scale while sending, {side} your band of {low:.0%} to {high:.0%}"
                + (": overdriven audio makes a wide, dirty signal." if over else "."),
                "Turn the transmit audio " + ("down until the ALC hardly moves." if over else "up."),
                0.97, alc, low, high,
            )
        )  # fmt: skip

    def _read_match(self, swr: float) -> None:
        high = self._config.swr_high
        on = self._match.update(poor=swr > high, good=swr < high - _SWR_STEP)
        if not on:
            good = swr <= high
            text = f"good, SWR {swr:.1f}" if good else f"SWR {swr:.1f}{_ONCE}"
            self._put(Vital("match", "Match", text, value=swr, low=1.0, high=high, known=good))
            return
        self._put(
            Vital(
                "match", "Match", f"SWR {swr:.1f}", Urgency.URGENT if swr >= self._config.swr_stop else Urgency.WANTED,
                f"The SWR is {swr:.1f} while sending, {'above' if swr > high else 'and was above'} {high:.1f}: "
                "the antenna, its line or the weather changed.",
                "Stop sending, look at antenna, connectors and water in the line, then match again at low power.",
                0.98, swr, 1.0, high,
            )
        )  # fmt: skip

    def _read_power(self, forward_w: float, set_w: float) -> None:
        share = forward_w / set_w
        on = self._sag.update(poor=share < self._config.power_share, good=share > self._config.power_share + 0.1)
        if not on:
            good = share >= self._config.power_share
            text = f"{forward_w:.1f} W of {set_w:g} W{'' if good else _ONCE}"
            self._put(Vital("power", "Power", text, value=forward_w, high=set_w, known=good))
            return
        folded = self._match.on  # that is hailed already, and this follows from it
        self._put(
            Vital(
                "power", "Power", f"only {forward_w:.1f} W of {set_w:g} W",
                Urgency.CALM if folded else Urgency.WANTED,
                f"Only {forward_w:.1f} W of {set_w:g} W go out"
                + (": the radio protects itself from the high SWR." if folded else ": supply, heat or drive."),
                "Mend the match first." if folded else "Look at the supply's voltage under load, then at the drive.",
                0.9, forward_w, None, set_w,
            )
        )  # fmt: skip

    def _read_heat(self, heat_c: float) -> None:
        high = self._config.heatsink_high_c
        on = self._hot.update(poor=heat_c > high, good=heat_c < high - 5)
        text = f"{heat_c:.0f} °C"
        if not on:
            self._put(Vital("heat", "Heat", text, value=heat_c, high=high))
            return
        self._put(
            Vital(
                "heat", "Heat", f"hot, {text}", Urgency.WANTED,
                f"The heat sink has {heat_c:.0f} °C, above {high:.0f} °C: timed modes send a constant carrier.",
                "Halve the power or pause a few periods; let air to the fins.", 0.98, heat_c, None, high,
            )
        )  # fmt: skip

    def _read_supply(self, volts: float) -> None:
        usual_v = self._usual_v.value
        fall_v = 0.0 if usual_v is None else usual_v - volts
        on = self._fallen.update(poor=fall_v > _FALL_V, good=fall_v < _FALL_V / 2)
        if abs(fall_v) < _FALL_V / 2:
            self._usual_v.learn(volts)
        if not on:
            self._put(Vital("supply", "Supply", f"{volts:.1f} V while receiving", value=volts))
            return
        self._put(
            Vital(
                "supply", "Supply", f"fell to {volts:.1f} V", Urgency.WANTED,
                f"The supply fell from {usual_v:.1f} V to {volts:.1f} V at once while receiving: a cell, a connector, "
                "or a battery that holds far less than it should.",
                "Look at connectors and fuses; halve the power, and be ready for the radio to turn off.", 0.95, volts,
            )
        )  # fmt: skip

    def _put(self, vital: Vital) -> None:
        self.found[vital.key] = vital
