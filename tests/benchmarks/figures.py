"""What a benchmark says: figures with their units, and the goals that the project sets itself."""

from __future__ import annotations

import os
import platform
from collections.abc import Iterable, Sequence
from typing import NamedTuple


class Figure(NamedTuple):
    """One measured value. ``goal`` in words, ``met`` where there is one."""

    name: str
    value: float
    unit: str
    goal: str = ""
    met: bool | None = None


def at_least(name: str, value: float, unit: str, goal: float) -> Figure:
    """A figure that should reach ``goal``."""
    return Figure(name, value, unit, f"≥ {goal:g}", value >= goal)


def at_most(name: str, value: float, unit: str, goal: float) -> Figure:
    """A figure that should stay at or below ``goal``."""
    return Figure(name, value, unit, f"≤ {goal:g}", value <= goal)


def percentile(values: Sequence[float], share: float) -> float:
    """The smallest value that ``share`` (0 to 1) of ``values`` do not exceed: the nearest-rank percentile."""
    ordered = sorted(values)
    return ordered[max(0, -int(-share * len(ordered) // 1) - 1)]


def machine() -> dict[str, str | int]:
    """What a figure hangs on."""
    return {
        "python": f"{platform.python_implementation()} {platform.python_version()}",
        "cores": len(os.sched_getaffinity(0)),
        "machine": platform.machine(),
    }


def as_json(figures: Iterable[Figure]) -> list[dict[str, object]]:
    """The figures as JSON values; what has no goal says so by null."""
    return [{**each._asdict(), "value": _rounded(each.value), "goal": each.goal or None} for each in figures]


def table(title: str, figures: Iterable[Figure]) -> str:
    """The figures as lines of text."""
    lines = [title]
    for each in figures:
        mark = {None: "", True: "met", False: "MISSED"}[each.met]
        lines.append(f"  {each.name:<58} {_rounded(each.value):>12,} {each.unit:<12} {each.goal:<8} {mark}".rstrip())
    return "\n".join(lines)


def _rounded(value: float) -> float | int:
    """Three digits that count, and no false ones."""
    if abs(value) >= 100:
        return round(value)
    return float(f"{value:.3g}")
