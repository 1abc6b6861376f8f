"""What a daemon owes its service manager while it stands: a sign of life, a line of status, and reloads on demand."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable

from .service_manager import ServiceManager
from .standing import Standing

_log = logging.getLogger(__name__)
#: how often the line of status is renewed where no watchdog sets the pace
STATUS_S = 30.0


async def mind(manager: ServiceManager, standing: Standing) -> None:
    """Give signs of life for as long as both this loop and the store's writer make progress; never returns."""
    every_s = (manager.watchdog_s or 3 * STATUS_S) / 3
    while True:
        manager.status(in_words(standing))
        try:
            async with asyncio.timeout(every_s):
                await standing.store.pulse()
        except TimeoutError:
            _log.error("the log's writer does not answer: no sign of life is given")
        else:
            manager.alive()
        await asyncio.sleep(every_s)


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
