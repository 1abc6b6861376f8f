"""Text fitted to terminal cells. Wide characters count two; what does not fit ends in an ellipsis."""

from __future__ import annotations

from collections.abc import Iterable

from rich.cells import cell_len, set_cell_size
from rich.text import Text

ELLIPSIS = "…"


def fit(text: str, width: int, *, right: bool = False) -> str:
    """``text`` in exactly ``width`` cells: padded, or elided at its end."""
    if width <= 0:
        return ""
    length = cell_len(text)
    if length > width:
        return set_cell_size(set_cell_size(text, width - 1).rstrip() + ELLIPSIS, width)
    room = " " * (width - length)
    return room + text if right else text + room


def elide(text: str, width: int) -> str:
    """``text`` in at most ``width`` cells."""
    return text if cell_len(text) <= width else fit(text, width)


def cropped(line: Text, width: int) -> Text:
    """``line`` in exactly ``width`` cells, with its styles."""
    line = line.copy()
    line.truncate(width, overflow="ellipsis", pad=True)
    return line


def spread(left: Text, right: Text, width: int) -> Text:
    """``left`` and ``right`` at the two ends of a line; where both do not fit, the right one yields."""
    room = width - left.cell_len
    if room < right.cell_len + 2:
        return cropped(left, width)
    return Text.assemble(left, " " * (room - right.cell_len), right)


def wrapped(text: str, width: int) -> list[str]:
    """``text`` broken at spaces into lines of at most ``width`` cells."""
    lines: list[str] = []
    line = ""
    for word in text.split(" "):
        tried = f"{line} {word}" if line else word
        if cell_len(tried) <= width:
            line = tried
            continue
        if line:
            lines.append(line)
        line = elide(word, width)
    if line:
        lines.append(line)
    return lines


def shortened(lines: list[str], height: int, width: int) -> list[str]:
    """The first ``height`` lines; where some are left out, the last ends in an ellipsis."""
    if len(lines) <= height:
        return lines
    kept = lines[: max(height, 0)]
    if kept:
        kept[-1] = elide(f"{kept[-1]} {ELLIPSIS}", width)
    return kept


def flowing(parts: Iterable[Text], width: int, gap: str = "   ") -> list[Text]:
    """``parts`` one after the other, a new line wherever the next does not fit."""
    lines: list[Text] = []
    for part in parts:
        part = cropped(part, width) if part.cell_len > width else part
        if lines and lines[-1].cell_len + len(gap) + part.cell_len <= width:
            lines[-1] = Text.assemble(lines[-1], gap, part)
        else:
            lines.append(part)
    return lines
