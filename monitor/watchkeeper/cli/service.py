"""What a daemon owes its service manager while it stands: a sign of life, a line of status, and reloads on demand."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable

from ..store.errors import StoreError
from .service_manager import ServiceManager
from .standing import Standing

_log = logging.getLogger(__name__)
#: how often the line of status is renewed where no watchdog sets the pace
STATUS_S = 30.0


async def mind(manager: ServiceManager, standing: Standing) -> None:
    """Give signs of life for as long as both this loop and the store's writer make progress; never returns.

    The writer answers behind an import only: while one goes on, each step of it counts as an answer.
    """
    every_s = (manager.watchdog_s or 3 * STATUS_S) / 3
    store = standing.store
    while True:
        pulse = asyncio.ensure_future(store.pulse())
        while True:
            manager.status(_words_at_hand(standing))
            before = store.import_steps
            await asyncio.wait({pulse}, timeout=every_s)
            if pulse.done():
                break
            if store.import_steps == before:
                _log.error("the log's writer does not answer: no sign of life is given")
            else:
                manager.alive()
        pulse.result()
        manager.alive()
        await asyncio.sleep(every_s)


def _words_at_hand(standing: Standing) -> str:
    """The line of status, or why it cannot be had: another program may keep the log locked."""
    try:
        return in_words(standing)
    except StoreError as fault:
        return str(fault)


def in_words(standing: Standing) -> str:
    """The watch in one line: ``127.0.0.1:41815, 12 contacts this session, 3 to forward``."""
    waiting = sum(one.waiting for one in standing.keeper.dispatcher.status().values())
    contacts = standing.keeper.watch.contacts_logged
    words = f"{standing.listening}, {contacts} contacts this session, {waiting} to forward"
    return words if standing.reloads.why is None else f"{words}; the configuration was refused"


async def reload_on_demand(
    manager: ServiceManager, standing: Standing, wanted: asyncio.Event, reload: Callable[[], Awaitable[bool]]
) -> None:
    """Read the configuration again whenever ``wanted`` is set; never returns."""
    while True:
        await wanted.wait()
        wanted.clear()
        manager.reloading()
        await reload()
        manager.ready()
        manager.status(in_words(standing))
