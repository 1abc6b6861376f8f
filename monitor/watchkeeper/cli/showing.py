"""Shows a standing watch on this terminal: as a dashboard, or in sentences."""

from __future__ import annotations

import asyncio
import signal
import sys
from collections.abc import Coroutine
from contextlib import suppress
from typing import Any

import click

from ..faces.clock import FaceClock
from ..faces.plain import narrate
from ..faces.source import Source
from .paging import Invite


def wants_plain(plain: bool) -> bool:
    """Sentences when asked for, and by themselves when nobody looks at a terminal."""
    return plain or not (sys.stdout.isatty() and sys.stdin.isatty())


def face(source: Source, theme: str, *, plain: bool, invite: Invite = None) -> Coroutine[Any, Any, None]:
    """The face's task: ends when the operator quits the dashboard, or when cancelled."""
    if plain:
        return narrate(source, _say, FaceClock())
    from ..faces.console.dashboard import Dashboard
    from ..faces.console.theme import THEMES

    return Dashboard(source, THEMES[theme], invite=invite).run()


def _say(sentence: str) -> None:
    click.echo(sentence)
    sys.stdout.flush()


def stop_on_signals(stopped: asyncio.Event) -> None:
    """Set ``stopped`` on SIGINT and SIGTERM: the watch then works through what has arrived and ends in good order."""
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stopped.set)


async def until_first(*work: Coroutine[Any, Any, Any]) -> None:
    """Run all of ``work`` until the first is done or fails; the others are cancelled."""
    tasks = [asyncio.create_task(one) for one in work]
    try:
        done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        for task in done:
            task.result()
    finally:
        for task in tasks:
            task.cancel()
        for task in tasks:
            with suppress(asyncio.CancelledError):
                await task
