"""External radio noise after Recommendation ITU-R P.372: medians and deciles of man-made and galactic noise.

F_am = c − d·log10(f/MHz) in dB above kT₀b, with the constants of the Recommendation as the ITU-R Study Group 3
reference code holds them. Atmospheric noise is left out: it depends on place, season and hour.
"""

from __future__ import annotations

from math import log10
from typing import Literal, NamedTuple

Environment = Literal["city", "residential", "rural", "quiet rural", "galactic"]

#: thermal noise density kT₀ as the Recommendation rounds it, dBm/Hz
THERMAL_DBM_PER_HZ = -174.0


class Noise(NamedTuple):
    """Constants of one environment: F_am = c − d·log10(f/MHz), upper and lower decile deviations in dB."""

    c: float
    d: float
    upper_decile_db: float
    lower_decile_db: float


ENVIRONMENTS: dict[Environment, Noise] = {
    "city": Noise(76.8, 27.7, 11.0, 6.7),
    "residential": Noise(72.5, 27.7, 10.6, 5.3),
    "rural": Noise(67.2, 27.7, 9.2, 4.6),
    "quiet rural": Noise(53.6, 28.6, 9.2, 4.6),
    "galactic": Noise(52.0, 23.0, 2.0, 2.0),
}


def median_db(environment: Environment, frequency_hz: float) -> float:
    """Return the median noise figure F_am in dB above kT₀b.

    The Recommendation gives man-made noise for 0.3 to 250 MHz (quiet rural: to 30 MHz) and galactic noise for
    frequencies that pass the ionosphere. Raises ValueError for a frequency that is not positive.
    """
    if frequency_hz <= 0:
        raise ValueError(f"frequency {frequency_hz} Hz is not positive")
    constants = ENVIRONMENTS[environment]
    return constants.c - constants.d * log10(frequency_hz / 1e6)


def power_dbm(environment: Environment, frequency_hz: float, bandwidth_hz: float = 2500.0) -> float:
    """Return the median noise power in dBm that a lossless antenna delivers in ``bandwidth_hz``."""
    return median_db(environment, frequency_hz) + THERMAL_DBM_PER_HZ + 10 * log10(bandwidth_hz)


def difference_db(here: Environment, there: Environment, frequency_hz: float) -> float:
    """Return by how many dB it is noisier here than there: with equal powers I am heard there so much better."""
    return median_db(here, frequency_hz) - median_db(there, frequency_hz)


def spread_db(environment: Environment) -> float:
    """Return the standard deviation in dB of the noise over time, from the decile range of a normal distribution."""
    constants = ENVIRONMENTS[environment]
    return (constants.upper_decile_db + constants.lower_decile_db) / (2 * 1.2816)
