"""A host without a watch: it loads and checks the plugins, and that is all."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from contextlib import AbstractContextManager, closing
from pathlib import Path
from typing import Any

from watchkeeper.config import PluginSettings
from watchkeeper.model import Hail, Losses, OnAir, Own
from watchkeeper.store.worked import WorkedIndex

from .plugin_host import Outlets, PluginHost
from .status import Rest


class Nothing:
    """No watch and no record: nothing heard, nothing worked, nothing kept."""

    now_ms = 0
    own = Own()

    def __init__(self) -> None:
        self.worked = WorkedIndex()

    def stations(self) -> Iterable[OnAir]:
        """Nobody."""
        return ()

    def station(self, call: str) -> OnAir | None:
        """Nobody."""
        return None

    def losses(self) -> Mapping[str, Losses]:
        """Nothing came, nothing was lost."""
        return {}

    def unheeded_ms(self, key: str) -> int | None:
        """No hail went out."""
        return None

    def why_silent(self, key: str) -> str | None:
        """No hail was held back."""
        return None

    def hail(self, plugin: str, hail: Hail) -> None:
        """Nobody to tell."""

    def rest(self, rest: Rest) -> None:
        """No journal."""

    def submit(self, plugin: str, statements: Sequence[tuple[str, Mapping[str, Any]]]) -> None:
        """Keep nothing."""

    def reader(self) -> AbstractContextManager[sqlite3.Connection]:
        """An empty database."""
        return closing(sqlite3.connect(":memory:"))

    def migrate(self, plugin: str, scripts: Sequence[str]) -> None:
        """Make no table."""


def idle_host(settings: PluginSettings, data_dir: Path) -> PluginHost:
    """The plugins of ``settings``, loaded and checked, with nothing to watch."""
    nothing = Nothing()
    outlets = Outlets(nothing.hail, nothing.rest, nothing, data_dir)
    return PluginHost(settings, nothing, outlets, live=False)
