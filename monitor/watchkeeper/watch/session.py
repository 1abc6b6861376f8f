"""One session of a live watch, and the durable record as its plugins may use it."""

from __future__ import annotations

from ..host.plugin_host import PluginHost
from ..model import Destination
from ..store.store import Store
from .pipeline import Watch
from .pump import Pump


class Records:
    """The durable record as plugins may use it."""

    def __init__(self, store: Store) -> None:
        self.reader = store.reader
        self.submit = store.submit
        self.migrate = store.plugin_migrations


class Session:
    """One session: its watch, its plugins, its pump. It began on the state of the log that ``baseline`` numbers."""

    def __init__(self, number: int, baseline: int, watch: Watch, host: PluginHost, pump: Pump) -> None:
        self.number = number
        self.baseline = baseline
        self.watch = watch
        self.host = host
        self.pump = pump
        self.destinations: list[Destination] = []
