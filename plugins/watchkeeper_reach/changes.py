"""What a change of power or antenna did: the reports of the same stations before and after it."""

from __future__ import annotations

from collections import OrderedDict, deque
from math import comb
from typing import NamedTuple

from .reports import Report

#: reports this long before a change, and as long after it, are compared
AROUND_MS = 45 * 60_000
MOST_CHANGES = 8
MOST_REPORTS = 2_000
#: fewer stations on both sides say nothing
ENOUGH = 3
CONFIDENCE = 0.9


class Change(NamedTuple):
    """A change that the operator made, in words."""

    at_ms: int
    what: str


class Effect(NamedTuple):
    """By how many dB reports changed: median over stations, with the interval that holds it in nine of ten cases."""

    change: Change
    stations: int
    median_db: float | None
    low_db: float | None
    high_db: float | None


class Changes:
    """The last changes, and the reports round them."""

    def __init__(self) -> None:
        self._changes: deque[Change] = deque(maxlen=MOST_CHANGES)
        self._reports: deque[Report] = deque(maxlen=MOST_REPORTS)

    def mark(self, change: Change) -> None:
        """The operator changed something."""
        self._changes.append(change)

    def reported(self, report: Report) -> None:
        """Enter a report."""
        self._reports.append(report)

    def effects(self) -> list[Effect]:
        """The effect of each change, the newest first; a span ends where the next change begins."""
        changes = list(self._changes)
        found = []
        for at, change in enumerate(changes):
            begin_ms = max(change.at_ms - AROUND_MS, changes[at - 1].at_ms if at else 0)
            end_ms = min(change.at_ms + AROUND_MS, changes[at + 1].at_ms if at + 1 < len(changes) else change.at_ms * 2)
            found.append(self._effect(change, begin_ms, end_ms))
        return found[::-1]

    def _effect(self, change: Change, begin_ms: int, end_ms: int) -> Effect:
        before: OrderedDict[tuple[str, str], list[float]] = OrderedDict()
        after: OrderedDict[tuple[str, str], list[float]] = OrderedDict()
        for report in self._reports:
            if begin_ms <= report.at_ms < end_ms:
                side = before if report.at_ms < change.at_ms else after
                side.setdefault((report.band, report.call), []).append(report.report_db)
        steps = sorted(_mean(after[key]) - _mean(before[key]) for key in before if key in after)
        if len(steps) < ENOUGH:
            return Effect(change, len(steps), None, None, None)
        low, high = _interval(len(steps))
        middle = len(steps) // 2
        median_db = steps[middle] if len(steps) % 2 else (steps[middle - 1] + steps[middle]) / 2
        return Effect(change, len(steps), median_db, steps[low], steps[high])


def _mean(values: list[float]) -> float:
    return sum(values) / len(values)


def _interval(count: int) -> tuple[int, int]:
    """The narrowest pair of order statistics that holds the median with the stated confidence (sign test); else all."""
    tail = 0.0
    low = 0
    for k in range(count // 2):
        tail += comb(count, k) / 2**count
        if 2 * tail > 1 - CONFIDENCE:
            break
        low = k
    return low, count - 1 - low
