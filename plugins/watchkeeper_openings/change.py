"""How a direction moves, and since when: a change-point test on the stations that were heard."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Collection, Iterator, Sequence
from math import log
from typing import NamedTuple

#: fewer listened periods of a parity on either side of a change say nothing
FEWEST = 3
#: how long ago a change may be, as parts of the window: there has to be as long a time before it
_AGO = (1 / 3, 5 / 12, 1 / 2)
#: log-likelihood ratio from which a change is one: four stations where nobody was, or 30 where 14 were. Where a dozen
#: stations come and go by chance it is passed in less than three windows of a hundred (simulated; a test holds it)
_LIMIT = 2.75
#: two spans tell the same only where they were listened to nearly alike
_ALIKE = 2 / 3


class Heard(NamedTuple):
    """Who was heard in one period that was listened to."""

    start_ms: int
    parity: int
    calls: Collection[str]


class Change(NamedTuple):
    """How many stations were heard in the time before ``at_ms``, and in as long a time from then on."""

    at_ms: int
    before: int
    after: int

    @property
    def gain(self) -> float:
        """Log-likelihood ratio of two Poisson rates to one (textbook, from memory)."""
        mean = (self.before + self.after) / 2
        return sum(count * log(count / mean) for count in (self.before, self.after) if count)


def splits(periods: Sequence[Heard], window_ms: int) -> Iterator[Change]:
    """The changes there may have been in the window, the latest first; none where too little was listened to.

    Whoever is heard in one period is heard in many, so hearings come in clusters, and their rate changes all the time.
    So stations are counted, each once in the time before and once in as long a time after.
    """
    starts = [period.start_ms for period in periods]
    for part in _AGO:
        span_ms = round(part * window_ms)
        middle, first = (bisect_right(starts, starts[-1] - spans * span_ms) if starts else 0 for spans in (1, 2))
        alike = _alike(periods[first:middle], periods[middle:])
        if alike is not None:
            yield Change(periods[middle].start_ms, *map(_stations, alike))


def _alike(left: Sequence[Heard], right: Sequence[Heard]) -> tuple[list[Heard], list[Heard]] | None:
    """Of either span the parities that were listened to nearly alike; None where there is none.

    Who sends listens to one, and stations keep to theirs.
    """
    found: tuple[list[Heard], list[Heard]] = [], []
    for parity in (0, 1):
        of_it = [[one for one in span if one.parity == parity] for span in (left, right)]
        fewer, more = sorted(map(len, of_it))
        if fewer >= FEWEST and fewer >= _ALIKE * more:
            for all_of, some in zip(found, of_it, strict=True):
                all_of.extend(some)
    return found if found[1] else None


def _stations(periods: Sequence[Heard]) -> int:
    return len(set().union(*[period.calls for period in periods]))


def in_words(periods: Sequence[Heard], window_ms: int) -> tuple[str, int | None]:
    """Return (how the stations heard move, since when in event time)."""
    found = list(splits(periods, window_ms))
    if not found:  # none can be told: for a while yet, or while what is listened to changes
        young = not periods or periods[-1].start_ms - periods[0].start_ms < window_ms / 2
        return ("new" if young else "steady"), None
    change = max(found, key=lambda each: each.gain)
    if change.gain < _LIMIT:
        return "steady", None
    if not change.after:
        last = max(number for number, period in enumerate(periods) if period.calls)
        return "closed", periods[last + 1].start_ms
    if not change.before:
        return "opening", next(one.start_ms for one in periods if one.calls and one.start_ms >= change.at_ms)
    return ("rising" if change.after > change.before else "falling"), change.at_ms
