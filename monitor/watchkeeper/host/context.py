"""What a plugin is given beside its config: the event clock, the watch's knowledge, and a way to hail."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Mapping
from contextlib import AbstractContextManager
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import msgspec

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Sequence

    from ..model import Hail, Losses, OnAir, Own
    from ..store.worked import WorkedIndex


class CheckState(StrEnum):
    """How a preflight check stands."""

    GOOD = "good"
    WAITING = "waiting"  # no evidence yet
    POOR = "poor"


class Check(msgspec.Struct, frozen=True, kw_only=True):
    """One line of the preflight: what is checked, how it stands, on what evidence, and what to do about it."""

    key: str
    label: str
    state: CheckState
    evidence: str
    remedy: str | None = None
    rank: int = 50


class Watching(Protocol):
    """What the context needs of the watch it belongs to; the watch implements it."""

    @property
    def now_ms(self) -> int: ...
    @property
    def own(self) -> Own: ...
    @property
    def worked(self) -> WorkedIndex: ...
    def stations(self) -> Iterable[OnAir]: ...
    def station(self, call: str) -> OnAir | None: ...
    def losses(self) -> Mapping[str, Losses]: ...
    def unheeded_ms(self, key: str) -> int | None: ...
    def why_silent(self, key: str) -> str | None: ...


class Records(Protocol):
    """What plugins may do with the durable record; the store implements it."""

    def submit(self, plugin: str, statements: Sequence[tuple[str, Mapping[str, Any]]]) -> object: ...
    def reader(self) -> AbstractContextManager[sqlite3.Connection]: ...
    def migrate(self, plugin: str, scripts: Sequence[str]) -> None: ...


class Context:
    """One per plugin. Everything readable here depends on the journal alone, but for :meth:`reader`.

    ``data_dir`` is the folder of this run's records; a plugin keeps files of its own in a folder of its name there.
    """

    def __init__(
        self,
        plugin: str,
        watching: Watching,
        hail: Callable[[str, Hail], None],
        records: Records,
        reachable: Callable[[str], None],
        data_dir: Path,
    ) -> None:
        self._plugin = plugin
        self._watching = watching
        self._hail = hail
        self._records = records
        self._reachable = reachable
        self.data_dir = data_dir
        self.logger = logging.getLogger(f"watchkeeper.plugin.{plugin}")

    @property
    def now_ms(self) -> int:
        """The event clock, in ms since 1970-01-01 UTC. It never runs backwards and never reads the computer's clock."""
        return self._watching.now_ms

    @property
    def own(self) -> Own:
        """The own station as last told."""
        return self._watching.own

    @property
    def worked(self) -> WorkedIndex:
        """Which calls, entities, zones, … are in the log, per band and mode."""
        return self._watching.worked

    def stations(self) -> Iterable[OnAir]:
        """The stations on the air, the one heard last first."""
        return self._watching.stations()

    def station(self, call: str) -> OnAir | None:
        """What is known of ``call`` on the air."""
        return self._watching.station(call)

    def losses(self) -> Mapping[str, Losses]:
        """What each source lost on its way, by its name: gaps in the numbers of its run."""
        return self._watching.losses()

    def hail(self, hail: Hail) -> None:
        """Raise a hail. The core lets each ``key`` out once per hold-off and delivers it.

        Only from ``annotate``, ``burst_judged``, ``period_closed``, ``contact_logged`` and ``event_seen``, which have
        their place in the journal; anywhere else it raises RuntimeError.
        """
        self._hail(self._plugin, hail)

    def unheeded_ms(self, key: str) -> int | None:
        """When the last hail with this ``key`` went out, in event time.

        None where none did (it was held off, or there were too many) or where the operator has marked it as done.
        """
        return self._watching.unheeded_ms(key)

    def why_silent(self, key: str) -> str | None:
        """Why the last hail with this ``key`` was held back, in words; None where it went out or none was raised.

        What still stands may be raised again while this gives a reason: it goes out once the reason is gone.
        """
        return self._watching.why_silent(key)

    def submit(self, statements: Sequence[tuple[str, Mapping[str, Any]]]) -> None:
        """Queue SQL with named parameters for the one writer; all of it is one transaction. Own tables only."""
        self._records.submit(self._plugin, statements)

    def reader(self) -> AbstractContextManager[sqlite3.Connection]:
        """A short-lived read-only connection. Not for synchronous hooks: what it reads is outside the journal."""
        return self._records.reader()

    def reachable(self, destination: str) -> None:
        """Say that a destination can be reached again, by its name: what waits for it is tried at once, not later."""
        self._reachable(destination)

    def rebind(
        self,
        watching: Watching,
        hail: Callable[[str, Hail], None],
        records: Records,
        reachable: Callable[[str], None],
    ) -> None:
        """For the host alone: work with another watch from now on (a reload feeds a replacement from a muted one)."""
        self._watching = watching
        self._hail = hail
        self._records = records
        self._reachable = reachable
