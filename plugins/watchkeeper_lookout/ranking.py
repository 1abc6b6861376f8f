"""Whom to call: need × readiness × strength, each told in words.

The weights are our own (common practice has none): what is new for good counts most, what is rare before what is
common, and a station that is free now before one that has yet to finish.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from math import exp
from typing import NamedTuple

from watchkeeper.api import Dimension, Doing, Need, OnAir, Own, Scope, Urgency
from watchkeeper.radio import entity, link, mode
from watchkeeper.radio.message import matches_own
from watchkeeper_worked import WorkedNote, band_words, need_words

from .notes import LookoutNote

_SCOPE = {Scope.EVER: 1.0, Scope.BAND: 0.5, Scope.MODE: 0.35, Scope.BAND_MODE: 0.25, Scope.UNCONFIRMED: 0.15}
_DIMENSION = {
    Dimension.ENTITY: 1.0,
    Dimension.CONTINENT: 0.9,
    Dimension.CQ_ZONE: 0.8,
    Dimension.STATE: 0.6,
    Dimension.ITU_ZONE: 0.5,
    Dimension.LOCATOR: 0.35,
    Dimension.PREFIX: 0.3,
    Dimension.BASE: 0.2,
    Dimension.CALL: 0.1,
}
_READY = {
    Doing.CALLING: 1.0,
    Doing.FREE: 0.9,
    Doing.CLOSING: 0.6,
    Doing.UNKNOWN: 0.3,
    Doing.ANSWERING: 0.2,
    Doing.REPORTING: 0.2,
}
_WORDS = {
    Doing.CALLING: "calling",
    Doing.FREE: "free",
    Doing.CLOSING: "closing",
    Doing.UNKNOWN: "heard",
    Doing.ANSWERING: "answering",
    Doing.REPORTING: "in contact",
}
_TO_ME = {Doing.ANSWERING: "calling you", Doing.FREE: "done with you"}
#: of one that nobody told anything about: what a station usually sends with (common practice, no source)
_USUAL_W = 50.0
#: how far powers and noises differ: the scale of a logistic curve, 1.8 times it is the standard deviation (common
#: practice, no source)
_UNKNOWN_DB = 4.5
#: starting so late often still works (common practice, no source)
LATE_START_MS = 1000
#: turns after which a caller that was not heard again has gone
_CALLS_FOR = 6
#: readiness below which a station is not worth a row
_GONE = 0.02
_CONTINENTS = frozenset({"AF", "AN", "AS", "EU", "NA", "OC", "SA"})
#: a call to one's own states or provinces, in two letters that would else pass for another country's prefix
_WITH_STATES = frozenset({"K", "VE"})


class Ranked(NamedTuple):
    """One station with its rank: the higher ``score`` first. ``chance`` is a guess from strength and power alone."""

    station: OnAir
    score: float
    need: Need | None
    why: str
    chance: float | None
    ready: bool
    urgency: Urgency


def rank(stations: Iterable[OnAir], own: Own, now_ms: int) -> list[Ranked]:
    """The stations worth calling, the best first; whom it is no use to call is left out."""
    found = [ranked for station in stations if (ranked := _ranked(station, own, now_ms)) is not None]
    return sorted(found, key=lambda each: (-each.score, each.station.call))


def _ranked(station: OnAir, own: Own, now_ms: int) -> Ranked | None:
    hearing = station.best
    if hearing is None or not hearing.live or not (hearing.credibility.credible or station.copied > 1):
        return None
    if own.call is not None and matches_own(own.call, station.call):
        return None
    worked, lookout = hearing.note(WorkedNote), hearing.note(LookoutNote)
    if station.to_me and station.doing is not Doing.FREE and cycles_ago(station, now_ms) <= _CALLS_FOR:
        return _caller(station, worked, own)
    if excludes(station, own):
        return None
    duplicate = worked is not None and worked.duplicate
    if duplicate and lookout is None:
        return None
    value, need = need_value(worked)
    if lookout is not None:
        value = max(value, 0.25 * lookout.urgency)
    ready_by = readiness(station, now_ms)
    if ready_by < _GONE:
        return None
    chance = chance_of(station, own)
    score = value * ready_by * (0.2 + 0.8 * (0.5 if chance is None else chance))
    why = lookout.reasons[0] if lookout is not None else worked.why if worked is not None else "heard"
    ready = station.doing in (Doing.CALLING, Doing.FREE)
    urgency = lookout.urgency if lookout is not None else Urgency.NOTE if value >= 0.25 else Urgency.CALM
    return Ranked(station, score, need, why, chance, ready, urgency)


def _caller(station: OnAir, worked: WorkedNote | None, own: Own) -> Ranked:
    """Who calls me stands above all, and of several the one that has waited longest, by its need."""
    value, need = need_value(worked)
    why = "calls you" + (f", {need_words(need, station.band, station.mode)}" if need else "")
    return Ranked(station, 10.0 + value, need, why, chance_of(station, own), ready=True, urgency=Urgency.URGENT)


def need_value(worked: WorkedNote | None) -> tuple[float, Need | None]:
    """What a contact would be worth, 0 to about 1.5, and the need that makes most of it."""
    return (0.05, None) if worked is None else _worth(worked.needs)


@lru_cache(maxsize=4096)
def _worth(needs: tuple[Need, ...]) -> tuple[float, Need | None]:
    values = [(_SCOPE[need.scope] * _DIMENSION[need.dimension], need) for need in needs]
    if not values:
        return 0.02, None
    best, need = max(values, key=lambda each: each[0])
    return best + 0.1 * (sum(value for value, _ in values) - best), need


def readiness(station: OnAir, now_ms: int) -> float:
    """How likely the station listens for a call now, 0 to 1: what it does, and how long ago it was heard doing it."""
    return float(_READY[station.doing] * 0.6 ** cycles_ago(station, now_ms))


def act_by_ms(period_ms: int, mode_name: str, now_ms: int) -> int:
    """Until when a call still fits into the next period in which the station listens, which has the other parity."""
    length_ms = _period_ms(mode_name)
    until_ms = period_ms + length_ms + LATE_START_MS
    missed = max(0, -((until_ms - now_ms) // (2 * length_ms)))
    return until_ms + missed * 2 * length_ms


def cycles_ago(station: OnAir, now_ms: int) -> float:
    """How many turns (two periods each) the station has missed since it was last heard."""
    length_ms = _period_ms(station.mode)
    return max(0.0, (now_ms - station.last_ms - length_ms) / (2 * length_ms))


def chance_of(station: OnAir, own: Own) -> float | None:
    """The chance that it decodes us, by its strength here and our power alone; None in an untimed mode.

    The path loses as much either way, so what differs is power and noise, and of theirs we know nothing.
    """
    return _chance(station.mode, station.snr_db, own.power_w)


@lru_cache(maxsize=4096)
def _chance(mode_name: str, snr_db: float, power_w: float | None) -> float | None:
    timed = mode.timed(mode_name)
    if timed is None:
        return None
    expected_db = snr_db + (link.ratio_to_db(power_w / _USUAL_W) if power_w else 0.0)
    return 1 / (1 + exp(-(expected_db - timed.limit_db) / _UNKNOWN_DB))


def excludes(station: OnAir, own: Own) -> bool:
    """Whether a directed call is for others: another continent, another entity, or far stations while we are near."""
    word = station.directed_to
    if word is None or own.call is None or station.doing is not Doing.CALLING:
        return False
    mine, theirs = entity.lookup(own.call), station.placed
    if word == "DX":
        return theirs is not None and theirs.continent is not None and mine.continent == theirs.continent
    if word in _CONTINENTS:
        return mine.continent != word
    if theirs is not None and theirs.entity is not None and theirs.entity.prefix in _WITH_STATES and len(word) == 2:
        return mine.entity is None or mine.entity.prefix not in _WITH_STATES
    wanted = entity.prefix_entity(word)
    return wanted is not None and (mine.entity is None or mine.entity.code != wanted.code)


def doing_words(station: OnAir) -> str:
    """What the station does: ``calling DX``, ``in contact with W1QSB``."""
    words = _WORDS[station.doing]
    if station.to_me:
        return _TO_ME.get(station.doing, "with you")
    if station.doing is Doing.CALLING:
        return f"calling {station.directed_to}" if station.directed_to else "calling CQ"
    if station.partner and station.doing in (Doing.ANSWERING, Doing.REPORTING, Doing.CLOSING):
        return f"{words} {'with ' if station.doing is not Doing.ANSWERING else ''}{station.partner}"
    return words


def strength_words(snr_db: float) -> str:
    """The strength in words and dB: ``fair, −12 dB``."""
    for limit_db, word in ((-20, "very weak"), (-14, "weak"), (-6, "fair"), (4, "good")):
        if snr_db < limit_db:
            return f"{word}, {db_words(snr_db)}"
    return f"strong, {db_words(snr_db)}"


def db_words(level_db: float) -> str:
    """A level with a true minus sign: ``−12 dB``."""
    return f"{level_db:+.0f} dB".replace("-", "−")


def age_words(age_ms: int) -> str:
    """How old: ``now`` within a period of 15 s, else ``45 s``, ``3 min``."""
    seconds = max(0, age_ms) // 1000
    if seconds <= 15:
        return "now"
    return f"{seconds} s" if seconds < 120 else f"{seconds // 60} min"


def sentence(ranked: Ranked) -> str:
    """One plain sentence: ``first Chile for you on 20 m: CE3QRT, calling CQ, fair, −12 dB``."""
    station = ranked.station
    if ranked.why.startswith("calls you"):
        what = ", ".join((f"{station.call} {ranked.why}", strength_words(station.snr_db)))
        lacks = f"; still lacks {station.lacks[0]}" if station.lacks else ""
        return f"{what}, on {band_words(station.band)}{lacks}"
    return f"{ranked.why}: {station.call}, {doing_words(station)}, {strength_words(station.snr_db)}"


@lru_cache(maxsize=256)
def _period_ms(name: str) -> int:
    found = mode.timed(name)
    return round(found.period_s * 1000) if found else 15_000
