"""Exposure of people to the station's radio-frequency field: limits, average power, safe distances.

Two sets of limits: 47 CFR 1.1310 of the FCC, and ICNIRP 2020 (Health Physics 118:483-524). Distances follow the
equations of FCC OET Bulletin 65 and its Supplement B for amateur stations.

The equations hold in the main direction of the antenna and in its far field. Nearer than about λ/2π the true field
can be higher or lower; metal nearby, low or indoor antennas and several transmitters at once need a closer look. No
distance here makes it safe to touch an antenna: contact burns and high voltage come on top. The computed distance is a
help for the operator's own assessment: the rules of the country and the licence decide.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from typing import Literal, NamedTuple

from watchkeeper.radio.link import db_to_ratio

Rules = Literal["FCC", "ICNIRP"]
#: ``general``: the public, uncontrolled; ``controlled``: people who know and can act, occupational
Population = Literal["general", "controlled"]
Extent = Literal["whole body", "local"]

#: impedance of free space, ohms
_FREE_SPACE_OHM = 376.73
_LIGHT_M_PER_S = 299_792_458.0
#: reflection from the ground strengthens the field 1.6 times (OET Bulletin 65, after the EPA)
GROUND_REFLECTION = 1.6**2
#: power of a half-wave dipole's main direction over an isotropic antenna
_DIPOLE = 1.64

#: average over peak envelope power while sending (OET Bulletin 65 Supplement B; two values for processed speech
#: circulate, the higher is taken). The timed modes have a constant envelope.
MODE_DUTY = {"SSB": 0.20, "SSB processed": 0.50, "CW": 0.40, "FM": 1.0, "DATA": 1.0}


class Limit(NamedTuple):
    """Reference levels; None where the rules give no such level at that frequency."""

    e_v_per_m: float | None
    h_a_per_m: float | None
    s_w_per_m2: float | None
    averaging_min: float

    @property
    def plane_wave_w_per_m2(self) -> float:
        """Power density of the far field that meets the strictest of the levels."""
        densities = [self.s_w_per_m2]
        if self.s_w_per_m2 is None:
            densities = [
                None if self.e_v_per_m is None else self.e_v_per_m**2 / _FREE_SPACE_OHM,
                None if self.h_a_per_m is None else self.h_a_per_m**2 * _FREE_SPACE_OHM,
            ]
        return min(density for density in densities if density is not None)


@dataclass(frozen=True, slots=True)
class Distances:
    """Least distances in metres from the antenna at which the limits are met, in its main direction."""

    general_m: float
    controlled_m: float
    #: from here on the far-field equations hold (λ/2π)
    far_field_m: float


def fcc_limit(frequency_hz: float, population: Population) -> Limit:
    """Return the maximum permissible exposure of 47 CFR 1.1310, 0.3 MHz to 100 GHz.

    Below 300 MHz the power density is the equivalent of a plane wave where the rules say so. Raises ValueError outside.
    """
    f = frequency_hz / 1e6
    if not 0.3 <= f <= 100_000:
        raise ValueError(f"47 CFR 1.1310 has no limit at {f:g} MHz")
    return _fcc_general(f) if population == "general" else _fcc_controlled(f)


def _fcc_controlled(f: float) -> Limit:
    if f < 3.0:
        return Limit(614.0, 1.63, 1000.0, 6)
    if f < 30.0:
        return Limit(1842 / f, 4.89 / f, 9000 / f**2, 6)
    if f < 300.0:
        return Limit(61.4, 0.163, 10.0, 6)
    return Limit(None, None, f / 30 if f < 1500.0 else 50.0, 6)


def _fcc_general(f: float) -> Limit:
    if f < 1.34:
        return Limit(614.0, 1.63, 1000.0, 30)
    if f < 30.0:
        return Limit(824 / f, 2.19 / f, 1800 / f**2, 30)
    if f < 300.0:
        return Limit(27.5, 0.073, 2.0, 30)
    return Limit(None, None, f / 150 if f < 1500.0 else 10.0, 30)


class _Icnirp(NamedTuple):
    """Constants of one column of the tables, by ranges of frequency; f in MHz, densities in W/m²."""

    #: to 30 MHz: E = e/f^0.7 and H = h/f
    low_e: float
    low_h: float
    #: to 400 MHz
    e_v_per_m: float
    h_a_per_m: float
    s_w_per_m2: float
    #: to 2 GHz: S = s·f^exponent
    high_s: float
    exponent: float
    #: to 6 GHz
    highest_s: float
    averaging_min: float


_ICNIRP: dict[tuple[Extent, Population], _Icnirp] = {
    # the whole-body rows, and all above 400 MHz, are from memory; the ranges join where they meet
    ("local", "controlled"): _Icnirp(1504, 10.8, 139, 0.36, 50, 0.29, 0.86, 200, 6),
    ("local", "general"): _Icnirp(671, 4.9, 62, 0.163, 10, 0.058, 0.86, 40, 6),
    ("whole body", "controlled"): _Icnirp(660, 4.9, 61, 0.16, 10, 1 / 40, 1.0, 50, 30),
    ("whole body", "general"): _Icnirp(300, 2.2, 27.7, 0.073, 2, 1 / 200, 1.0, 10, 30),
}


def icnirp_limit(frequency_hz: float, population: Population, extent: Extent = "whole body") -> Limit:
    """Return the reference levels of ICNIRP 2020, 0.1 MHz to 6 GHz. Below 30 MHz neither E nor H may be exceeded.

    Raises ValueError outside that range.
    """
    f = frequency_hz / 1e6
    if not 0.1 <= f <= 6000:
        raise ValueError(f"the ICNIRP levels here hold from 0.1 to 6000 MHz, not at {f:g} MHz")
    row = _ICNIRP[extent, population]
    if f <= 30.0:
        return Limit(row.low_e / f**0.7, row.low_h / f, None, row.averaging_min)
    if f <= 400.0:
        return Limit(row.e_v_per_m, row.h_a_per_m, row.s_w_per_m2, row.averaging_min)
    density = row.high_s * f**row.exponent if f <= 2000.0 else row.highest_s
    return Limit(None, None, density, row.averaging_min)


def sending_share(on_min: float, off_min: float, window_min: float) -> float:
    """Return the largest share of any averaging window that a regular pattern of sending and listening fills (0…1).

    Alternating 15 s periods fill close to one half of every window whatever its place.
    """
    if on_min <= 0 or off_min < 0 or window_min <= 0:
        raise ValueError(f"no pattern: {on_min} min on, {off_min} min off, window {window_min} min")
    cycles, rest = divmod(window_min, on_min + off_min)
    return (cycles * on_min + min(rest, on_min)) / window_min


def average_power_w(pep_w: float, mode_duty: float, share: float) -> float:
    """Return the average power: peak envelope power × duty factor of the mode × share of the averaging window."""
    if pep_w < 0 or not 0 <= mode_duty <= 1 or not 0 <= share <= 1:
        raise ValueError(f"power {pep_w} W, duty {mode_duty} or share {share} is out of range")
    return pep_w * mode_duty * share


def power_density_w_per_m2(eirp_w: float, distance_m: float, *, ground_reflection: bool = True) -> float:
    """Return the power density in the main direction, S = k·EIRP/(4πR²), k = 2.56 with ground reflection, else 1."""
    if distance_m <= 0:
        raise ValueError(f"distance {distance_m} m is not positive")
    factor = GROUND_REFLECTION if ground_reflection else 1.0
    return factor * eirp_w / (4 * pi * distance_m**2)


def distance_m(eirp_w: float, limit_w_per_m2: float, *, ground_reflection: bool = True) -> float:
    """Return the distance at which the power density falls to the limit; the inverse of the function above."""
    factor = GROUND_REFLECTION if ground_reflection else 1.0
    return float((factor * eirp_w / (4 * pi * limit_w_per_m2)) ** 0.5)


def far_field_m(frequency_hz: float) -> float:
    """Return λ/2π in metres: the reactive near field lies inside."""
    return _LIGHT_M_PER_S / frequency_hz / (2 * pi)


def distances(
    average_w: float, gain_dbi: float, frequency_hz: float, *, rules: Rules = "FCC", ground_reflection: bool = True
) -> Distances:
    """Return the distances for an average power at the antenna and a gain over isotropic.

    With ICNIRP the stricter of whole-body and local levels counts; both are applied to the same average power, which
    is on the safe side if it was averaged over six minutes.
    """
    eirp_w = average_w * db_to_ratio(gain_dbi)
    return Distances(
        _least_m(eirp_w, _limits(rules, frequency_hz, "general"), ground_reflection=ground_reflection),
        _least_m(eirp_w, _limits(rules, frequency_hz, "controlled"), ground_reflection=ground_reflection),
        far_field_m(frequency_hz),
    )


def _least_m(eirp_w: float, limits: list[Limit], *, ground_reflection: bool) -> float:
    strictest = min(limit.plane_wave_w_per_m2 for limit in limits)
    return distance_m(eirp_w, strictest, ground_reflection=ground_reflection)


def _limits(rules: Rules, frequency_hz: float, population: Population) -> list[Limit]:
    if rules == "FCC":
        return [fcc_limit(frequency_hz, population)]
    return [icnirp_limit(frequency_hz, population, extent) for extent in ("whole body", "local")]


def erp_w(eirp_w: float) -> float:
    """Return the power radiated relative to a half-wave dipole."""
    return eirp_w / _DIPOLE


def exempt_erp_w(separation_m: float, frequency_hz: float) -> float | None:
    """Return the ERP in watts up to which 47 CFR 1.1307(b)(3)(i)(C) asks for no evaluation at ``separation_m``.

    None if nobody may use the formula: nearer than λ/2π, or outside 0.3 MHz to 100 GHz.
    """
    f = frequency_hz / 1e6
    if not 0.3 <= f <= 100_000 or separation_m < far_field_m(frequency_hz):
        return None
    if f < 1.34:
        factor = 1920.0
    elif f < 30.0:
        factor = 3450 / f**2
    elif f < 300.0:
        factor = 3.83
    else:
        factor = 0.0128 * f if f < 1500.0 else 19.2
    return factor * separation_m**2
