"""Any view as lines of text: tables, gauges in words, sparklines, maps by direction, notices."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from rich.cells import cell_len
from rich.text import Text

from ...view import Gauges, Line, Map, Notice, Panel, Reading, Row, Series, Table, Urgency, View
from ..shown import Snapshot, call_of
from ..words import PANEL_NAMES, SECTORS, URGENCY_SIGNS
from .cells import cropped, fit, flowing, shortened, wrapped
from .table import SIGN_WIDTH, rule, table_lines
from .theme import Theme

NOTHING = "no plugin shows anything here"
BARS = "▁▂▃▄▅▆▇█"


def rows_of(table: Table, band: str | None) -> tuple[Row, ...]:
    """The rows of ``table`` that belong to ``band``, or to no band; all of them where ``band`` is None."""
    if band is None:
        return table.rows
    return tuple(row for row in table.rows if row.data.get("band", band) in (band, None))


def wanted_lines(snapshot: Snapshot, panel: Panel, width: int, theme: Theme, band: str | None) -> int:
    """How many lines the panel would fill if it had all the room it likes."""
    return len(panel_lines(snapshot, panel, width, 1000, theme, band))


def panel_lines(
    snapshot: Snapshot, panel: Panel, width: int, height: int, theme: Theme, band: str | None
) -> list[Text]:
    """The panel in at most ``height`` lines of exactly ``width`` cells. A single line holds the gist alone."""
    views = snapshot.panel(panel)
    name = PANEL_NAMES[panel].upper()
    if height <= 0:
        return []
    if height == 1 or not views:
        return [gist(views, name, width, theme, band)]
    lines: list[Text] = []
    for view, room in zip(views, _rooms(views, width, height, theme, band), strict=True):
        head = name if not lines else view.title
        if room >= 2 or not lines:
            lines += _view_lines(view, width, room, theme, head, band)
    lines += _missing(views, width, height - len(lines), theme)
    return [cropped(line, width) for line in lines[:height]]


def _rooms(views: Sequence[View], width: int, height: int, theme: Theme, band: str | None) -> list[int]:
    """How many lines each view gets: two are the least with which one says anything, then the first ones grow."""
    wants = [len(_view_lines(view, width, 1000, theme, view.title, band)) for view in views]
    rooms = [0] * len(views)
    spare = height
    for least in (2, 3, 5, 1000):
        for at, want in enumerate(wants):
            more = min(least, want) - rooms[at]
            if least > 2 or more <= spare:
                more = min(max(more, 0), spare)
                rooms[at] += more
                spare -= more
    return rooms


def gist(views: Sequence[View], name: str, width: int, theme: Theme, band: str | None) -> Text:
    """The panel in one line, what is urgent first."""
    parts: list[tuple[Urgency, str]] = []
    for view in views:
        parts += _gist_parts(view, band)
    line = Text()
    line.append(f"{name} ", style=theme.heading)
    parts.sort(key=lambda part: -part[0])
    if not parts:
        line.append(f"─ {NOTHING}", style=theme.dim)
    for at, (urgency, words) in enumerate(parts):
        line.append(" │ " if at else "─ ", style=theme.rule)
        if URGENCY_SIGNS[urgency]:
            line.append(URGENCY_SIGNS[urgency], style=theme.urgency[urgency])
            line.append(" ")
        line.append(words)
        if line.cell_len > width:
            break
    return cropped(line, width)


def _gist_parts(view: View, band: str | None) -> list[tuple[Urgency, str]]:
    match view:
        case Table():
            rows = rows_of(view, band)[:6]
            return [(row.urgency, row_words(row)) for row in rows]
        case Gauges():
            return [(reading.urgency, f"{reading.label} {reading.text}") for reading in view.readings]
        case Series():
            return [(Urgency.CALM, f"{line.label} {_latest(line, view.unit)}") for line in view.lines]
        case Map():
            return [(Urgency.CALM, by_direction(view))]
        case Notice():
            return [(view.urgency, view.text)]
        case _:
            return []


def row_words(row: Row) -> str:
    """A row in words: its sentence, with the call sign where that lacks it, else its cells."""
    if row.sentence is None:
        return " ".join(cell for cell in row.cells if cell)
    call = call_of(row)
    return row.sentence if call in row.sentence else f"{call} {row.sentence}"


def _view_lines(view: View, width: int, height: int, theme: Theme, head: str, band: str | None) -> list[Text]:
    match view:
        case Table():
            return table_lines(view, rows_of(view, band), width, height, theme, head)
        case Gauges():
            return [rule(head, width, theme), *_gauge_lines(view, width, height - 1, theme)]
        case Series():
            return [rule(f"{head} {view.unit}".strip(), width, theme), *_series_lines(view, width)][:height]
        case Map():
            body = [Text(line, style="") for line in wrapped(by_direction(view), width - SIGN_WIDTH)]
            return [rule(head, width, theme), *(Text.assemble(" " * SIGN_WIDTH, line) for line in body)][:height]
        case Notice():
            words = shortened(wrapped(view.text, width - SIGN_WIDTH), height - 1, width - SIGN_WIDTH)
            return [rule(head, width, theme), *(_signed(view.urgency, line, theme) for line in words)]
        case _:
            return []


def _signed(urgency: Urgency, words: str, theme: Theme) -> Text:
    line = Text(fit(URGENCY_SIGNS[urgency], SIGN_WIDTH - 1, right=True), style="")
    line.stylize(theme.urgency[urgency], 0, SIGN_WIDTH - 1)
    line.append(f" {words}")
    return line


def _gauge_lines(view: Gauges, width: int, height: int, theme: Theme) -> list[Text]:
    """One reading a line with its sentence while there is room, else all of them one after the other."""
    readings = sorted(view.readings, key=lambda reading: -reading.urgency)
    label = max((cell_len(reading.label) for reading in readings), default=0)
    listed: list[Text] = []
    for reading in readings:
        words = f"{fit(reading.label, label)}  {reading.text}"
        listed.append(_signed(reading.urgency, words, theme))
        if reading.sentence and reading.urgency > Urgency.CALM:
            indent = " " * (SIGN_WIDTH + 2)
            listed += [Text(indent + line, style=theme.dim) for line in wrapped(reading.sentence, width - len(indent))]
    if len(listed) <= height:
        return listed
    flowed = flowing((_brief(reading, theme) for reading in readings), width - SIGN_WIDTH)
    return [Text.assemble(" " * SIGN_WIDTH, line) for line in flowed[: max(height, 0)]]


def _brief(reading: Reading, theme: Theme) -> Text:
    sign = URGENCY_SIGNS[reading.urgency]
    line = Text()
    if sign:
        line.append(sign, style=theme.urgency[reading.urgency])
        line.append(" ")
    line.append(f"{reading.label} ", style=theme.dim)
    line.append(reading.text)
    return line


def _series_lines(view: Series, width: int) -> list[Text]:
    label = max((cell_len(line.label) for line in view.lines), default=0)
    latest = max((cell_len(_latest(line, view.unit)) for line in view.lines), default=0)
    room = max(4, width - SIGN_WIDTH - label - latest - 4)
    return [
        Text(f"{' ' * SIGN_WIDTH}{fit(line.label, label)}  {spark(line, room)}  {_latest(line, view.unit)}")
        for line in view.lines
    ]


def spark(line: Line, width: int) -> str:
    """The last ``width`` values as bars; a gap where nothing was measured."""
    values = [value for _, value in line.points[-width:]]
    known = [value for value in values if value is not None and math.isfinite(value)]
    if not known:
        return fit("", min(width, len(values)))
    low, high = min(known), max(known)
    scale = (len(BARS) - 1) / (high - low) if high > low else 0.0
    return "".join(
        " " if value is None or not math.isfinite(value) else BARS[round((value - low) * scale)] for value in values
    )


def _latest(line: Line, unit: str) -> str:
    for _, value in reversed(line.points):
        if value is not None and math.isfinite(value):
            return f"{value:.4g} {unit}".strip()
    return "–"


def by_direction(view: Map) -> str:
    """How many dots lie in each of eight directions from the centre: ``NE 12 · E 4``."""
    found = Counter(sector(view.centre_latitude, view.centre_longitude, d.latitude, d.longitude) for d in view.dots)
    if not found:
        return "no stations yet"
    return " · ".join(f"{name} {found[name]}" for name in SECTORS if found[name])


def sector(latitude: float, longitude: float, to_latitude: float, to_longitude: float) -> str:
    """The eighth of the compass in which the great circle (on a sphere) to the second place starts; degrees."""
    a, b = math.radians(latitude), math.radians(to_latitude)
    turn = math.radians(to_longitude - longitude)
    east = math.sin(turn) * math.cos(b)
    north = math.cos(a) * math.sin(b) - math.sin(a) * math.cos(b) * math.cos(turn)
    return SECTORS[round(math.degrees(math.atan2(east, north)) / 45) % 8]


def _missing(views: Sequence[View], width: int, room: int, theme: Theme) -> list[Text]:
    hints = list(dict.fromkeys(view.missing for view in views if view.missing))
    lines = [line for hint in hints for line in wrapped(hint, width - SIGN_WIDTH)]
    return [Text(fit(" " * SIGN_WIDTH + line, width), style=theme.dim) for line in lines[: max(room, 0)]]
