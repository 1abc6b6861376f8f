"""A table of a view in a given number of cells: columns give way by their ``keep``, cells by an ellipsis."""

from __future__ import annotations

from collections.abc import Sequence

from rich.cells import cell_len
from rich.text import Text

from ...view import Column, Row, Table, Urgency
from ..words import URGENCY_SIGNS
from .cells import cropped, fit, wrapped
from .theme import Theme

SIGN_WIDTH = 3
GAP = 2
#: below this many lines a table has none to spare for its title
ROOM_FOR_TITLE = 4
#: a column of words may shrink to so many cells before another column has to go; a shorter one stands whole or not
LEAST_WORDS = 16
#: and may not push the others further away than this while there is something to gain
MOST_WORDS = 60


def table_lines(table: Table, rows: Sequence[Row], width: int, height: int, theme: Theme, head: str) -> list[Text]:
    """Heading and rows, at most ``height`` lines of ``width`` cells; ``head`` stands in place of the first title.

    Rows that need attention get their sentence under them as long as every row has its line first.
    """
    places, widths = chosen(table.columns, rows[: max(height - 1, 0)], width - SIGN_WIDTH)
    lines: list[Text] = []
    if height > ROOM_FOR_TITLE and cell_len(head) > SIGN_WIDTH + widths[0] + GAP:
        # a title that would cover those of other columns gets its own line where there is room for it
        lines.append(rule(head, width, theme))
        head, height = "", height - 1
    shown = rows[: max(height - 1, 0)]
    lines.append(_heading(table, places, widths, width, theme, head))
    if not shown and height > 1:
        lines.append(Text(" " * SIGN_WIDTH + fit(table.empty, width - SIGN_WIDTH), style=theme.dim))
    spare = height - 1 - len(shown)
    for row in shown:
        lines.append(_row(table.columns, row, places, widths, width, theme))
        under = _under(row, width, spare)
        spare -= len(under)
        lines += [Text(fit(line, width), style=theme.dim) for line in under]
    return lines


def rule(head: str, width: int, theme: Theme) -> Text:
    """A line with a name in it."""
    line = Text()
    line.append(f"{head} ", style=theme.heading)
    line.append("─" * max(0, width - line.cell_len), style=theme.rule)
    return cropped(line, width)


def chosen(columns: Sequence[Column], rows: Sequence[Row], width: int) -> tuple[list[int], list[int]]:
    """The columns that fit into ``width`` cells, as indices, and the width of each.

    A column goes when there is no room for it, and also when one of a much lower ``keep`` would have to be elided.
    """
    natural = [_natural(columns, rows, index) for index in range(len(columns))]
    least = [n if columns[i].right else min(n, LEAST_WORDS) for i, n in enumerate(natural)]
    places = list(range(len(columns)))
    while len(places) > 1:
        need = sum(least[i] + GAP for i in places) - GAP
        # the one with the highest keep goes; of equals the last
        last = max(places, key=lambda i: (columns[i].keep, i))
        short = sum(min(natural[i], MOST_WORDS) - least[i] for i in places if columns[i].keep <= columns[last].keep - 3)
        if need <= width and (short == 0 or need + short <= width):
            break
        places.remove(last)
    widths = {i: min(least[i], width) for i in places}
    spare = width - sum(widths[i] + GAP for i in places) + GAP
    for i in sorted(places, key=lambda i: (columns[i].keep, i)):
        more = max(0, min(spare, min(natural[i], MOST_WORDS) - widths[i]))
        widths[i] += more
        spare -= more
    return places, [widths[i] for i in places]


def _natural(columns: Sequence[Column], rows: Sequence[Row], index: int) -> int:
    longest = max((cell_len(row.cells[index]) for row in rows if index < len(row.cells)), default=0)
    return max(longest, cell_len(title(columns[index])))


def title(column: Column) -> str:
    """The column's title with its unit."""
    return f"{column.title} {column.unit}".strip() if column.unit else column.title


def _heading(table: Table, places: Sequence[int], widths: Sequence[int], width: int, theme: Theme, head: str) -> Text:
    line = Text()
    if head:
        line.append(f"{head} ", style=theme.heading)
    else:
        line.append("─", style=theme.rule)
    edge = SIGN_WIDTH
    for at, (index, cells) in enumerate(zip(places, widths, strict=True)):
        column = table.columns[index]
        words = title(column)
        start = edge + (cells - cell_len(words) if column.right else 0)
        # the first column's title gives way to the panel's name, and any other that would run into what stands there
        if (at > 0 or not head) and words and start - 1 >= line.cell_len and cell_len(words) <= cells:
            line.append("─" * (start - 1 - line.cell_len), style=theme.rule)
            line.append(f" {words} ", style=theme.dim)
        edge += cells + GAP
    line.append("─" * (width - line.cell_len), style=theme.rule)
    line.truncate(width)
    return line


def _row(
    columns: Sequence[Column],
    row: Row,
    places: Sequence[int],
    widths: Sequence[int],
    width: int,
    theme: Theme,
) -> Text:
    line = Text()
    line.append(fit(URGENCY_SIGNS[row.urgency], SIGN_WIDTH - 1, right=True), style=theme.urgency[row.urgency])
    line.append(" ")
    for at, (index, cells) in enumerate(zip(places, widths, strict=True)):
        if at:
            line.append(" " * GAP)
        text = row.cells[index] if index < len(row.cells) else ""
        style = theme.strong if at == 0 and row.urgency >= Urgency.WANTED else ""
        line.append(fit(text, cells, right=columns[index].right), style=style)
    line.append(" " * (width - line.cell_len))
    return line


def _under(row: Row, width: int, spare: int) -> list[str]:
    """The row's sentence where it adds something; one that names the row itself says again what the cells say."""
    if row.sentence is None or row.urgency is Urgency.CALM or (row.cells and row.cells[0] in row.sentence):
        return []
    indent = " " * (SIGN_WIDTH + 2)
    lines = [indent + line for line in wrapped(row.sentence, width - len(indent))]
    return lines if len(lines) <= spare else []
