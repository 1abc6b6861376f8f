"""The link budget: decibels and powers, SNR scales, the chance of a decode, hops, and mismatch.

Hop geometry follows the equations of Recommendation ITU-R P.533 as its reference code uses them: mirror reflection
at a given height over a sphere of 6,371.009 km, no ray below 3°, no hop above 4,000 km.
"""

from __future__ import annotations

from math import asin, atan, ceil, cos, degrees, exp, inf, log10, pi, radians, sin, tan

from watchkeeper.radio.mode import timed

#: mean radius of the Earth, km (IUGG)
EARTH_RADIUS_KM = 6371.009
MINIMUM_ELEVATION_DEG = 3.0
LONGEST_HOP_KM = 4000.0
#: usual mirror heights of the layers, km (ITU-R P.533: 110 km for E)
E_LAYER_KM = 110.0
F2_LAYER_KM = 300.0
#: the bandwidth in which the timed modes state their SNR, Hz
REFERENCE_BANDWIDTH_HZ = 2500.0

#: width of the logistic decoding curve, dB: from 10 % to 90 % within 4.4 × this. With the fading of the short waves
#: the step is softer than the decoders' published curves in white noise (common practice, no source).
_CURVE_DB = 1.0


def ratio_to_db(ratio: float) -> float:
    """Return a power ratio in dB; zero gives minus infinity. Raises ValueError below zero."""
    if ratio < 0:
        raise ValueError(f"power ratio {ratio} is negative")
    return 10 * log10(ratio) if ratio else -inf


def db_to_ratio(level_db: float) -> float:
    """Return the power ratio of a level in dB."""
    return float(10 ** (level_db / 10))


def w_to_dbm(power_w: float) -> float:
    """Return a power in dBm (1 W = 30 dBm); zero gives minus infinity."""
    return ratio_to_db(power_w) + 30.0


def dbm_to_w(power_dbm: float) -> float:
    """Return a power in watts."""
    return db_to_ratio(power_dbm - 30.0)


def power_change_db(before_w: float, after_w: float) -> float:
    """Return by how many dB a change of power shifts every report. Raises ValueError unless both are positive."""
    if before_w <= 0 or after_w <= 0:
        raise ValueError(f"powers must be positive: {before_w} W, {after_w} W")
    return ratio_to_db(after_w / before_w)


def eirp_w(power_w: float, gain_dbi: float, line_loss_db: float = 0.0) -> float:
    """Return the power radiated in the main direction, relative to an isotropic antenna, in watts."""
    return power_w * db_to_ratio(gain_dbi - line_loss_db)


def snr_in(snr_db: float, bandwidth_hz: float, reference_hz: float = REFERENCE_BANDWIDTH_HZ) -> float:
    """Return the SNR in ``bandwidth_hz`` of a signal whose SNR is stated in ``reference_hz`` (white noise)."""
    return snr_db + ratio_to_db(reference_hz / bandwidth_hz)


def decode_probability(snr_db: float, mode: str) -> float:
    """Return the chance (0…1) that one transmission of ``mode`` decodes at ``snr_db`` in 2,500 Hz.

    The limit at one half is the published one (FT8: about −21 dB, QEX July/August 2020); the softness of the step
    around it is common practice, no source. Raises ValueError if ``mode`` is not a timed mode.
    """
    found = timed(mode)
    if found is None:
        raise ValueError(f"{mode!r} has no decoding limit here: it is not a timed mode")
    above = max(-60.0, min(60.0, (snr_db - found.limit_db) / _CURVE_DB))
    return 1.0 / (1.0 + exp(-above))


def hop_length_km(elevation_deg: float, height_km: float = F2_LAYER_KM) -> float:
    """Return the ground distance of one hop that leaves at ``elevation_deg`` and is mirrored at ``height_km``."""
    elevation = radians(elevation_deg)
    incidence = asin(EARTH_RADIUS_KM * cos(elevation) / (EARTH_RADIUS_KM + height_km))
    return 2 * EARTH_RADIUS_KM * (pi / 2 - incidence - elevation)


def hop_elevation_deg(hop_km: float, height_km: float = F2_LAYER_KM) -> float:
    """Return the angle at which a hop of ``hop_km`` leaves; negative: the Earth is in the way. Raises below zero."""
    if hop_km < 0:
        raise ValueError(f"hop length {hop_km} km is negative")
    if hop_km == 0:
        return 90.0
    half = hop_km / (2 * EARTH_RADIUS_KM)
    return degrees(atan(1 / tan(half) - EARTH_RADIUS_KM / (EARTH_RADIUS_KM + height_km) / sin(half)))


def hops(distance_km: float, height_km: float = F2_LAYER_KM) -> int:
    """Return the least number of equal hops over ``distance_km``: none below 3° elevation, none above 4,000 km.

    At least 1 for any distance, 0 for none. Raises ValueError for a negative distance.
    """
    if distance_km < 0:
        raise ValueError(f"distance {distance_km} km is negative")
    longest = min(LONGEST_HOP_KM, hop_length_km(MINIMUM_ELEVATION_DEG, height_km))
    return ceil(distance_km / longest)


def reflection_coefficient(swr: float) -> float:
    """Return the magnitude of the reflection coefficient (0…1). Raises ValueError for an SWR below 1."""
    if swr < 1:
        raise ValueError(f"SWR {swr} is below 1")
    return 1.0 if swr == inf else (swr - 1) / (swr + 1)


def reflected_fraction(swr: float) -> float:
    """Return the share of the forward power that comes back (0…1)."""
    return reflection_coefficient(swr) ** 2


def return_loss_db(swr: float) -> float:
    """Return the return loss in dB, positive; infinite at SWR 1."""
    return -ratio_to_db(reflected_fraction(swr))


def mismatch_loss_db(swr: float) -> float:
    """Return what reflection takes from the power delivered, in dB, positive; infinite at total reflection."""
    return -ratio_to_db(1 - reflected_fraction(swr))


def swr_from_powers(forward_w: float, reflected_w: float) -> float:
    """Return the SWR from both powers; infinite when all comes back.

    Raises ValueError unless the forward power is positive and the reflected one between zero and it.
    """
    if not 0 <= reflected_w <= forward_w or forward_w == 0:
        raise ValueError(f"reflected {reflected_w} W does not go with forward {forward_w} W")
    rho = (reflected_w / forward_w) ** 0.5
    return inf if rho == 1 else (1 + rho) / (1 - rho)
