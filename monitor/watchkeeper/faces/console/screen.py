"""The terminal's screen as lines: only those that changed are written."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from typing import TextIO

from rich.console import Console, Group
from rich.text import Text

from ..outlet import Outlet

_ENTER, _LEAVE = "\x1b[?1049h\x1b[?25l\x1b[2J", "\x1b[?25h\x1b[?1049l"
# a terminal that knows synchronised updates shows all of a frame at once; others ignore these
_BEGIN, _END = "\x1b[?2026h", "\x1b[?2026l"

Frame = tuple[tuple[int, int], Sequence[str]]


class Screen:
    """The alternate screen of ``output``, until closed."""

    def __init__(self, output: TextIO, *, no_color: bool | None = None) -> None:
        self._output = output
        self._console = Console(
            file=output,
            force_terminal=True,
            no_color=no_color,
            markup=False,
            emoji=False,
            highlight=False,
            legacy_windows=False,
        )
        self._size = (0, 0)
        self._written: list[str] = []
        self._outlet: Outlet[Frame] = Outlet(self._write, bound=1)
        self._first = True

    def draw(self, lines: Sequence[Text], size: tuple[int, int]) -> list[str]:
        """Queue a frame of ``size`` (columns, lines); returns its lines with their escape sequences."""
        drawn = self.drawn(lines, size)
        self._outlet.put((size, drawn))
        return drawn

    def put(self, drawn: Sequence[str], size: tuple[int, int]) -> None:
        """Queue a frame that is drawn already."""
        self._outlet.put((size, drawn))

    def drawn(self, lines: Sequence[Text], size: tuple[int, int]) -> list[str]:
        """``lines`` as the terminal wants them."""
        self._console.size = size
        with self._console.capture() as capture:
            self._console.print(Group(*lines), no_wrap=True, overflow="ignore")
        return capture.get().split("\n")[: len(lines)]

    def close(self) -> None:
        """Give the terminal back as it was."""
        self._outlet.close()
        with suppress(OSError, ValueError):  # a terminal that is gone needs nothing back
            self._output.write("" if self._first else _LEAVE)
            self._output.flush()

    def _write(self, frame: Frame) -> None:
        size, lines = frame
        parts = [_BEGIN]
        if self._first:
            parts.append(_ENTER)
            self._first = False
        if size != self._size:
            parts.append("\x1b[0m\x1b[2J")
            self._size, self._written = size, []
        for at, line in enumerate(lines):
            if at >= len(self._written) or self._written[at] != line:
                parts.append(f"\x1b[{at + 1};1H{line}")
        self._written = list(lines)
        if len(parts) > 1:
            self._output.write("".join(parts) + _END)
            self._output.flush()
