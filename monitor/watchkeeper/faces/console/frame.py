"""One frame of the dashboard: what stands where, for any size of terminal.

Below 100 columns all stands in one column, in the order in which this period needs it, the least urgent panels in one
line each. From 100 columns on two columns, from 160 on three.
"""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Group
from rich.text import Text

from ...view import Panel
from ..shown import Snapshot, Status
from .cells import cropped
from .help import help_lines, invitation_lines
from .panels import panel_lines, wanted_lines
from .theme import Theme
from .top import advice_lines, callers_line, hail_line, key_line, period_line, state_line
from .viewing import Viewing

LEAST_WIDTH, LEAST_HEIGHT = 40, 10
TWO_COLUMNS, THREE_COLUMNS = 100, 160
COLUMN_GAP = 3

#: the panels that hold the next transmission: they stand first in their column and shrink last
LEADING = frozenset({Panel.LOOKOUT, Panel.ON_THE_AIR})
#: panels of each column, top down
ONE: Sequence[Sequence[Panel]] = (tuple(Panel),)
TWO = ((Panel.LOOKOUT, Panel.ON_THE_AIR), (Panel.VITALS, Panel.OPENINGS, Panel.REACH, Panel.LOG))
THREE = ((Panel.LOOKOUT, Panel.ON_THE_AIR), (Panel.OPENINGS, Panel.REACH), (Panel.VITALS, Panel.LOG))
#: share of the width of each column
SHARES = {1: (1.0,), 2: (0.56, 0.44), 3: (0.40, 0.33, 0.27)}


def render(
    snapshot: Snapshot,
    status: Status,
    width: int,
    height: int,
    theme: Theme,
    now_ms: int,
    viewing: Viewing | None = None,
) -> Group:
    """The whole frame: ``height`` lines of ``width`` cells. ``now_ms`` is the time that the countdown shows."""
    return Group(*frame_lines(snapshot, status, width, height, theme, now_ms, viewing or Viewing()))


def frame_lines(
    snapshot: Snapshot, status: Status, width: int, height: int, theme: Theme, now_ms: int, viewing: Viewing
) -> list[Text]:
    """The lines of the frame, top down."""
    if width < LEAST_WIDTH or height < LEAST_HEIGHT:
        words = f"needs {LEAST_WIDTH}×{LEAST_HEIGHT} characters, this is {width}×{height}"
        return _filled([Text(words)], width, height, theme)
    # a QR code needs all the room there is
    inviting = viewing.invitation is not None
    head = [] if inviting else top_lines(snapshot, status, width, height, theme, now_ms, viewing)
    foot = [line for line in (hail_line(viewing.open_hails(snapshot), width, theme, viewing),) if line is not None]
    foot.append(key_line(width, theme, viewing))
    room = height - len(head) - len(foot)
    if viewing.invitation is not None:
        body = invitation_lines(viewing.invitation, width, room)
    elif viewing.helping:
        body = help_lines(width, room, theme, viewing)
    else:
        body = body_lines(snapshot, width, room, theme, viewing.band)
    return _filled([*head, *_filled(body, width, room, theme), *foot], width, height, theme)


def top_lines(
    snapshot: Snapshot, status: Status, width: int, height: int, theme: Theme, now_ms: int, viewing: Viewing
) -> list[Text]:
    """Period, state, advice and callers: what decides the next transmission."""
    lines = [period_line(snapshot, width, theme, now_ms)]
    lines.append(state_line(snapshot, status, width, theme, now_ms, viewing))
    if height >= 30:
        lines.append(Text(" " * width))
    lines += advice_lines(snapshot, width, 8 if theme.roomy and height >= 24 else 3, theme, now_ms)
    callers = callers_line(snapshot, width, theme)
    if callers is not None:
        lines.append(callers)
    if height >= 30 or (theme.roomy and height >= 24):
        lines.append(Text(" " * width))
    return lines


def body_lines(snapshot: Snapshot, width: int, height: int, theme: Theme, band: str | None) -> list[Text]:
    """The six panels, arranged for the room there is."""
    columns = THREE if width >= THREE_COLUMNS else TWO if width >= TWO_COLUMNS else ONE
    shares = SHARES[len(columns)]
    inner = width - COLUMN_GAP * (len(columns) - 1)
    widths = [int(inner * share) for share in shares]
    widths[-1] = inner - sum(widths[:-1])
    blocks = [
        _column(snapshot, panels, cells, height, theme, band) for panels, cells in zip(columns, widths, strict=True)
    ]
    if len(blocks) == 1:
        return blocks[0]
    lines = []
    for at in range(height):
        line = Text()
        for number, (block, cells) in enumerate(zip(blocks, widths, strict=True)):
            line.append(" " * COLUMN_GAP if number else "")
            line.append_text(block[at] if at < len(block) else Text(" " * cells))
        lines.append(line)
    return lines


def _column(
    snapshot: Snapshot, panels: Sequence[Panel], width: int, height: int, theme: Theme, band: str | None
) -> list[Text]:
    wants = [wanted_lines(snapshot, panel, width, theme, band) for panel in panels]
    gap = 1 if sum(wants) + len(panels) - 1 <= height else 0
    first = sum(panel in LEADING for panel in panels)
    heights = shared(height - gap * (len(panels) - 1), wants, first)
    lines: list[Text] = []
    for panel, room in zip(panels, heights, strict=True):
        if lines and gap:
            lines.append(Text(" " * width))
        lines += panel_lines(snapshot, panel, width, room, theme, band)
    return lines


def shared(height: int, wants: Sequence[int], first: int) -> list[int]:
    """How many of ``height`` lines each panel gets, at most what it wants.

    Each gets one line if there are enough; then the ``first`` panels and the others grow in turn, the first ones by
    more: they hold the next transmission.
    """
    heights = [0] * len(wants)
    spare = height
    for least, panels in _growth(len(wants), first):
        for at in panels:
            more = max(0, min(least, wants[at]) - heights[at])
            more = min(more, spare)
            heights[at] += more
            spare -= more
    return heights


def _growth(panels: int, first: int) -> list[tuple[int, range]]:
    leading, following = range(first), range(first, panels)
    return [
        (1, range(panels)),
        (5, leading),
        (3, following),
        (9, leading),
        (6, following),
        (14, leading),
        (1000, following),
        (1000, leading),
    ]


def _filled(lines: Sequence[Text], width: int, height: int, theme: Theme) -> list[Text]:
    filled = []
    for at in range(height):
        line = cropped(lines[at], width) if at < len(lines) else Text(" " * width)
        if theme.base:
            line = Text.assemble(line, style=theme.base)
        # it has its width: rich, which counts characters where it wraps, must not touch it again
        line.no_wrap, line.overflow = True, "ignore"
        filled.append(line)
    return filled
