"""The plugin: its destinations, and whether they can be reached. The core keeps outbox, order and retries."""

from __future__ import annotations

import asyncio

from watchkeeper.api import Check, Context, Destination, hookimpl

from .adif_file import AdifFile
from .http_log import HttpDestination
from .line_log import TcpDestination, UdpDestination
from .reaching import Reaching
from .settings import ForwardConfig

__all__ = ["Forward", "ForwardConfig"]


class Forward:
    """Takes finished contacts onward."""

    name = "forward"
    api = 1
    Config = ForwardConfig

    def __init__(self, config: ForwardConfig, context: Context) -> None:
        self._destinations: list[Destination] = []
        folder = config.folder or context.data_dir / "log"
        self._reaching = Reaching(config, folder, context.reachable)
        if config.file:
            self._destinations.append(AdifFile(folder))
        self._destinations += [HttpDestination(log) for log in config.http]
        self._destinations += [UdpDestination(log) for log in config.udp]
        self._destinations += [TcpDestination(log) for log in config.tcp]

    @hookimpl
    def destinations(self) -> list[Destination]:
        """The ADIF file first, then as the config has them."""
        return self._destinations

    @hookimpl
    async def async_run(self, stop: asyncio.Event) -> None:
        """Find out before the first contact which logs can be reached."""
        await self._reaching.run(stop)

    @hookimpl
    def preflight(self) -> list[Check]:
        """A line for each destination that nobody reached yet, and for the folder of the ADIF file."""
        return self._reaching.checks()
