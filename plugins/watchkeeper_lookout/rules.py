"""The operator's rules: what the config says, and the matchers made of it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal, NamedTuple

import msgspec
from msgspec import Meta

from watchkeeper.api import Dimension, Hearing, Need, Scope, Urgency
from watchkeeper_worked import WorkedNote, need_words

from .criteria import CRITERIA, Criteria, Test
from .goals import GoalsConfig
from .weights import Weights

_URGENCIES = {"note": Urgency.NOTE, "wanted": Urgency.WANTED, "urgent": Urgency.URGENT}


class Rule(Criteria, frozen=True, kw_only=True, omit_defaults=True):
    """One rule: its own criteria, further ones of which all, any or none must hold, and how it hails."""

    name: Annotated[str, Meta(min_length=1, max_length=40, description="what hails call the rule")]
    urgency: Annotated[
        Literal["note", "wanted", "urgent"], Meta(description="note, wanted or urgent: how soon it wants your eye")
    ] = "wanted"
    all: Annotated[
        tuple[Criteria, ...], Meta(max_length=20, description="further criteria, all of which must hold")
    ] = ()
    any: Annotated[
        tuple[Criteria, ...], Meta(max_length=20, description="further criteria, one of which must hold")
    ] = ()
    not_: Annotated[
        tuple[Criteria, ...], Meta(max_length=20, description="further criteria, none of which may hold")
    ] = msgspec.field(default=(), name="not")
    seldom: Annotated[
        bool, Meta(description="while the log is young and all is new, hail only for what is seldom heard")
    ] = False
    worked_too: Annotated[bool, Meta(description="also stations that would be a duplicate here")] = False
    hold_off_min: Annotated[
        float, Meta(ge=0, le=10_080, description="minutes before it hails the same matter again")
    ] = 30.0
    escalate_min: Annotated[
        float,
        Meta(
            ge=0, le=1440, description="minutes after which it hails once more, a level up, if you did nothing; 0: not"
        ),
    ] = 0.0

    def __post_init__(self) -> None:
        wrong = list(self._all_faults())
        if wrong:
            raise ValueError("\n".join(wrong))

    def _all_faults(self) -> Iterator[str]:
        yield from self.faults()
        for name, group in (("all", self.all), ("any", self.any), ("not", self.not_)):
            for number, criteria in enumerate(group):
                yield from (f"{name}[{number}].{fault}" for fault in criteria.faults())
        if not any(criteria.says_whom() for criteria in (self, *self.all, *self.any, *self.not_)):
            yield f"it must say whom it waits for: one of {', '.join(CRITERIA)}"


class Match(NamedTuple):
    """Why a hearing matches a rule, and what the matter is: several stations can be one."""

    why: str
    matter: str
    need: Need | None


class Matcher:
    """One rule, made ready."""

    __slots__ = ("_all", "_any", "_none", "_own", "_why", "_worked_too", "by_need", "calls_me", "rule", "urgency")

    def __init__(self, rule: Rule) -> None:
        self.rule = rule
        self.urgency = _URGENCIES[rule.urgency]
        self.calls_me = rule.calls_me
        self.by_need = bool(rule.need) or any(criteria.need for criteria in rule.all)
        self._worked_too = rule.worked_too
        self._own = Test(rule)
        self._all = tuple(Test(criteria) for criteria in rule.all)
        self._any = tuple(Test(criteria) for criteria in rule.any)
        self._none = tuple(Test(criteria) for criteria in rule.not_)
        self._why = "calls you" if rule.calls_me else rule.name

    def match(self, hearing: Hearing, worked: WorkedNote | None) -> Match | None:
        """The match, None where there is none; a duplicate matches only where the rule says so."""
        if not self._own.holds(hearing, worked):
            return None
        if worked is not None and worked.duplicate and not self._worked_too:
            return None
        for test in self._all:
            if not test.holds(hearing, worked):
                return None
        if self._any and not any(test.holds(hearing, worked) for test in self._any):
            return None
        for test in self._none:
            if test.holds(hearing, worked):
                return None
        return self._matched(hearing, worked)

    def _matched(self, hearing: Hearing, worked: WorkedNote | None) -> Match:
        need = self._own.need(worked)
        if need is None:
            need = next((found for test in self._all if (found := test.need(worked)) is not None), None)
        place = hearing.band or str(hearing.dial_hz)
        if need is None or self.calls_me:
            why = self._why if need is None else need_words(need, hearing.band, hearing.mode)
            return Match(why, f"{hearing.call}|{place}", need)
        # what is new for good is one matter on all bands
        where = place if need.scope in (Scope.BAND, Scope.BAND_MODE) else "any band"
        return Match(need_words(need, hearing.band, hearing.mode), f"{need.dimension}|{need.value}|{where}", need)

    def why_not(self, hearing: Hearing, worked: WorkedNote | None) -> str | None:
        """What does not hold, in words; None where the rule matches."""
        fault = self._own.fails(hearing, worked)
        if fault is not None:
            return fault
        if worked is not None and worked.duplicate and not self._worked_too:
            return worked.why
        for test in self._all:
            fault = test.fails(hearing, worked)
            if fault is not None:
                return fault
        if self._any and not any(test.holds(hearing, worked) for test in self._any):
            return "none of its alternatives holds"
        if any(test.holds(hearing, worked) for test in self._none):
            return "an exception of the rule holds"
        return None


#: what is looked out for without a word in the config
DEFAULT_RULES = (
    Rule(name="calls you", urgency="urgent", calls_me=True, worked_too=True),
    Rule(name="new entity", need=(Dimension.ENTITY,), scopes=("ever",), seldom=True, hold_off_min=60.0),
    Rule(
        name="new on this band",
        urgency="note",
        need=(Dimension.ENTITY,),
        scopes=("band",),
        seldom=True,
        hold_off_min=60.0,
    ),
)


class LookoutConfig(msgspec.Struct, frozen=True, kw_only=True):
    """The lookouts."""

    rule: Annotated[
        tuple[Rule, ...],
        Meta(max_length=200, description="the rules; if absent: who calls you, and entities new to you or on the band"),
    ] = DEFAULT_RULES
    weights: Annotated[Weights, Meta(description="how much each need counts in the ranked list")] = Weights()
    goals: Annotated[GoalsConfig, Meta(description="what you are after today")] = GoalsConfig()
    young_log: Annotated[
        int,
        Meta(ge=0, le=100_000, description="a log with fewer contacts is young: it makes nearly everything new"),
    ] = 300  # fmt: skip
    seldom_share: Annotated[
        float,
        Meta(ge=0, le=1, description="seldom heard is what at most this share of the stations on the air would bring"),
    ] = 0.01
    stays: Annotated[
        float, Meta(ge=1, le=10, description="factor by which another must beat the advice on top to take its place")
    ] = 1.25
    shown: Annotated[int, Meta(ge=1, le=200, description="most stations in the ranked list")] = 40

    def __post_init__(self) -> None:
        names = [rule.name for rule in self.rule]
        doubled = sorted({name for name in names if names.count(name) > 1})
        if doubled:
            raise ValueError("\n".join(f"rule: two rules are called {name!r}" for name in doubled))
