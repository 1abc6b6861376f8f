"""Whether a station takes a call now, until when one can act, and whether it would take ours."""

from __future__ import annotations

from functools import lru_cache
from math import exp

from watchkeeper.api import Doing, OnAir, Own
from watchkeeper.radio import link, mode

#: how likely each listens for a call (common practice, no source)
_READY = {
    Doing.CALLING: 1.0,
    Doing.FREE: 0.9,
    Doing.CLOSING: 0.3,
    Doing.UNKNOWN: 0.15,
    Doing.ANSWERING: 0.04,
    Doing.REPORTING: 0.12,
}
#: one that was never heard to call to all looks for others, and seldom takes a call itself
_SEARCHING = 0.25
_LEAVING = 0.1
_FADING = 0.6
#: what each turn in which it was not heard leaves of it, listened to or not
_MISSED = 0.55
_AGED = 0.85
#: of one that nobody told anything about: what a station usually sends with (common practice, no source)
_USUAL_W = 50.0
#: how far powers and noises differ: the scale of a logistic curve, 1.8 times it is the standard deviation (common
#: practice, no source)
_UNKNOWN_DB = 4.5
#: starting so late often still works (common practice, no source)
LATE_START_MS = 1000
#: how likely a station that copied our call and is free answers it at all
_ANSWERS = 0.5
#: rivals heard so recently still call
_RIVALS_MS = 75_000
#: at this level over there we beat every second rival, and so much more or less decides (common practice, no source)
_EVEN_DB, _DECIDES_DB = -9.0, 5.0
#: rivals that we do not hear stand beside a station that calls to all
_UNHEARD_RIVALS = 0.7
#: what each of its calls that nobody was heard to answer leaves of them
_UNANSWERED = 0.7


def readiness(station: OnAir, now_ms: int) -> float:
    """How likely the station listens for a call now, 0 to 1: what it does, and how long ago it was heard doing it."""
    ready = _READY[station.doing]
    if station.doing is Doing.FREE and station.called_ms is None:
        ready = _LEAVING if station.leaving else _SEARCHING
    elif station.called_ms is None and station.doing is not Doing.CALLING:
        ready *= _SEARCHING
    if station.fading:
        ready *= _FADING
    return float(ready * _MISSED**station.missed * _AGED ** cycles_ago(station, now_ms))


def copy_share(chance: float, tries: int) -> float:
    """The chance of a decode after so many calls in vain (Bayes): silence speaks against it, and not for sure."""
    silent = (1 - _ANSWERS) ** tries
    return chance * silent / (chance * silent + 1 - chance) if chance < 1 else 1.0


def answer_share(chance: float, expected_db: float, station: OnAir, now_ms: int) -> float:
    """The chance that it answers us rather than another who calls it too; ``chance``: that it decodes us."""
    rivals = len([at_ms for _, at_ms in station.rivals if at_ms >= now_ms - _RIVALS_MS])
    crowd = rivals + _UNHEARD_RIVALS * _UNANSWERED**station.calls_in_vain
    beats = 1 / (1 + exp(-(expected_db - _EVEN_DB) / _DECIDES_DB))
    return float(chance * beats**crowd)


def act_by_ms(period_ms: int, mode_name: str, now_ms: int) -> int:
    """Until when a call still fits into the next period in which the station listens, which has the other parity."""
    length_ms = length_ms_of(mode_name)
    until_ms = period_ms + length_ms + LATE_START_MS
    missed = max(0, -((until_ms - now_ms) // (2 * length_ms)))
    return until_ms + missed * 2 * length_ms


def cycles_ago(station: OnAir, now_ms: int) -> float:
    """How many turns (two periods each) the station has missed since it was last heard."""
    length_ms = length_ms_of(station.mode)
    return max(0.0, (now_ms - station.last_ms - length_ms) / (2 * length_ms))


@lru_cache(maxsize=4096)
def guess(mode_name: str, snr_db: float, power_w: float | None) -> tuple[float, float] | None:
    """(report to expect in dB, chance of a decode) by its strength here and our power alone; None in an untimed mode.

    The path loses as much either way, so what differs is power and noise, and of theirs we know nothing.
    """
    timed = mode.timed(mode_name)
    if timed is None:
        return None
    expected_db = snr_db + (link.ratio_to_db(power_w / _USUAL_W) if power_w else 0.0)
    return expected_db, 1 / (1 + exp(-(expected_db - timed.limit_db) / _UNKNOWN_DB))


def guess_of(station: OnAir, own: Own) -> tuple[float, float] | None:
    """As :func:`guess`, for a station on the air."""
    return guess(station.mode, station.snr_db, own.power_w)


@lru_cache(maxsize=256)
def length_ms_of(name: str) -> int:
    """The length of a period of a mode; 15 s where it has none."""
    found = mode.timed(name)
    return round(found.period_s * 1000) if found else 15_000
