"""Hails: one for a matter, however many stations would settle it; none for what a young log makes new."""

from __future__ import annotations

from collections import OrderedDict
from typing import NamedTuple

from watchkeeper.api import AGAIN, Context, Hail, Hearing, Need, OnAir, Period, Urgency
from watchkeeper.radio.band import words as band_words
from watchkeeper.radio.message import matches_own
from watchkeeper_worked import WorkedNote

from . import directed
from .notes import LookoutNote
from .ranking import Ranker
from .readiness import act_by_ms
from .rules import LookoutConfig, Matcher
from .words import doing_words, strength_words

#: needs whose bearers are counted, and calls that each remembers
MOST_NEEDS = 4_000
MOST_CALLS = 60
#: stations to hear before seldom means anything
ENOUGH_HEARD = 40
MOST_HEARD = 20_000
#: stands for a dimension where the stations of a rule are counted
_RULE = "rule"
#: other candidates that a hail names
_OTHERS = 3
#: hails that may be escalated
MOST_RAISED = 100
#: a station not heard for so long is nobody to hail once more
_STILL_MS = 60_000


class Raised(NamedTuple):
    """A hail that went to the watch, to be raised a level when ignored."""

    hail: Hail
    after_ms: int


class Candidate(NamedTuple):
    """One hearing that would settle a matter."""

    hearing: Hearing
    note: LookoutNote


class Hailer:
    """Turns the rules' notes into hails."""

    def __init__(self, rules: tuple[Matcher, ...], config: LookoutConfig, context: Context) -> None:
        self._rules = {rule.rule.name: rule for rule in rules}
        self._config = config
        self._context = context
        #: need → calls that would bring it, of those heard so far
        self._bearers: OrderedDict[tuple[str, str], OrderedDict[str, None]] = OrderedDict()
        self._heard: OrderedDict[str, None] = OrderedDict()
        self._raised: OrderedDict[str, Raised] = OrderedDict()

    # -- how seldom ---------------------------------------------------------------------------------------------------

    def heard(self, hearing: Hearing, worked: WorkedNote | None) -> None:
        """Count who would bring what."""
        call = hearing.call
        if call is None or call in self._heard or worked is None or not hearing.credibility.credible:
            return
        self._heard[call] = None
        if len(self._heard) > MOST_HEARD:
            self._heard.popitem(last=False)
        for need in worked.needs:
            self._brings(call, (need.dimension.value, need.value))

    def _brings(self, call: str, key: tuple[str, str]) -> None:
        bearers = self._bearers.setdefault(key, OrderedDict())
        bearers[call] = None
        if len(bearers) > MOST_CALLS:
            bearers.popitem(last=False)
        while len(self._bearers) > MOST_NEEDS:
            self._bearers.popitem(last=False)

    def _share(self, key: tuple[str, str]) -> float:
        return len(self._bearers.get(key, ())) / max(1, len(self._heard))

    def share(self, need: Need) -> float:
        """The share of the stations heard that would bring this."""
        return self._share((need.dimension.value, need.value))

    def _rarity(self, rule: Matcher, need: Need | None) -> float:
        """How seldom such a chance comes: by its need, else by how many stations the rule was ever to hail."""
        return max(0.0, 1 - (self._share((_RULE, rule.rule.name)) if need is None else self.share(need)))

    def too_common(self, rule: Matcher, hearing: Hearing, worked: WorkedNote | None) -> str | None:
        """Why what is new here is no news: the log is young and many would bring it. None where it is news."""
        if not rule.rule.seldom or self._context.worked.count >= self._config.young_log:
            return None
        match = rule.match(hearing, worked)
        if match is None or match.need is None:
            return None
        if len(self._heard) < ENOUGH_HEARD:
            return f"the log is young, and only {len(self._heard)} stations were heard yet: nobody knows what is rare"
        share = self.share(match.need)
        if share > self._config.seldom_share:
            return f"the log is young, and {100 * share:.0f} % of the stations heard would bring it"
        return None

    # -- hails --------------------------------------------------------------------------------------------------------

    def judge(self, period: Period, ranker: Ranker) -> None:
        """Hail the best candidate of each matter that the burst brought."""
        matters: dict[tuple[str, str], list[Candidate]] = {}
        for hearing in period.fresh:
            note = hearing.note(LookoutNote)
            if note is None or self.why_silent(hearing) is not None:
                continue
            chosen = self.speaking(hearing, note)
            if chosen is not None:
                self._brings(hearing.call or "", (_RULE, chosen[0]))
                matters.setdefault(chosen, []).append(Candidate(hearing, note))
        for (rule, matter), candidates in matters.items():
            if len(candidates) > 1:
                candidates.sort(key=lambda each: (-self._score(each.hearing, ranker), each.hearing.call or ""))
            self._hail(self._rules[rule], matter, candidates)

    def why_silent(self, hearing: Hearing) -> str | None:
        """Why a hearing never hails, whatever the rules; None where it may."""
        own = self._context.own
        if not hearing.live:
            return "it was not heard live"
        station = self._context.station(hearing.call or "")
        answers = hearing.to_me and station is not None and (station.calls_me or station.tried_ms is not None)
        if not hearing.credibility.credible and not answers:
            return "the hearing is not credible: " + "; ".join(hearing.credibility.reasons[:2])
        if own.call is not None and matches_own(own.call, hearing.call):
            return "it is you"
        if station is not None and directed.excludes(station, own):
            return directed.why_not(station)
        return None

    def speaking(self, hearing: Hearing, note: LookoutNote) -> tuple[str, str] | None:
        """(rule, matter) of the most urgent rule that may speak."""
        worked = hearing.note(WorkedNote)
        for name, matter in zip(note.rules, note.matters, strict=True):
            rule = self._rules[name]
            if rule.calls_me and not self._waits(hearing):
                continue
            if self.too_common(rule, hearing, worked) is None:
                return name, matter
        return None

    def _waits(self, hearing: Hearing) -> bool:
        """Whether the station still wants us: not once its exchange is complete or its contact logged."""
        station = self._context.station(hearing.call or "")
        return station is None or station.calls_me

    def _score(self, hearing: Hearing, ranker: Ranker) -> float:
        station = self._context.station(hearing.call or "")
        return 0.0 if station is None else ranker.score(station)

    def _hail(self, rule: Matcher, matter: str, candidates: list[Candidate]) -> None:
        best = candidates[0]
        hearing, note = best.hearing, best.note
        station = self._context.station(hearing.call or "")
        why = note.reasons[note.rules.index(rule.rule.name)]
        others = tuple(dict.fromkeys(each.hearing.call for each in candidates[1:] if each.hearing.call != hearing.call))
        also = f"; also {', '.join(str(call) for call in others[:_OTHERS])}" if others else ""
        match = rule.match(hearing, hearing.note(WorkedNote))
        hail = Hail(
            key=key_of(rule.rule.name, matter),
            urgency=rule.urgency,
            sentence=_said(why, hearing, station) + also,
            rule=rule.rule.name,
            at_ms=self._context.now_ms,
            call=hearing.call,
            band=hearing.band,
            reasons=tuple(dict.fromkeys((why, *note.reasons))),
            act_by_ms=act_by_ms(hearing.period_ms, hearing.mode, self._context.now_ms),
            hold_off_min=rule.rule.hold_off_min,
            rarity=self._rarity(rule, None if match is None else match.need),
        )
        self._context.hail(hail)
        if rule.rule.escalate_min and not self._is_ignored(self._raised.get(hail.key)):
            self._raised[hail.key] = Raised(hail, hail.at_ms + round(rule.rule.escalate_min * 60_000))
            if len(self._raised) > MOST_RAISED:
                self._raised.popitem(last=False)

    # -- what was ignored ---------------------------------------------------------------------------------------------

    def _is_ignored(self, raised: Raised | None) -> bool:
        """Whether this very hail went out, and was not held back, and the operator has not seen to it yet."""
        return raised is not None and self._context.unheeded_ms(raised.hail.key) == raised.hail.at_ms

    def settled(self, call: str) -> None:
        """The station was worked: nothing is left to raise."""
        self._raised = OrderedDict((key, each) for key, each in self._raised.items() if each.hail.call != call)

    def escalate(self) -> None:
        """Raise once more, a level up, what the operator has left alone while the station is still there."""
        now_ms = self._context.now_ms
        for key, raised in list(self._raised.items()):
            if now_ms < raised.after_ms:
                continue
            del self._raised[key]
            if not self._is_ignored(raised):
                continue
            station = self._context.station(raised.hail.call or "")
            if station is None or now_ms - station.last_ms > _STILL_MS or station.tried_ms is not None:
                continue
            self._context.hail(_again(raised.hail, station, now_ms))


def key_of(rule: str, matter: str) -> str:
    """The key of the hails of a matter."""
    return f"lookout|{rule}|{matter}"


def _again(hail: Hail, station: OnAir, now_ms: int) -> Hail:
    return Hail(
        key=hail.key + AGAIN,
        urgency=Urgency(min(Urgency.URGENT, hail.urgency + 1)),
        sentence=f"still there: {hail.sentence}",
        rule=hail.rule,
        at_ms=now_ms,
        call=hail.call,
        band=hail.band,
        reasons=hail.reasons,
        act_by_ms=act_by_ms(station.last_ms, station.mode, now_ms),
        hold_off_min=hail.hold_off_min,
        rarity=hail.rarity,
    )


def _said(reason: str, hearing: Hearing, station: OnAir | None) -> str:
    strength = strength_words(hearing.snr_db)
    place = hearing.placed.entity.name if hearing.placed and hearing.placed.entity else None
    if hearing.to_me:
        where = f" ({place})" if place else ""
        why = "" if reason == "calls you" else f", {reason}"
        return f"{hearing.call}{where} calls you on {band_words(hearing.band)}{why}: {strength}"
    doing = doing_words(station) if station is not None else "heard"
    return f"{reason}: {hearing.call}, {doing}, {strength}"
