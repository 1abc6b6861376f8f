"""Makes ``static/land.json``, the map's coastlines, from a TopoJSON of the world's land.

    python -m watchkeeper.faces.page.build_land land-110m.json

Input: Natural Earth 1:110 m land (public domain), as TopoJSON. Output: ``{"source": …, "lines": [[lon, lat, dlon,
dlat, …], …]}``, whole tenths of a degree, each line's first point absolute and every other relative to the one before.
The frame that the data draws along the antimeridian and the south pole is no coast and is left out.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

SOURCE = "Natural Earth 1:110 m land, public domain"
TARGET = Path(__file__).with_name("static") / "land.json"
Point = tuple[int, int]


def coastlines(topology: dict[str, Any]) -> Iterator[list[Point]]:
    """The lines of ``topology`` in whole tenths of a degree (longitude +E, latitude +N)."""
    scale, translate = topology["transform"]["scale"], topology["transform"]["translate"]
    for arc in topology["arcs"]:
        x = y = 0
        line: list[Point] = []
        for dx, dy in arc:
            x, y = x + dx, y + dy
            point = (round(10 * (x * scale[0] + translate[0])), round(10 * (y * scale[1] + translate[1])))
            if not line or point != line[-1]:
                line.append(point)
        yield from _coast(line)


def _coast(line: Sequence[Point]) -> Iterator[list[Point]]:
    """The pieces of ``line`` that are coast."""
    piece: list[Point] = []
    for at, point in enumerate(line):
        if at and _is_frame(line[at - 1], point):
            if len(piece) > 1:
                yield piece
            piece = []
        piece.append(point)
    if len(piece) > 1:
        yield piece


def _is_frame(a: Point, b: Point) -> bool:
    return abs(a[0]) == abs(b[0]) == 1800 or a[1] == b[1] == -900


def packed(line: Sequence[Point]) -> list[int]:
    """``line`` as one flat list, relative but for its first point."""
    flat = list(line[0])
    for before, point in pairwise(line):
        flat += [point[0] - before[0], point[1] - before[1]]
    return flat


def main() -> None:
    topology = json.loads(Path(sys.argv[1]).read_text(encoding="utf-8"))
    lines = [packed(line) for line in coastlines(topology)]
    TARGET.write_text(json.dumps({"source": SOURCE, "lines": lines}, separators=(",", ":")) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
