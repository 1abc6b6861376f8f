"""The plugin: nothing but its destinations. The core keeps the outbox, the order and the retries."""

from __future__ import annotations

from watchkeeper.api import Context, Destination, hookimpl

from .adif_file import AdifFile
from .http_log import HttpDestination
from .line_log import TcpDestination, UdpDestination
from .settings import ForwardConfig

__all__ = ["Forward", "ForwardConfig"]


class Forward:
    """Takes finished contacts onward."""

    name = "forward"
    api = 1
    Config = ForwardConfig

    def __init__(self, config: ForwardConfig, context: Context) -> None:
        self._destinations: list[Destination] = []
        if config.file:
            self._destinations.append(AdifFile(config.folder or context.data_dir / "log"))
        self._destinations += [HttpDestination(log) for log in config.http]
        self._destinations += [UdpDestination(log) for log in config.udp]
        self._destinations += [TcpDestination(log) for log in config.tcp]

    @hookimpl
    def destinations(self) -> list[Destination]:
        """The ADIF file first, then as the config has them."""
        return self._destinations
