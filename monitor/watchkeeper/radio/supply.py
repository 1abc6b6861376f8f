"""How long a battery lasts: chemistries, Peukert's law, the duty of the timed modes, the radio's lowest voltage.

Charge is counted where the current is known. The voltage of lithium iron phosphate hardly moves between nearly full
and nearly empty, so it tells little.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from watchkeeper.radio.mode import timed

FUSE = "Fuse both leads of the supply close to the battery: a short circuit there melts wire and starts fires."
HEAT = "Timed modes send at full power for most of a period: halve the power where the radio gets too hot to touch."
_LEAD_CHARGING = (
    "Charge lead batteries where the gas can leave, away from sparks; below half their charge they age fast."
)
#: cautions for a battery, by chemistry (common practice, no source)
CHARGING = {
    "LiFePO4": "Charge LiFePO4 only with a charger made for it, at most 14.6 V for four cells, and never below 0 °C; "
    "leave its protection circuit in place.",
    "Li-ion": "Charge lithium ion only with a charger made for it, at most 4.2 V a cell, never below 0 °C and not "
    "unattended; leave its protection circuit in place.",
    "AGM": _LEAD_CHARGING,
    "flooded": _LEAD_CHARGING,
}


@dataclass(frozen=True, slots=True)
class Chemistry:
    """What a kind of cell does. Curves are pairs in rising order and read linearly between them."""

    name: str
    cell_v: float
    #: Peukert's exponent
    peukert: float
    #: share of the capacity that is planned with, for the sake of the battery's life
    usable: float
    #: internal resistance of a cell × its capacity, ohm·Ah (common practice, no source)
    ohm_ah: float
    #: open-circuit voltage of a cell by state of charge (common practice, no source)
    rest_v: tuple[tuple[float, float], ...]
    #: share of the rated capacity by temperature in °C
    by_temperature: tuple[tuple[float, float], ...]
    #: how far a cell's rest voltage may lie off the curve: makes, temperature, how long it rested (common practice, no
    #: source)
    doubt_v: float = 0.03


_LEAD_REST_V = ((0.0, 1.97), (0.25, 2.0), (0.5, 2.04), (0.75, 2.08), (1.0, 2.12))
#: common practice, no source
_LEAD_COLD = ((-20.0, 0.6), (0.0, 0.85), (25.0, 1.0))

#: Peukert exponents: middle of the ranges that trade pages give (flooded 1.20-1.30, gelled glass mat 1.05-1.15,
#: lithium about 1.05). LiFePO4: 3.2 V a cell, 80 % at 0 °C and 50 % at −20 °C from a maker's data sheet, 80 % usable
#: as the usual design figure. The rest is common practice, no source.
CHEMISTRIES: dict[str, Chemistry] = {
    chemistry.name: chemistry
    for chemistry in (
        Chemistry(
            "LiFePO4", 3.2, 1.05, 0.8, 0.12,
            ((0.0, 2.5), (0.1, 3.2), (0.2, 3.22), (0.5, 3.27), (0.9, 3.33), (1.0, 3.4)),
            ((-20.0, 0.5), (0.0, 0.8), (25.0, 1.0)), 0.04,
        ),
        Chemistry("AGM", 2.0, 1.10, 0.5, 0.05, _LEAD_REST_V, _LEAD_COLD),
        Chemistry("flooded", 2.0, 1.25, 0.5, 0.06, _LEAD_REST_V, _LEAD_COLD),
        Chemistry(
            "Li-ion", 3.6, 1.05, 0.8, 0.1,
            ((0.0, 3.0), (0.1, 3.45), (0.5, 3.7), (0.8, 3.95), (1.0, 4.2)),
            ((-20.0, 0.6), (0.0, 0.85), (25.0, 1.0)), 0.08,
        ),
    )
}  # fmt: skip

#: supply current of a radio at 13.8 V while sending, by output power: output watts, amperes. Radios differ by a third
#: either way (common practice, no source)
_SENDING_A = ((0.0, 0.8), (5.0, 3.2), (10.0, 5.0), (20.0, 7.0), (50.0, 12.0), (100.0, 20.0))
TYPICAL_RECEIVING_A = 1.0


@dataclass(frozen=True, slots=True)
class Battery:
    """A battery: capacity as the catalogue gives it (``rated_hours`` to empty), chemistry, cells in series."""

    capacity_ah: float
    chemistry: Chemistry
    cells: int = 4
    rated_hours: float = 20.0

    def __post_init__(self) -> None:
        if self.capacity_ah <= 0 or self.cells < 1 or self.rated_hours <= 0:
            raise ValueError(f"no battery: {self.capacity_ah} Ah, {self.cells} cells, {self.rated_hours} h")

    @property
    def nominal_v(self) -> float:
        """Nominal voltage of the whole battery."""
        return self.cells * self.chemistry.cell_v

    @property
    def resistance_ohm(self) -> float:
        """Typical internal resistance; measured readings tell better."""
        return self.cells * self.chemistry.ohm_ah / self.capacity_ah


@dataclass(frozen=True, slots=True)
class Load:
    """What the station draws: amperes listening and sending, and the share of time it sends."""

    receiving_a: float
    sending_a: float
    sending_share: float

    def __post_init__(self) -> None:
        if self.receiving_a < 0 or self.sending_a < 0 or not 0 <= self.sending_share <= 1:
            raise ValueError(f"no load: {self.receiving_a} A, {self.sending_a} A, share {self.sending_share}")

    @property
    def mean_a(self) -> float:
        """Average current."""
        return self.sending_share * self.sending_a + (1 - self.sending_share) * self.receiving_a


class Endurance(NamedTuple):
    """Time left in hours: likely, and the bounds of its uncertainty."""

    low_h: float
    likely_h: float
    high_h: float


def sending_share(mode: str, every: int = 2) -> float:
    """Return the share of time on the air when one of ``every`` periods is sent (FT8 alternating: 12.64 s of 30 s).

    Raises ValueError if ``mode`` is not timed or ``every`` is below 1.
    """
    found = timed(mode)
    if found is None or every < 1:
        raise ValueError(f"no duty for {mode!r} every {every} periods")
    return found.transmission_s / (every * found.period_s)


def typical_sending_a(power_w: float) -> float:
    """Return what a radio is likely to draw at ``power_w`` output, for want of a gauge; within about a third."""
    return _along(_SENDING_A, power_w)


def peukert_h(capacity_ah: float, current_a: float, exponent: float, rated_hours: float = 20.0) -> float:
    """Return the hours to empty by Peukert's law for a catalogue capacity: t = H·(C/(I·H))^k.

    This is the form for a capacity that is rated at so many hours.
    """
    return float(rated_hours * (capacity_ah / (current_a * rated_hours)) ** exponent)


def peukert_one_ampere_h(one_ampere_ah: float, current_a: float, exponent: float) -> float:
    """Return the hours to empty by Peukert's own form, t = C/I^k, where C is the capacity at a current of 1 A.

    A catalogue capacity does not belong here: a 20-hour rating put in gives far too short a time.
    """
    return float(one_ampere_ah / current_a**exponent)


def drain_per_h(battery: Battery, current_a: float) -> float:
    """Return the share of the capacity that ``current_a`` takes in an hour.

    Above the rated current Peukert's law counts; below it plain charge, for more than the rated capacity is not
    to be had.
    """
    if current_a * battery.rated_hours <= battery.capacity_ah:
        return current_a / battery.capacity_ah
    return 1 / peukert_h(battery.capacity_ah, current_a, battery.chemistry.peukert, battery.rated_hours)


def usable_fraction(
    battery: Battery,
    *,
    sending_a: float = 0.0,
    minimum_v: float | None = None,
    temperature_c: float = 25.0,
    measured_ohm: float | None = None,
) -> float:
    """Return the share of the rated capacity (0…1) that can be used.

    The planned depth of discharge or, where that is less, what the cold leaves of the capacity down to the state of
    charge at which the voltage under the sending current falls to ``minimum_v``, the radio's (or cut-off's) lowest. A
    measured resistance of battery and leads stands in for the typical one.
    """
    chemistry = battery.chemistry
    there = _along(chemistry.by_temperature, temperature_c)
    if minimum_v is not None:
        ohm = battery.resistance_ohm if measured_ohm is None else measured_ohm
        there *= 1.0 - _charge(chemistry, (minimum_v + sending_a * ohm) / battery.cells)
    return max(0.0, min(chemistry.usable, there))


def charge_bounds(battery: Battery, rest_v: float, temperature_c: float = 25.0) -> tuple[float, float]:
    """Return the least and the most charge (0…1) at which the battery's voltage at rest can be ``rest_v``.

    For lithium iron phosphate they lie far apart but near its ends; for lead and lithium ion they say more. What the
    cold keeps back is still in the battery.
    """
    chemistry = battery.chemistry
    there = _along(chemistry.by_temperature, temperature_c)
    cell_v = rest_v / battery.cells
    return (
        1 - there * (1 - _charge(chemistry, cell_v - chemistry.doubt_v)),
        1 - there * (1 - _charge(chemistry, cell_v + chemistry.doubt_v)),
    )


def full_rest_v(battery: Battery) -> float:
    """Return the voltage at rest of a full battery: what is above it comes from a charger, or has not settled yet."""
    return battery.cells * battery.chemistry.rest_v[-1][1]


def _charge(chemistry: Chemistry, cell_v: float) -> float:
    return _along(tuple((volts, charge) for charge, volts in chemistry.rest_v), cell_v)


def endurance_h(
    battery: Battery,
    load: Load,
    *,
    used_fraction: float = 0.0,
    minimum_v: float | None = None,
    temperature_c: float = 25.0,
    measured_ohm: float | None = None,
) -> float:
    """Return the hours left at this load when ``used_fraction`` of the rated capacity is gone; 0 at the end.

    Infinite for a load that draws nothing.
    """
    usable = usable_fraction(
        battery,
        sending_a=load.sending_a,
        minimum_v=minimum_v,
        temperature_c=temperature_c,
        measured_ohm=measured_ohm,
    )
    rate = load.sending_share * drain_per_h(battery, load.sending_a)
    rate += (1 - load.sending_share) * drain_per_h(battery, load.receiving_a)
    left = max(0.0, usable - used_fraction)
    return left / rate if rate else float("inf")


def with_interval(likely_h: float, *, capacity_spread: float, current_spread: float) -> Endurance:
    """Return the time left with its bounds, from the relative uncertainties of capacity and current.

    Take 0.05 for a current that is measured, 0.33 for one from the table (common practice, no source). The errors are
    independent of each other. A current that is a third less lasts half as long again, one that is a third more takes a
    quarter off.
    """
    spread = min(0.9, float(capacity_spread**2 + current_spread**2) ** 0.5)
    return Endurance(likely_h / (1 + spread), likely_h, likely_h / (1 - spread))


def charge_ah(readings: Iterable[tuple[int, float]], longest_gap_ms: int = 60_000) -> float:
    """Return the charge drawn in Ah from (milliseconds, amperes) in order of time.

    Each current holds until the next reading, for the current of a timed mode jumps; a reading older than
    ``longest_gap_ms`` counts for that long only.
    """
    total = 0.0
    for (start_ms, current_a), (end_ms, _) in pairwise(readings):
        total += current_a * min(end_ms - start_ms, longest_gap_ms)
    return total / 3_600_000


def resistance_ohm(light_v: float, light_a: float, heavy_v: float, heavy_a: float) -> float:
    """Return the resistance of battery and leads from two readings, listening and sending: the sag per ampere.

    Raises ValueError unless the second current is higher.
    """
    if heavy_a <= light_a:
        raise ValueError(f"sending current {heavy_a} A is not above listening current {light_a} A")
    return (light_v - heavy_v) / (heavy_a - light_a)


def energy_wh(supply_v: float, load: Load, hours: float) -> float:
    """Return the energy in Wh that the station draws; per contact with the hours that a contact takes."""
    return supply_v * load.mean_a * hours


def _along(curve: tuple[tuple[float, float], ...], x: float) -> float:
    """Read a rising table linearly; beyond its ends the end values hold."""
    if x <= curve[0][0]:
        return curve[0][1]
    for (left, low), (right, high) in pairwise(curve):
        if x <= right:
            return low + (high - low) * (x - left) / (right - left)
    return curve[-1][1]
