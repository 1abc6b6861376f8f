"""Outlines from a TopoJSON file (the TopoJSON format specification, version 1)."""

from __future__ import annotations

import json
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

from watchkeeper.radio.polygon import signed_area

_Points = list[tuple[float, float]]


def outlines(path: Path, name: str) -> Iterator[tuple[str, _Points]]:
    """(region's name, ring) of each ring of the object ``name``: outer rings anticlockwise, holes clockwise, degrees.

    A ring across the antimeridian goes on beyond 180° instead of jumping; one round a pole is closed along the pole and
    holds the land towards it.
    """
    topology = json.loads(path.read_text(encoding="utf-8"))
    arcs = [_decoded(arc, topology["transform"]) for arc in topology["arcs"]]
    for geometry in topology["objects"][name]["geometries"]:
        polygons = [geometry["arcs"]] if geometry["type"] == "Polygon" else geometry["arcs"]
        for polygon in polygons:
            for index, indices in enumerate(polygon):
                ring, polar = _unwrapped(_joined(indices, arcs))
                if (signed_area(ring) > 0) != (index == 0 or polar):
                    ring.reverse()
                yield geometry["properties"]["name"], ring


def _decoded(arc: list[list[int]], transform: dict[str, Any]) -> _Points:
    (scale_x, scale_y), (origin_x, origin_y) = transform["scale"], transform["translate"]
    x = y = 0
    points: _Points = []
    for step_x, step_y in arc:
        x, y = x + step_x, y + step_y
        points.append((x * scale_x + origin_x, y * scale_y + origin_y))
    return points


def _joined(indices: list[int], arcs: list[_Points]) -> _Points:
    """The arcs one after another; a negative number runs backwards. Ends meet, so one of each two is dropped."""
    ring: _Points = []
    for index in indices:
        ring.extend(arcs[index][1:] if index >= 0 else arcs[~index][-2::-1])
    return ring


def _unwrapped(ring: _Points) -> tuple[_Points, bool]:
    """The ring without jumps of 360°, and whether it goes round a pole."""
    points = ring[:1]
    turn = 0.0
    for (x0, _), (x1, y1) in pairwise([*ring, ring[0]]):
        turn -= 360.0 * round((x1 - x0) / 360.0)
        points.append((x1 + turn, y1))
    if turn == 0.0:
        return points[:-1], False
    pole = -90.0 if points[0][1] < 0 else 90.0
    return [*points, (points[-1][0], pole), (points[0][0], pole)], True
