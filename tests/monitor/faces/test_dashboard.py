"""The dashboard on a real pseudo-terminal: keys, size, restoring, and a terminal that stops reading."""

from __future__ import annotations

import asyncio
import os
import re
import termios
import threading
from collections.abc import AsyncIterator
from typing import TextIO

import pytest
from tests.monitor.faces import scenes
from tests.monitor.faces.test_source import Watch

from watchkeeper.faces.clock import FaceClock
from watchkeeper.faces.console.dashboard import Dashboard
from watchkeeper.faces.invitation import Invitation
from watchkeeper.faces.outlet import Outlet
from watchkeeper.faces.shown import to_snapshot

MOVE = re.compile(r"\x1b\[(\d+);1H([^\x1b]*(?:\x1b\[[0-9;]*m[^\x1b]*)*)")
STYLE = re.compile(r"\x1b\[[0-9;]*m")


class Terminal:
    """The other end of the pseudo-terminal: what stands on its screen, and keys to press."""

    def __init__(self) -> None:
        self.master, self.slave = os.openpty()
        os.set_blocking(self.master, False)
        self.output: TextIO = os.fdopen(os.dup(self.slave), "w", encoding="utf-8")
        self.lines: dict[int, str] = {}
        self.raw = b""
        self.writes = 0
        self._arrived = asyncio.Event()
        asyncio.get_running_loop().add_reader(self.master, self._read)

    def _read(self) -> None:
        try:
            self.raw += os.read(self.master, 65536)
        except BlockingIOError:
            return
        self.writes += 1
        for line, text in MOVE.findall(self.raw.decode("utf-8", "ignore")):
            self.lines[int(line)] = STYLE.sub("", text)
        self._arrived.set()

    def press(self, keys: str) -> None:
        os.write(self.master, keys.encode())

    async def holds(self, lines: int) -> None:
        """Wait until the screen has that many lines."""
        async with asyncio.timeout(30):
            while max(self.lines, default=0) != lines:
                self._arrived.clear()
                await self._arrived.wait()

    async def ended(self) -> None:
        """Wait until the screen was given back."""
        async with asyncio.timeout(30):
            while not self.raw.endswith(b"\x1b[?25h\x1b[?1049l"):
                self._arrived.clear()
                await self._arrived.wait()

    async def until(self, words: str, *, gone: bool = False) -> None:
        async with asyncio.timeout(30):
            while (words in "\n".join(self.lines.values())) == gone:
                self._arrived.clear()
                await self._arrived.wait()

    def close(self) -> None:
        asyncio.get_running_loop().remove_reader(self.master)
        self.output.close()
        os.close(self.slave)
        os.close(self.master)


@pytest.fixture
async def terminal() -> AsyncIterator[Terminal]:
    terminal = Terminal()
    yield terminal
    terminal.close()


def dashboard(watch: Watch, terminal: Terminal, size: tuple[int, int] = (80, 24)) -> Dashboard:
    return Dashboard(
        watch.source,
        output=terminal.output,
        descriptor=terminal.slave,
        size=lambda: size,
        clock=lambda _: scenes.NOW_MS,
    )


async def test_keys_help_band_hails_and_quit(terminal: Terminal) -> None:
    watch, before = Watch(), termios.tcgetattr(terminal.slave)
    running = asyncio.create_task(dashboard(watch, terminal).run())
    await terminal.until("CE3QRA: first Chile")
    assert not termios.tcgetattr(terminal.slave)[3] & (termios.ICANON | termios.ECHO)
    terminal.press("?")
    await terminal.until("mark the hail shown as done")
    terminal.press("?")
    await terminal.until("mark the hail shown as done", gone=True)
    terminal.press("b")
    await terminal.until("showing 20 m")
    terminal.press("\x1b[A")
    await terminal.until("SWR has risen")
    terminal.press("\x1b[B")
    await terminal.until("CE3QRA: first Chile")
    terminal.press("d")
    await terminal.until("done: CE3QRA")
    await terminal.until("HAIL ! 18:40:31 SWR has risen")
    terminal.press("p")
    await terminal.until("not done: no such act")  # this watch knows one act alone
    terminal.press("x")
    await terminal.until("no such key")
    terminal.press("q")
    await asyncio.wait_for(running, 30)
    assert termios.tcgetattr(terminal.slave) == before
    assert watch.acts == [{"act": "done", "key": "new-entity/CE/20 m"}]
    await terminal.ended()


async def test_a_phone_is_invited_from_the_dashboard(terminal: Terminal) -> None:
    # as many rows as the QR code of an address has, and a small terminal
    invitation = Invitation(("Pairing code: ABCD-EFGH", "address"), ("▀▄█",) * 19)
    shown = Dashboard(
        Watch().source,
        output=terminal.output,
        descriptor=terminal.slave,
        size=lambda: (80, 24),
        clock=lambda _: scenes.NOW_MS,
        invite=lambda: invitation,
    )
    running = asyncio.create_task(shown.run())
    await terminal.until("LOOKOUT")
    terminal.press("i")
    await terminal.until("ABCD-EFGH")
    await terminal.until("▀▄█")
    terminal.press("i")
    await terminal.until("ABCD-EFGH", gone=True)
    terminal.press("q")
    await asyncio.wait_for(running, 30)


async def test_a_change_is_drawn_and_only_what_changed_is_written(terminal: Terminal) -> None:
    watch = Watch()
    running = asyncio.create_task(dashboard(watch, terminal).run())
    await terminal.holds(24)
    written = len(terminal.raw)
    watch.show(contacts=13)
    await terminal.until("13 contacts")
    assert len(terminal.raw) - written < written / 4
    running.cancel()
    await asyncio.wait([running])
    await terminal.ended()


async def test_a_new_size_is_taken_at_the_next_tick(terminal: Terminal) -> None:
    sizes = [(80, 24)]
    shown = Dashboard(
        Watch().source,
        output=terminal.output,
        descriptor=terminal.slave,
        size=lambda: sizes[-1],
        clock=lambda _: scenes.NOW_MS,
    )
    running = asyncio.create_task(shown.run())
    await terminal.holds(24)
    sizes.append((120, 40))
    await terminal.holds(40)
    running.cancel()
    await asyncio.wait([running])


def test_a_reader_that_does_not_read_holds_up_nobody() -> None:
    gate, written = threading.Event(), list[int]()

    def write(item: int) -> None:
        gate.wait()
        written.append(item)

    outlet = Outlet(write, bound=3)
    for number in range(100):
        outlet.put(number)
    gate.set()
    outlet.close()
    assert written[-3:] == [97, 98, 99]
    assert len(written) <= 4
    assert outlet.dropped == 100 - len(written)


def test_an_outlet_whose_reader_is_gone_ends_quietly() -> None:
    def write(_: str) -> None:
        raise BrokenPipeError

    outlet = Outlet(write, bound=10)
    outlet.put("nobody reads this")
    outlet.close()
    outlet.put("nor this")


def test_the_clock_is_the_computer_s_live_and_runs_on_from_the_event_clock_in_a_rehearsal() -> None:
    wall, monotonic = scenes.NOW_MS / 1000 + 3, 100.0
    clock = FaceClock(wall=lambda: wall, monotonic=lambda: monotonic)
    live = to_snapshot(scenes.snapshot())
    assert clock(live) == scenes.NOW_MS + 3000
    wall += 600  # the source falls silent: that is no rehearsal
    assert clock(live) == scenes.NOW_MS + 603_000
    rehearsed = to_snapshot(scenes.snapshot(event_clock="2025-01-01T00:00:00Z"))
    start = clock(rehearsed)
    monotonic += 2.5
    assert clock(rehearsed) == start + 2500
    assert start == rehearsed.now_ms
