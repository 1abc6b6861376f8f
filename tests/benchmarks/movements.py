"""What openings told of the band's movement, held against the truth of a rehearsal.

A direction of a band changes where the truth has it begin or end to be open for an average station at one of the
distances. The change-point test tells a change when a direction's trend turns to ``opening``, ``rising``, ``falling``
or ``closed``; it has found one when it tells the same way within an hour. Stations that come and go change the rate as
well, so what is counted as false is an upper bound.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any, NamedTuple

from watchkeeper.rehearsal import score
from watchkeeper.schema.events import to_ms

_HOUR_MS, _QUARTER_MS, _MINUTE_MS = 3_600_000, 900_000, 60_000
#: trend → whether it goes up
_WAYS = {"opening": True, "rising": True, "falling": False, "closed": False}

Shown = Sequence[tuple[int, Sequence[dict[str, Any]]]]


class Change(NamedTuple):
    """A direction changed, up or down."""

    direction: str
    up: bool
    at_ms: int


class Movements(NamedTuple):
    """Of one session: true changes; the delays of those found; false ones; the same of what was shown as open."""

    changes: int
    delays_min: tuple[float, ...]
    false: int
    shown_after_min: float | None
    shown_false_a_day: float


def movements(truth: dict[str, Any], shown: Shown) -> Movements:
    """Compare (event time, rows of the directions' table) after each period with the truth of the session."""
    real, told = list(_real(truth)), list(_told(shown))
    delays = tuple((found - each.at_ms) / _MINUTE_MS for each in real if (found := _found(each, told)) is not None)
    false = sum(not any(_belongs(one, each) for each in real) for one in told)
    open_rows = [{"at_ms": at_ms, "rows": [row for row in rows if row["open"]]} for at_ms, rows in shown]
    spans = score.openings(truth, open_rows)
    return Movements(len(real), delays, false, spans["median_delay_min"], spans["false_per_day"])


def _real(truth: dict[str, Any]) -> Iterator[Change]:
    start_ms, end_ms = to_ms(_time(truth["start"])), to_ms(_time(truth["end"]))
    for one in truth["openings"]:
        from_ms, until_ms = to_ms(_time(one["from"])), to_ms(_time(one["to"]))
        if from_ms > start_ms:
            yield Change(one["sector"], True, from_ms)
        if until_ms < end_ms:
            yield Change(one["sector"], False, until_ms)


def _told(shown: Shown) -> Iterator[Change]:
    before: dict[str, bool] = {}
    for at_ms, rows in shown:
        now = {row["direction"]: _WAYS[row["trend"]] for row in rows if row["trend"] in _WAYS}
        for direction, up in now.items():
            if before.get(direction) is not up:
                yield Change(direction, up, at_ms)
        before = now


def _found(change: Change, told: Sequence[Change]) -> int | None:
    return next((one.at_ms for one in told if _belongs(one, change) and one.at_ms >= change.at_ms), None)


def _belongs(told: Change, real: Change) -> bool:
    """Whether ``told`` speaks of ``real``: the truth is drawn in quarter hours, so it may come a little sooner."""
    same = told.direction == real.direction and told.up is real.up
    return same and -_QUARTER_MS <= told.at_ms - real.at_ms <= _HOUR_MS


def _time(text: str) -> datetime:
    return datetime.fromisoformat(text)
