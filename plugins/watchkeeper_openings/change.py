"""Did the rate change, and when: a change-point test on counts per listened period."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate
from math import log
from typing import NamedTuple

#: fewer periods say nothing
FEWEST = 6
_SHORTEST = 3
#: log-likelihood ratio from which a change is one: for Poisson counts that do not change it is passed in about one
#: window of a hundred (simulated; a test holds it)
_LIMIT = 6.0


class Change(NamedTuple):
    """The rate before, the rate from period ``at`` of the sequence on."""

    at: int
    before: float
    after: float


def change_point(counts: Sequence[int]) -> Change | None:
    """Return the likeliest change of a Poisson rate, or None where one rate explains the counts well enough.

    Likelihood ratio over all splits that leave three periods on either side (textbook, from memory).
    """
    size = len(counts)
    sums = list(accumulate(counts, initial=0))
    total = sums[-1]
    if size < FEWEST or not total:
        return None
    best, found = _LIMIT, None
    flat = total * log(total / size)
    for at in range(_SHORTEST, size - _SHORTEST + 1):
        before, after = sums[at], total - sums[at]
        gain = _term(before, at) + _term(after, size - at) - flat
        if gain > best:
            best, found = gain, Change(at, before / at, after / (size - at))
    return found


def _term(count: int, periods: int) -> float:
    return count * log(count / periods) if count else 0.0


def in_words(counts: Sequence[int]) -> tuple[str, int | None]:
    """Return (how the rate moves, the period from which it does)."""
    if len(counts) < FEWEST:
        return "new", None
    change = change_point(counts)
    if change is None:
        return "steady", None
    if not change.after:
        return "closed", change.at
    if not change.before:
        return "opening", change.at
    return ("rising" if change.after > change.before else "falling"), change.at
