"""The operator's rules: what the config says, and the matchers made of it."""

from __future__ import annotations

import difflib
import fnmatch
import re
from collections.abc import Callable, Iterator
from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from watchkeeper.api import Dimension, Hearing, Scope, Urgency
from watchkeeper.radio import band, entity, locator, mode
from watchkeeper_worked import WorkedNote, need_words

_SCOPES = {
    "ever": Scope.EVER,
    "band": Scope.BAND,
    "mode": Scope.MODE,
    "band_mode": Scope.BAND_MODE,
    "unconfirmed": Scope.UNCONFIRMED,
}
_URGENCIES = {"note": Urgency.NOTE, "wanted": Urgency.WANTED, "urgent": Urgency.URGENT}
_GLOB = re.compile(r"[A-Z0-9/*?]+")

#: of these a rule needs one
_CRITERIA = (
    "calls_me", "calls", "entities", "cq_zones", "itu_zones", "continents", "locators", "min_distance_km",
    "max_distance_km", "need", "min_snr_db",
)  # fmt: skip


class Rule(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One rule. All that it states must hold; of a list, one entry is enough."""

    name: Annotated[str, Meta(min_length=1, max_length=40, description="what hails call the rule")]
    urgency: Annotated[
        Literal["note", "wanted", "urgent"], Meta(description="note, wanted or urgent: how soon it wants your eye")
    ] = "wanted"
    calls_me: Annotated[bool, Meta(description="the station calls you")] = False
    calls: Annotated[tuple[str, ...], Meta(description="call signs, with * and ? for what may stand there")] = ()
    entities: Annotated[tuple[str, ...], Meta(description="entities by name, prefix or ADIF code")] = ()
    cq_zones: Annotated[tuple[Annotated[int, Meta(ge=1, le=40)], ...], Meta(description="CQ zones")] = ()
    itu_zones: Annotated[tuple[Annotated[int, Meta(ge=1, le=90)], ...], Meta(description="ITU zones")] = ()
    continents: Annotated[
        tuple[Literal["AF", "AN", "AS", "EU", "NA", "OC", "SA"], ...], Meta(description="continents")
    ] = ()
    locators: Annotated[tuple[str, ...], Meta(description="locators, or their first two or more characters")] = ()
    min_distance_km: Annotated[float, Meta(ge=0, le=20_100, description="at least so far")] | None = None
    max_distance_km: Annotated[float, Meta(ge=0, le=20_100, description="at most so far")] | None = None
    need: Annotated[
        tuple[Dimension, ...], Meta(description="what would be new: any of the dimensions that `worked` counts")
    ] = ()
    scopes: Annotated[
        tuple[Literal["ever", "band", "mode", "band_mode", "unconfirmed"], ...],
        Meta(description="new how: ever, band, mode, band_mode, unconfirmed; in any way if absent"),
    ] = ()
    bands: Annotated[tuple[str, ...], Meta(description="bands, like '20m'")] = ()
    modes: Annotated[tuple[str, ...], Meta(description="modes, like 'FT8'")] = ()
    min_snr_db: Annotated[float, Meta(ge=-60, le=60, description="at least so strong")] | None = None
    worked_too: Annotated[bool, Meta(description="also stations that would be a duplicate here")] = False
    hold_off_min: Annotated[
        float, Meta(ge=0, le=10_080, description="minutes before it hails the same station on the same band again")
    ] = 30.0

    def __post_init__(self) -> None:
        wrong = list(self._faults())
        if wrong:
            raise ValueError("\n".join(wrong))

    def _faults(self) -> Iterator[str]:
        yield from (
            f"calls: {call!r} holds more than letters, digits, /, * and ?"
            for call in self.calls
            if not _GLOB.fullmatch(call.upper())
        )
        yield from (f"entities: no entity {name!r}{near_entity(name)}" for name in self.entities if not codes(name))
        for one in self.locators:
            if not locator.is_locator(one):
                yield f"locators: {one!r} does not begin a locator"
        for one in self.bands:
            if band.get(one) is None:
                yield f"bands: no band {one!r} in ADIF, bands are written like '20m'"
        for one in self.modes:
            if not mode.is_known(one):
                yield f"modes: no mode {one!r} in ADIF"
        if self.scopes and not self.need:
            yield "scopes: they say in what way a need is new, so 'need' must be set"
        low, high = self.min_distance_km, self.max_distance_km
        if low is not None and high is not None and low > high:
            yield f"min_distance_km: {low:g} is above max_distance_km, {high:g}"
        if not any(getattr(self, field) not in (None, (), False) for field in _CRITERIA):
            yield f"it must say whom it waits for: one of {', '.join(_CRITERIA)}"


class Matcher:
    """One rule, made ready: :meth:`reason` is why a hearing matches, None where it does not."""

    __slots__ = ("_dimensions", "_scopes", "_tests", "_why", "_worked_too", "hold_off_min", "name", "urgency")

    def __init__(self, rule: Rule) -> None:
        self.name = rule.name
        self.urgency = _URGENCIES[rule.urgency]
        self.hold_off_min = rule.hold_off_min
        self._worked_too = rule.worked_too
        self._dimensions = rule.need
        self._scopes = tuple(_SCOPES[scope] for scope in rule.scopes) or tuple(Scope)
        self._tests = tuple(_tests(rule))
        self._why = "calls you" if rule.calls_me else rule.name

    def reason(self, hearing: Hearing, worked: WorkedNote | None) -> str | None:
        """The strongest reason in words; a station that would be a duplicate matches only where the rule says so."""
        for test in self._tests:
            if not test(hearing):
                return None
        if worked is not None and worked.duplicate and not self._worked_too:
            return None
        if not self._dimensions:
            return self._why
        for need in () if worked is None else worked.needs:
            if need.dimension in self._dimensions and need.scope in self._scopes:
                return need_words(need, hearing.band, hearing.mode)
        return None


def _tests(rule: Rule) -> Iterator[Callable[[Hearing], bool]]:
    """The tests that a rule states, the cheap ones first."""
    if rule.calls_me:
        yield lambda hearing: hearing.to_me
    if rule.bands:
        bands = frozenset(one.lower() for one in rule.bands)
        yield lambda hearing: hearing.band in bands
    if rule.modes:
        modes = frozenset(one.upper() for one in rule.modes)
        yield lambda hearing: hearing.mode.upper() in modes
    if rule.min_snr_db is not None:
        least_db = rule.min_snr_db
        yield lambda hearing: hearing.snr_db >= least_db
    yield from _place_tests(rule)
    if rule.calls:
        pattern = re.compile("|".join(fnmatch.translate(one.upper()) for one in rule.calls))
        yield lambda hearing: pattern.match(hearing.call or "") is not None


def _place_tests(rule: Rule) -> Iterator[Callable[[Hearing], bool]]:
    if rule.entities:
        wanted = frozenset(code for name in rule.entities for code in codes(name))
        yield lambda h: h.placed is not None and h.placed.entity is not None and h.placed.entity.code in wanted
    if rule.cq_zones:
        cq_zones = frozenset(rule.cq_zones)
        yield lambda hearing: hearing.placed is not None and hearing.placed.cq_zone in cq_zones
    if rule.itu_zones:
        itu_zones = frozenset(rule.itu_zones)
        yield lambda hearing: hearing.placed is not None and hearing.placed.itu_zone in itu_zones
    if rule.continents:
        continents = frozenset[str](rule.continents)
        yield lambda hearing: hearing.placed is not None and hearing.placed.continent in continents
    if rule.locators:
        begins = tuple(one.upper() for one in rule.locators)
        yield lambda hearing: hearing.locator is not None and hearing.locator.upper().startswith(begins)
    if rule.min_distance_km is not None:
        least_km = rule.min_distance_km
        yield lambda hearing: hearing.distance_km is not None and hearing.distance_km >= least_km
    if rule.max_distance_km is not None:
        most_km = rule.max_distance_km
        yield lambda hearing: hearing.distance_km is not None and hearing.distance_km <= most_km


def codes(name: str) -> frozenset[int]:
    """The entity codes that a name, prefix or ADIF code means; empty where it means none."""
    word = name.strip()
    if word.isdigit():
        return frozenset({int(word)}) if entity.by_code(int(word)) else frozenset()
    by_name = frozenset(one.code for one in entity.all_entities() if one.name.casefold() == word.casefold())
    if by_name:
        return by_name
    by_prefix = entity.prefix_entity(word.upper())
    return frozenset({by_prefix.code}) if by_prefix else frozenset()


def near_entity(name: str) -> str:
    """`` (did you mean 'Chile'?)`` for the entity whose name is nearest, or nothing."""
    names = {one.name.casefold(): one.name for one in entity.all_entities()}
    found = difflib.get_close_matches(name.casefold(), list(names), n=1)
    return f" (did you mean {names[found[0]]!r}?)" if found else ""


#: what is looked out for without a word in the config
DEFAULT_RULES = (
    Rule(name="calls you", urgency="urgent", calls_me=True, worked_too=True, hold_off_min=10),
    Rule(name="new entity", need=(Dimension.ENTITY,), scopes=("ever",)),
    Rule(name="new on this band", urgency="note", need=(Dimension.ENTITY,), scopes=("band",)),
)


class LookoutConfig(msgspec.Struct, frozen=True, kw_only=True):
    """The lookouts."""

    rule: Annotated[
        tuple[Rule, ...],
        Meta(max_length=200, description="the rules; if absent: who calls you, and entities new to you or on the band"),
    ] = DEFAULT_RULES
    shown: Annotated[int, Meta(ge=1, le=200, description="most stations in the ranked list")] = 40

    def __post_init__(self) -> None:
        names = [rule.name for rule in self.rule]
        doubled = sorted({name for name in names if names.count(name) > 1})
        if doubled:
            raise ValueError("\n".join(f"rule: two rules are called {name!r}" for name in doubled))
