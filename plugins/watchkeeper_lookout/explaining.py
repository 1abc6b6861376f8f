"""Why did this hail, and why did that not."""

from __future__ import annotations

from watchkeeper.api import Context, OnAir
from watchkeeper_worked import WorkedNote

from .hailing import Hailer, key_of
from .notes import LookoutNote
from .ranking import Ranked, Ranker, sentence
from .rules import Matcher


def explain(
    station: OnAir,
    rules: tuple[Matcher, ...],
    hailer: Hailer,
    ranker: Ranker,
    ranked: list[Ranked],
    context: Context,
) -> list[str]:
    """Sentences on the newest hearing of a station: each rule, then its place in the ranked list."""
    hearing = station.best
    if hearing is None:
        return [f"{station.call} was never heard"]
    worked = hearing.note(WorkedNote)
    found = [f"newest message: {hearing.text}"]
    if worked is not None:
        found.append(f"log: {worked.why}")
    silent = hailer.why_silent(hearing)
    if silent is not None:
        found.append(f"it does not hail: {silent}")
    note = hearing.note(LookoutNote)
    speaking = None if note is None or silent is not None else hailer.speaking(hearing, note)
    found += [_rule(rule, station, hailer, worked, _spoken(rule, speaking, context)) for rule in rules]
    place = next((at for at, each in enumerate(ranked, start=1) if each.station.call == station.call), None)
    if place is None:
        found.append(f"not advised: {ranker.why_not(station) or 'its contact is in the log by now'}")
    else:
        one = ranked[place - 1]
        found.append(f"advised as number {place} of {len(ranked)}: {sentence(one, context.now_ms)}")
        found.append(f"reach: {one.evidence}")
    return found


def _spoken(rule: Matcher, speaking: tuple[str, str] | None, context: Context) -> str:
    """What became of a rule's match, in words: which other one spoke for the station, or why the hail was held back."""
    if speaking is None:
        return ""
    name, matter = speaking
    if name != rule.rule.name:
        return f"; rule {name!r} speaks for it"
    silent = context.why_silent(key_of(name, matter))
    return "" if silent is None else f"; no further hail: {silent}"


def _rule(rule: Matcher, station: OnAir, hailer: Hailer, worked: WorkedNote | None, spoken: str) -> str:
    hearing = station.best
    assert hearing is not None
    name = rule.rule.name
    why_not = rule.why_not(hearing, worked)
    if why_not is not None:
        return f"rule {name!r} does not match: {why_not}"
    common = hailer.too_common(rule, hearing, worked)
    if common is not None:
        return f"rule {name!r} matches and keeps silent: {common}"
    if rule.calls_me and not station.calls_me:
        return f"rule {name!r} matches and keeps silent: its exchange with you is complete"
    match = rule.match(hearing, worked)
    return f"rule {name!r} matches: {match.why if match is not None else name}{spoken}"
