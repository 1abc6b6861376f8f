"""Areas of rings on a plane, and rings cut along a line."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import floor

#: a closed line of corner points (x, y); the last joins the first
Ring = Sequence[tuple[float, float]]


def signed_area(ring: Ring) -> float:
    """The area within a ring, positive where it turns anticlockwise."""
    total = 0.0
    x0, y0 = ring[-1] if ring else (0.0, 0.0)
    for x1, y1 in ring:
        total += x0 * y1 - x1 * y0
        x0, y0 = x1, y1
    return total / 2


def cut(ring: Ring, axis: int, at: float, above: bool) -> list[tuple[float, float]]:
    """What of a ring lies above (or else below) ``at`` on an axis (0: x, 1: y), by Sutherland and Hodgman's method.

    Parts that fall asunder stay joined by a line along the cut, there and back, which adds no area.
    """
    sign = 1 if above else -1
    kept: list[tuple[float, float]] = []
    if not ring:
        return kept
    last = ring[-1]
    last_inside = sign * (last[axis] - at) >= 0
    for point in ring:
        inside = sign * (point[axis] - at) >= 0
        if inside != last_inside:
            kept.append(_crossing(last, point, axis, at))
        if inside:
            kept.append(point)
        last, last_inside = point, inside
    return kept


def within(ring: Ring, south: float, west: float, north: float, east: float) -> list[tuple[float, float]]:
    """What of a ring lies within a box; x grows eastwards, y northwards."""
    return cut(cut(cut(cut(ring, 1, south, True), 1, north, False), 0, west, True), 0, east, False)


def strips(ring: Ring, axis: int, width: float) -> Iterator[tuple[int, list[tuple[float, float]]]]:
    """The ring cut into strips across an axis: (number, part), strip n reaching from n * width to (n + 1) * width."""
    lowest, highest = min(point[axis] for point in ring), max(point[axis] for point in ring)
    rest = list(ring)
    for number in range(floor(lowest / width), floor(highest / width) + 1):
        part = cut(rest, axis, (number + 1) * width, False)
        rest = cut(rest, axis, (number + 1) * width, True)
        if part:
            yield number, part


def _crossing(a: tuple[float, float], b: tuple[float, float], axis: int, at: float) -> tuple[float, float]:
    other = 1 - axis
    value = a[other] + (at - a[axis]) * (b[other] - a[other]) / (b[axis] - a[axis])
    return (at, value) if axis == 0 else (value, at)
