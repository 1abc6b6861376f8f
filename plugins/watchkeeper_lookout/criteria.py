"""What a rule can ask of a hearing: one struct of criteria, and the tests made of it."""

from __future__ import annotations

import difflib
import fnmatch
import re
from collections.abc import Callable, Iterator
from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from watchkeeper.api import Dimension, Hearing, Need, Scope
from watchkeeper.radio import band, entity, locator, mode
from watchkeeper_reach import ReachNote
from watchkeeper_worked import WorkedNote

_SCOPES = {
    "ever": Scope.EVER,
    "band": Scope.BAND,
    "mode": Scope.MODE,
    "band_mode": Scope.BAND_MODE,
    "unconfirmed": Scope.UNCONFIRMED,
}
_GLOB = re.compile(r"[A-Z0-9/*?]+")
_TIMES = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])-([01][0-9]|2[0-3]):([0-5][0-9])")
_DAY_MIN = 1440
_FREE_AFTER = frozenset({"calling", "roger_farewell", "farewell"})

#: of these a rule needs one
CRITERIA = (
    "calls_me", "calls", "entities", "cq_zones", "itu_zones", "continents", "locators", "min_distance_km",
    "max_distance_km", "need", "min_snr_db", "min_chance",
)  # fmt: skip


class Criteria(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What a station must be. All that is stated must hold; of a list, one entry is enough."""

    calls_me: Annotated[bool, Meta(description="the station calls you")] = False
    free: Annotated[bool, Meta(description="it takes a call: it calls to all, or says goodbye to its partner")] = False
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
    max_snr_db: Annotated[float, Meta(ge=-60, le=60, description="at most so strong")] | None = None
    min_chance: (
        Annotated[
            float,
            Meta(ge=0, le=1, description="at least this chance that it decodes you, from reach: 0.5 for one half"),
        ]
        | None
    ) = None
    times: Annotated[
        tuple[str, ...], Meta(max_length=24, description="only in these hours of UTC, like '22:00-06:00'")
    ] = ()

    def faults(self) -> Iterator[str]:
        """What cannot be meant, in words."""
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
        yield from (f"times: {one!r} is no span of UTC hours, like '22:00-06:00'" for one in self.times
                    if not _TIMES.fullmatch(one))  # fmt: skip
        if self.min_snr_db is not None and self.max_snr_db is not None and self.min_snr_db > self.max_snr_db:
            yield f"min_snr_db: {self.min_snr_db:g} is above max_snr_db, {self.max_snr_db:g}"

    def says_whom(self) -> bool:
        """Whether it picks stations at all: bands, modes and times alone do not."""
        return any(getattr(self, field) not in (None, (), False) for field in CRITERIA)


class Test:
    """Criteria, made ready. ``need`` is what a hearing is new by, where new things are asked for."""

    __slots__ = ("_dimensions", "_scopes", "_tests")

    def __init__(self, criteria: Criteria) -> None:
        self._tests = tuple(_tests(criteria))
        self._dimensions = criteria.need
        self._scopes = tuple(_SCOPES[scope] for scope in criteria.scopes) or tuple(Scope)

    def fails(self, hearing: Hearing, worked: WorkedNote | None) -> str | None:
        """What does not hold, in words; None where all does."""
        for words, test in self._tests:
            if not test(hearing):
                return words
        if self._dimensions and self.need(worked) is None:
            return "nothing of what it waits for would be new"
        return None

    def holds(self, hearing: Hearing, worked: WorkedNote | None) -> bool:
        """Whether all holds. The hot path: no words."""
        for _, test in self._tests:
            if not test(hearing):
                return False
        return not self._dimensions or self.need(worked) is not None

    def need(self, worked: WorkedNote | None) -> Need | None:
        """The strongest need that it waits for; None where there is none."""
        if not self._dimensions or worked is None:
            return None
        for need in worked.needs:
            if need.dimension in self._dimensions and need.scope in self._scopes:
                return need
        return None


_Named = tuple[str, Callable[[Hearing], bool]]


def calls_me(hearing: Hearing) -> bool:
    """Whether the message begins an exchange with us: an answer or a first report. What follows is no new call."""
    return hearing.to_me and any(part.step in ("answering", "report") for part in hearing.reading.all_parts)


def _is_free(hearing: Hearing) -> bool:
    """Whether the station takes calls after this message; in the two-addressee form it goes on with the second."""
    parts = hearing.reading.all_parts
    return (parts[-1].step if parts else hearing.reading.step) in _FREE_AFTER


def _tests(rule: Criteria) -> Iterator[_Named]:
    """The tests that a rule states, the cheap ones first."""
    if rule.calls_me:
        yield "it does not call you", calls_me
    if rule.free:
        yield "it takes no call now", _is_free
    if rule.bands:
        bands = frozenset(one.lower() for one in rule.bands)
        yield "the band is another", lambda hearing: hearing.band in bands
    if rule.modes:
        modes = frozenset(one.upper() for one in rule.modes)
        yield "the mode is another", lambda hearing: hearing.mode.upper() in modes
    if rule.min_snr_db is not None:
        least_db = rule.min_snr_db
        yield f"it is weaker than {least_db:g} dB", lambda hearing: hearing.snr_db >= least_db
    if rule.max_snr_db is not None:
        most_db = rule.max_snr_db
        yield f"it is stronger than {most_db:g} dB", lambda hearing: hearing.snr_db <= most_db
    if rule.times:
        spans = tuple(_minutes(one) for one in rule.times)
        yield "the hour is another", lambda hearing: _is_within(hearing.period_ms, spans)
    yield from _place_tests(rule)
    if rule.calls:
        pattern = re.compile("|".join(fnmatch.translate(one.upper()) for one in rule.calls))
        yield "its call sign is another", lambda hearing: pattern.match(hearing.call or "") is not None
    if rule.min_chance is not None:
        least = rule.min_chance
        yield f"the chance is below {100 * least:.0f} %", lambda hearing: _chance(hearing) >= least


def _place_tests(rule: Criteria) -> Iterator[_Named]:
    if rule.entities:
        wanted = frozenset(code for name in rule.entities for code in codes(name))
        yield (
            "its entity is another",
            lambda h: h.placed is not None and h.placed.entity is not None and h.placed.entity.code in wanted,
        )
    if rule.cq_zones:
        cq_zones = frozenset(rule.cq_zones)
        yield (
            "its CQ zone is another",
            lambda hearing: hearing.placed is not None and hearing.placed.cq_zone in cq_zones,
        )
    if rule.itu_zones:
        itu_zones = frozenset(rule.itu_zones)
        yield (
            "its ITU zone is another",
            lambda hearing: hearing.placed is not None and hearing.placed.itu_zone in itu_zones,
        )
    if rule.continents:
        continents = frozenset[str](rule.continents)
        yield (
            "its continent is another",
            lambda hearing: hearing.placed is not None and hearing.placed.continent in continents,
        )
    if rule.locators:
        begins = tuple(one.upper() for one in rule.locators)
        yield (
            "its locator is another",
            lambda hearing: hearing.locator is not None and hearing.locator.upper().startswith(begins),
        )
    if rule.min_distance_km is not None:
        least_km = rule.min_distance_km
        yield (
            f"it is nearer than {least_km:g} km",
            lambda hearing: hearing.distance_km is not None and hearing.distance_km >= least_km,
        )
    if rule.max_distance_km is not None:
        most_km = rule.max_distance_km
        yield (
            f"it is farther than {most_km:g} km",
            lambda hearing: hearing.distance_km is not None and hearing.distance_km <= most_km,
        )


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


def _chance(hearing: Hearing) -> float:
    note = hearing.note(ReachNote)
    return 0.0 if note is None else note.chance


def _minutes(span: str) -> tuple[int, int]:
    found = _TIMES.fullmatch(span)
    assert found is not None
    from_h, from_min, to_h, to_min = map(int, found.groups())
    return from_h * 60 + from_min, to_h * 60 + to_min


def _is_within(at_ms: int, spans: tuple[tuple[int, int], ...]) -> bool:
    minute = at_ms // 60_000 % _DAY_MIN
    return any(a <= minute < b if a <= b else minute >= a or minute < b for a, b in spans)
