"""What a decoder makes of a signal: the chance of a decode, and what lateness and neighbours do to it.

The curve is that of ``radio.link`` (published limit in 2,500 Hz). A transmission that starts more than about 2.5 s off
its time is not found at all (common practice, no source). Two signals whose tones overlap disturb each other; a decoder
that works in passes takes a decoded signal away and tries again, with a remainder left.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import exp, log10

#: softness of the decoding curve in dB, as in ``radio.link``
CURVE_DB = 1.0
FIRST_LOST_S = 2.0
ALL_LOST_S = 2.5
#: how far a decoded signal goes down when it is taken away
SUBTRACTED_DB = 25.0
_STRONG_DB = 5.0
_REFERENCE_HZ = 2500.0


def chance(snr_db: float, limit_db: float) -> float:
    """Return the chance (0…1) that a transmission decodes at ``snr_db`` where one half of them does at ``limit_db``."""
    return 1.0 / (1.0 + exp(-max(-40.0, min(40.0, (snr_db - limit_db) / CURVE_DB))))


def reported_db(snr_db: float) -> float:
    """Return what a decoder makes of an SNR: the strong ones raise the noise for themselves (plausible, no source)."""
    return snr_db if snr_db < _STRONG_DB else _STRONG_DB + 0.6 * (snr_db - _STRONG_DB)


def in_time(late_s: float) -> float:
    """Return the share of decodes that survives a start ``late_s`` off its time: all within 2 s, none beyond 2.5 s."""
    return max(0.0, min(1.0, (ALL_LOST_S - abs(late_s)) / (ALL_LOST_S - FIRST_LOST_S)))


def disturbed_db(signals: Sequence[tuple[float, float]], width_hz: float) -> list[float]:
    """Return the SNR of each signal (offset in Hz, SNR in dB) in the noise and its neighbours, the offsets rising.

    A neighbour counts by how far it overlaps. The stronger one is taken to be decoded first and to leave a remainder.
    """
    spread_db = 10 * log10(_REFERENCE_HZ / width_hz)
    effective: list[float] = []
    for at, (offset_hz, snr_db) in enumerate(signals):
        rise = 1.0
        for step in (-1, 1):
            other = at + step
            while 0 <= other < len(signals) and abs(signals[other][0] - offset_hz) < width_hz:
                overlap = 1 - abs(signals[other][0] - offset_hz) / width_hz
                level_db = signals[other][1] + spread_db
                if signals[other][1] > snr_db:
                    level_db -= SUBTRACTED_DB
                rise += overlap * 10 ** (level_db / 10)
                other += step
        effective.append(snr_db - 10 * log10(rise))
    return effective
