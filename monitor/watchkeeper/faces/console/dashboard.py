"""The dashboard on a terminal: the whole frame is drawn on change, between changes the countdown alone moves."""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import sys
import time
from collections.abc import Callable
from typing import Any, TextIO

from rich.text import Text

from ..clock import FaceClock
from ..invitation import Invitation
from ..shown import Snapshot, Status, to_snapshot, to_status
from ..source import ActRefusedError, NoDaemonError, Source
from ..words import band_words
from .frame import frame_lines, top_lines
from .keys import keys
from .screen import Screen
from .theme import DARK, Theme
from .viewing import Viewing

#: no two frames follow each other faster, whatever happens
LEAST_GAP_S = 0.5
#: the countdown moves once a second
TICK_S = 1.0
MESSAGE_S = 4.0
#: how long the pause key holds back what is not urgent
PAUSE_MIN = 10.0


class Dashboard:
    """One console. ``size`` gives columns and lines, ``descriptor`` is where keys come from."""

    def __init__(
        self,
        source: Source,
        theme: Theme = DARK,
        *,
        output: TextIO | None = None,
        descriptor: int | None = None,
        size: Callable[[], tuple[int, int]] | None = None,
        clock: Callable[[Snapshot], int] | None = None,
        monotonic: Callable[[], float] = time.monotonic,
        no_color: bool | None = None,
        invite: Callable[[], Invitation] | None = None,
    ) -> None:
        """``invite`` makes an invitation to the live page, where one is open."""
        self._source = source
        self._theme = theme
        self._output = output if output is not None else sys.stdout
        self._descriptor = descriptor if descriptor is not None else sys.stdin.fileno()
        self._size = size or self._terminal_size
        self._clock = clock or FaceClock()
        self._monotonic = monotonic
        self._screen = Screen(self._output, no_color=no_color)
        self._invite = invite
        self.viewing = Viewing(read_only=source.read_only, can_invite=invite is not None)
        self._snapshot = Snapshot()
        self._status = Status()
        self._drawn: list[str] = []
        self._drawn_size = (0, 0)
        self._lost_at: float | None = None
        self._message_until = 0.0
        self._changed = asyncio.Event()
        self._quit = asyncio.Event()
        self._acts: set[asyncio.Task[None]] = set()

    async def run(self) -> None:
        """Show the watch until the quit key is pressed or the task is cancelled; the terminal is restored then."""
        loop = asyncio.get_running_loop()
        with contextlib.ExitStack() as stack:
            stack.callback(self._screen.close)
            stack.enter_context(keys(self._descriptor, self.press))
            with contextlib.suppress(NotImplementedError, RuntimeError, ValueError):
                loop.add_signal_handler(signal.SIGWINCH, self.draw)
                stack.callback(loop.remove_signal_handler, signal.SIGWINCH)
            tasks = [asyncio.create_task(work()) for work in (self._follow, self._keep_drawing, self._quit.wait)]
            try:
                done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
                for task in done:
                    task.result()
            finally:
                tasks += self._acts
                for task in tasks:
                    task.cancel()
                await asyncio.gather(*tasks, return_exceptions=True)

    async def _follow(self) -> None:
        async for _ in self._source.changes():
            self._changed.set()

    async def _keep_drawing(self) -> None:
        while True:
            if self._changed.is_set():
                self._changed.clear()
                await self._fetch()
                self.draw()
            else:
                self.tick()
            await asyncio.sleep(LEAST_GAP_S)
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(TICK_S - LEAST_GAP_S):
                    await self._changed.wait()

    async def _fetch(self) -> None:
        try:
            snapshot, status = to_snapshot(await self._source.snapshot()), to_status(await self._source.status())
        except (NoDaemonError, ActRefusedError):
            if self._lost_at is None:
                self._lost_at = self._monotonic()
            return
        self._snapshot, self._status, self._lost_at = snapshot, status, None

    def draw(self) -> None:
        """Draw the whole frame."""
        size = self._size()
        self._refresh()
        lines = frame_lines(self._snapshot, self._status, *size, self._theme, self._clock(self._snapshot), self.viewing)
        self._drawn = self._screen.draw(lines, size)
        self._drawn_size = size

    def tick(self) -> None:
        """Draw the lines above the panels anew: the countdown, ages and the state."""
        size = self._size()
        had_message = self.viewing.message is not None
        self._refresh()
        if size != self._drawn_size or had_message != (self.viewing.message is not None):
            self.draw()
            return
        if self.viewing.invitation is not None:
            return
        top = top_lines(self._snapshot, self._status, *size, self._theme, self._clock(self._snapshot), self.viewing)
        drawn = self._screen.drawn([Text.assemble(line, style=self._theme.base) for line in top], size)
        self._drawn[: len(drawn)] = drawn
        self._screen.put(list(self._drawn), size)

    def _refresh(self) -> None:
        now = self._monotonic()
        self.viewing.lost_s = None if self._lost_at is None else now - self._lost_at
        if now >= self._message_until:
            self.viewing.message = None

    def press(self, key: str) -> None:
        """Do what ``key`` stands for, and show it at once."""
        match key:
            case "q":
                self._quit.set()
                return
            case "?":
                self.viewing.helping = not self.viewing.helping
            case "i" if self._invite is not None:
                self.viewing.invitation = None if self.viewing.invitation is not None else self._invite()
            case "b":
                band = self.viewing.next_band(self._snapshot)
                self._say(f"showing {band_words(band)}" if band else "showing all bands")
            case "up" | "k":
                self.viewing.chosen = min(self.viewing.chosen + 1, len(self._open_hails()) - 1)
            case "down" | "j":
                self.viewing.chosen = max(self.viewing.chosen - 1, 0)
            case "d" | "r":
                self._act_on_hail(key)
            case "l":
                self._log_offered()
            case "p":
                self._do({"act": "pause", "minutes": PAUSE_MIN}, f"only urgent hails for {PAUSE_MIN:g} minutes")
            case _:
                self._say("no such key: ? shows them")
        self.draw()

    def _open_hails(self) -> tuple[Any, ...]:
        return self.viewing.open_hails(self._snapshot)

    def _log_offered(self) -> None:
        """Log the exchange that looks complete, the newest of several."""
        call = self.viewing.offered(self._snapshot)
        if call is None:
            self._say("no exchange waits to be logged")
        else:
            self._do({"act": "log", "call": call}, f"logged: {call}")

    def _act_on_hail(self, key: str) -> None:
        hails = self._open_hails()
        if not hails:
            self._say("no open hail")
            return
        hail = hails[-1 - min(self.viewing.chosen, len(hails) - 1)]
        if key == "r":
            self._do({"act": "release", "key": hail.key}, f"may hail again: {hail.sentence}")
        elif self._do({"act": "done", "key": hail.key}, f"done: {hail.sentence}"):
            self.viewing.done[hail.key] = hail.at_ms
            self.viewing.chosen = max(0, min(self.viewing.chosen, len(hails) - 2))

    def _do(self, act: dict[str, Any], done: str) -> bool:
        """Hand ``act`` to the watch; False where this view may not."""
        if self._source.read_only:
            self._say("this view is read-only: use the keys where the watch was started")
            return False
        task = asyncio.create_task(self._send(act, done))
        self._acts.add(task)
        task.add_done_callback(self._acts.discard)
        return True

    async def _send(self, act: dict[str, Any], done: str) -> None:
        try:
            await self._source.act(act)
        except (ActRefusedError, NoDaemonError) as error:
            self._say(f"not done: {error}")
        else:
            self._say(done)
        self.draw()

    def _say(self, message: str) -> None:
        self.viewing.message = message
        self._message_until = self._monotonic() + MESSAGE_S

    def _terminal_size(self) -> tuple[int, int]:
        try:
            size = os.get_terminal_size(self._output.fileno())
        except (OSError, ValueError):
            return 80, 24
        return size.columns or 80, size.lines or 24
