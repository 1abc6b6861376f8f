"""Whom to call: need × chance × readiness, each told in words."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import msgspec

from watchkeeper.api import Context, Doing, Need, OnAir, Urgency, WorkedIndex
from watchkeeper.radio import band as bands
from watchkeeper.radio.band import words as band_words
from watchkeeper.radio.message import matches_own
from watchkeeper_reach import ReachNote
from watchkeeper_worked import WorkedNote, need_words

from . import directed
from .goals import GoalsConfig
from .notes import LookoutNote
from .readiness import (
    LATE_START_MS,
    act_by_ms,
    answer_share,
    copy_share,
    cycles_ago,
    guess_of,
    length_ms_of,
    readiness,
)
from .weights import NOTHING_NEW, Weights, is_base_worked, still_needed, worth
from .words import db_words, ready_words, strength_words, time_words

#: what a rule's urgency makes a station worth at least, a level
_BY_RULE = 0.25
#: turns after which a caller on a band that was left is left with it
_LEFT_CYCLES = 2
#: readiness below which a station is not worth a row, and above which it takes a call now
_GONE = 0.01
_READY = 0.5
#: who calls us stands above all others
_CALLS_ME = 10.0
#: chance taken where the mode has none
_EVEN = 0.5
#: stations whose standing in the log is remembered
_KEPT = 20_000


class Ranked(msgspec.Struct, frozen=True):
    """One station with its rank: the higher ``score`` first.

    ``chance`` is of a decode, our calls in vain counted; None in an untimed mode.
    """

    station: OnAir
    score: float
    value: float
    need: Need | None
    why: str
    chance: float | None
    expected_db: float | None
    evidence: str
    ready_by: float
    ready: bool
    urgency: Urgency


class _Standing(NamedTuple):
    """What a station's note comes to with the log as it is now."""

    note: WorkedNote
    duplicate: bool
    needs: tuple[Need, ...]
    value: float
    need: Need | None
    why: str


class Ranker:
    """Ranks stations by the log, the reach and the clock of a context."""

    def __init__(self, weights: Weights, goals: GoalsConfig, context: Context) -> None:
        self._weights = weights
        self._goals = goals
        self._context = context
        self._index: tuple[WorkedIndex, int] | None = None
        self._standings: dict[str, _Standing] = {}
        #: during a judgement: the ranks so far, and when it was
        self._known: dict[str, Ranked | None] | None = None
        self._judged_ms = 0

    def begin(self) -> None:
        """A judgement begins: until it ends nothing changes, so that nobody needs to be ranked twice."""
        self._known, self._judged_ms = {}, self._context.now_ms

    def end(self) -> None:
        """The judgement is over."""
        self._known = None

    def rank(self, stations: Iterable[OnAir]) -> list[Ranked]:
        """The stations worth calling, the best first; whom it is no use to call is left out."""
        now_ms = self._context.now_ms
        found = [ranked for station in stations if (ranked := self._place(station, now_ms)) is not None]
        return sorted(found, key=lambda each: (-each.score, each.station.call))

    def score(self, station: OnAir) -> float:
        """The score of one station; 0 where it is no use to call it."""
        ranked = self._place(station, self._context.now_ms)
        return 0.0 if ranked is None else ranked.score

    def _place(self, station: OnAir, now_ms: int) -> Ranked | None:
        known = self._known
        if known is None or now_ms != self._judged_ms:
            return self._ranked(station, now_ms)
        if station.call not in known:
            known[station.call] = self._ranked(station, now_ms)
        return known[station.call]

    def why_not(self, station: OnAir) -> str | None:
        """Why a station is not advised, in words; None where it is."""
        return self._why_not(station, readiness(station, self._context.now_ms))

    def _why_not(self, station: OnAir, ready_by: float) -> str | None:
        hearing, own = station.best, self._context.own
        if hearing is None or not hearing.live:
            return "it was not heard live"
        if not (hearing.credibility.credible or station.copied > 1):
            return "its only hearing is not credible: " + "; ".join(hearing.credibility.reasons[:2])
        if own.call is not None and matches_own(own.call, station.call):
            return "it is you"
        if station.calls_me:
            return "it called on a band that you have left" if self._is_left(station) else None
        if station.to_me and station.doing is Doing.FREE:
            return "its exchange with you is over"
        if directed.excludes(station, own):
            return directed.why_not(station)
        note = hearing.note(WorkedNote)
        duplicate = note is not None and self._standing(station, note).duplicate
        if duplicate and hearing.note(LookoutNote) is None and not (note and note.counts_for):
            return note.why if note is not None and note.duplicate else "it is in the log by now"
        if ready_by < _GONE:
            return "it has not been heard for too long, or does not take calls"
        return None

    def _is_left(self, station: OnAir) -> bool:
        """Whether the radio is on another band and no other receiver still hears the station on its own."""
        dial_hz, now_ms = self._context.own.dial_hz, self._context.now_ms
        return dial_hz is not None and bands.of(dial_hz) != station.band and cycles_ago(station, now_ms) >= _LEFT_CYCLES

    def _ranked(self, station: OnAir, now_ms: int) -> Ranked | None:
        ready_by = readiness(station, now_ms)
        if self._why_not(station, ready_by) is not None:
            return None
        hearing = station.best
        assert hearing is not None
        lookout = hearing.note(LookoutNote)
        value, need, why = self._value(station, hearing.note(WorkedNote), lookout)
        expected_db, chance, evidence = self._reach(station, hearing.note(ReachNote))
        if station.calls_me:
            # who calls me stands above all; of several the one that is worth most, then the one that waits longest
            waits = (now_ms - (station.waited_since_ms or now_ms)) / 1e9
            new = "" if need is None else f", {need_words(need, station.band, station.mode)}"
            why = f"calls you{new}"
            score = _CALLS_ME + value + waits
            urgency = Urgency.URGENT
            return Ranked(station, score, value, need, why, chance, expected_db, evidence, 1.0, True, urgency)
        share = _EVEN if chance is None or expected_db is None else answer_share(chance, expected_db, station, now_ms)
        weights = self._weights
        score = value * share**weights.chance * ready_by**weights.readiness
        urgency = lookout.urgency if lookout is not None else Urgency.NOTE if value >= _BY_RULE else Urgency.CALM
        return Ranked(
            station, score, value, need, why, chance, expected_db, evidence, ready_by, ready_by >= _READY, urgency
        )  # fmt: skip

    def _value(
        self, station: OnAir, note: WorkedNote | None, lookout: LookoutNote | None
    ) -> tuple[float, Need | None, str]:
        if note is None:
            return NOTHING_NEW, None, "heard"
        _, _, needs, value, need, why = self._standing(station, note)
        value *= self._goals.factor(needs, note)
        if note.counts_for and need is None:
            why = f"counts for {note.counts_for[0]}"
        if lookout is not None and (need is not None or not lookout.by_need):
            value = max(value, _BY_RULE * lookout.urgency)
            if not lookout.by_need:
                why = lookout.reasons[0]
        return value, need, why

    def _standing(self, station: OnAir, note: WorkedNote) -> _Standing:
        """How the station stands in the log now: worked out once for each note while the log stays as it is."""
        worked = self._context.worked
        if self._index != (worked, worked.count) or len(self._standings) > _KEPT:
            self._index = worked, worked.count
            self._standings.clear()
        known = self._standings.get(station.call)
        if known is None or known.note is not note:
            known = self._standings[station.call] = self._stand(station, note, worked)
        return known

    def _stand(self, station: OnAir, note: WorkedNote, worked: WorkedIndex) -> _Standing:
        needs = still_needed(note, worked, station.band, station.mode)
        value, need = worth(needs, self._weights)
        why = note.why
        if need is not None:
            why = need_words(need, station.band, station.mode)
        elif note.needs:
            why = "nothing new any more"
        duplicate = is_base_worked(note, worked, station.call, station.band, station.mode)
        return _Standing(note, duplicate, needs, value, need, why)

    def _reach(self, station: OnAir, note: ReachNote | None) -> tuple[float | None, float | None, str]:
        if note is not None:
            now = note.at_power(self._context.own.power_w)  # another power counts at once, heard again or not
            return now.expected_db, copy_share(now.chance, station.tries), now.evidence
        found = guess_of(station, self._context.own)
        if found is None:
            return None, None, "no timed mode"
        expected_db, chance = found
        return expected_db, copy_share(chance, station.tries), "no evidence: from strength and power alone"


def waited_ms_of(station: OnAir, now_ms: int) -> int:
    """How long a caller has waited for us since the end of its first call; 0 for who does not wait."""
    if station.waited_since_ms is None:
        return 0
    return max(0, now_ms - station.waited_since_ms - length_ms_of(station.mode))


def entity_name(station: OnAir) -> str | None:
    """The entity's name, where the call tells it."""
    return None if station.placed is None or station.placed.entity is None else station.placed.entity.name


def need_code(need: Need | None) -> str | None:
    """The need for programs: ``entity: first ever``."""
    return None if need is None else f"{need.dimension}: {need.scope}"


def factors(ranked: Ranked) -> str:
    """Every factor in words: ``first Chile for you on 20 m · free since 14:02:30 · expect −14 dB, 78 %``."""
    parts = [ranked.why, ready_words(ranked.station)]
    if ranked.expected_db is not None and ranked.chance is not None:
        parts.append(f"expect {db_words(ranked.expected_db)}, {100 * ranked.chance:.0f} %")
    if ranked.station.tries:
        parts.append(f"called {ranked.station.tries}× in vain")
    if ranked.station.fading:
        parts.append("fading")
    return " · ".join(parts)


def sentence(ranked: Ranked, now_ms: int) -> str:
    """All that decides, for the operator: who, the factors, and how long there is to act."""
    station = ranked.station
    if station.calls_me:
        lacks = f"; still lacks {station.lacks[0]}" if station.lacks else ""
        waited_ms = waited_ms_of(station, now_ms)
        waits = f"; has waited {waited_ms // 1000} s" if waited_ms else ""
        name = entity_name(station)
        who = station.call if name is None or name in ranked.why else f"{station.call} ({name})"
        return f"{who} {ranked.why}, {strength_words(station.snr_db)}, on {band_words(station.band)}{lacks}{waits}"
    until_ms = act_by_ms(station.last_ms, station.mode, now_ms)
    when = time_words(until_ms, length_ms_of(station.mode), LATE_START_MS, now_ms)
    return f"{station.call}: {factors(ranked)} · {when}"
