"""The land of countries and US states by four-character locator, from the Natural Earth and Census outlines."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from pathlib import Path

from watchkeeper.radio.build.names import COUNTRY_NAMES, STATE_CODES
from watchkeeper.radio.build.topojson import outlines
from watchkeeper.radio.locator import from_point
from watchkeeper.radio.polygon import Ring, strips
from watchkeeper.radio.subdivision import GRID_STEPS, land_area

# Straight state borders are drawn so coarsely that they stray into the next square: less than this is no state's land.
_LEAST_STATE_SHARE = 0.0005

_Squares = dict[str, dict[str, list[list[tuple[int, int]]]]]


def build(raw: Path) -> dict[str, str]:
    """The text of each data file by file name."""
    countries = (
        (COUNTRY_NAMES.get(name, name), ring) for name, ring in outlines(raw / "countries-50m.json", "countries")
    )
    states = (
        (STATE_CODES[name], ring)
        for name, ring in outlines(raw / "us-states-10m.json", "states")
        if name in STATE_CODES
    )
    return {
        "countries.txt": _written(_squares(countries)),
        "us-states.txt": _written(_squares(states), _LEAST_STATE_SHARE),
    }


def _squares(regions: Iterable[tuple[str, Ring]]) -> _Squares:
    """Locator → region → its rings within the square, in steps of the square's grid."""
    squares: _Squares = defaultdict(lambda: defaultdict(list))
    for name, ring in regions:
        for row, strip in strips(ring, 1, 1.0):
            for column, part in strips(strip, 0, 2.0):
                steps = _on_grid(part, row, column)
                if len(steps) > 2:
                    square = from_point(row + 0.5, column * 2.0 + 1.0, 4)
                    squares[square][name].append(steps)
    return squares


def _on_grid(ring: Ring, row: int, column: int) -> list[tuple[int, int]]:
    """A ring in degrees on the grid of its square, the one of that many steps of 1° north and 2° east."""
    steps = [(round((x / 2 - column) * GRID_STEPS), round((y - row) * GRID_STEPS)) for x, y in ring]
    return [step for step, before in zip(steps, steps[-1:] + steps[:-1], strict=True) if step != before]


def _written(squares: _Squares, least_share: float = 0.0) -> str:
    """``W`` lines: a region and the squares that hold land of no other, each with the per mille that is land.

    ``M`` lines: a square with several regions, one of them and its rings, each the steps from corner to corner.
    """
    alone: dict[str, list[str]] = defaultdict(list)
    mixed: list[str] = []
    for square, regions in sorted(squares.items()):
        areas = {name: land_area(square, rings) for name, rings in regions.items()}
        least = least_share * sum(areas.values())
        areas = {name: area for name, area in areas.items() if area > least}
        if len(areas) == 1:
            name, area = areas.popitem()
            alone[name].append(square + str(_per_mille(square, area)))
        else:
            mixed.extend(_mixed_lines(square, regions, areas))
    lines = [f"W\t{name}\t{' '.join(found)}" for name, found in sorted(alone.items())]
    return "\n".join((*lines, *mixed)) + "\n"


def _mixed_lines(
    square: str, regions: Mapping[str, list[list[tuple[int, int]]]], areas: Mapping[str, float]
) -> list[str]:
    return [
        f"M\t{square}\t{name}\t" + ";".join(map(_steps_text, rings))
        for name, rings in sorted(regions.items())
        if name in areas
    ]


def _per_mille(square: str, area: float) -> int:
    whole = [(0, 0), (GRID_STEPS, 0), (GRID_STEPS, GRID_STEPS), (0, GRID_STEPS)]
    return max(1, min(1000, round(1000 * area / land_area(square, [whole]))))


def _steps_text(ring: list[tuple[int, int]]) -> str:
    x = y = 0
    words: list[str] = []
    for next_x, next_y in ring:
        words.append(f"{next_x - x} {next_y - y}")
        x, y = next_x, next_y
    return " ".join(words)
