"""Reading the configuration again while the watch stands: all or nothing, and whatever is wrong is said at once."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from ..config import Config, ConfigError, Loaded, PluginSettings
from ..host.loading import available, sections
from ..intake.seal import SealKeyError
from ..intake.udp import IntakeError
from ..schema.events import stamp
from ..store.errors import StoreError
from ..watch.journal import JournalError
from ..watch.reload import ReloadRefusedError

if TYPE_CHECKING:
    from .standing import Standing

_log = logging.getLogger(__name__)


class Reloads(msgspec.Struct):
    """How often the configuration was read again, and with what result."""

    done: int = 0
    refused: int = 0
    #: what is wrong with the configuration as it reads now, and since when, ms since 1970 UTC
    why: str | None = None
    refused_ms: int = 0

    @property
    def notice(self) -> str | None:
        """What the operator should know while a bad configuration waits to be mended."""
        if self.why is None:
            return None
        clock = stamp(self.refused_ms)[11:16]
        return f"the configuration was refused at {clock} UTC and the one from before stays in force: {self.why}"


async def reload(
    standing: Standing, read: Callable[[], Loaded], folder_of: Callable[[Config], Path], now_ms: Callable[[], int]
) -> bool:
    """Go over to what ``read`` gives; whether it was done. What is wrong goes to the log, status and metrics."""
    reloads = standing.reloads
    try:
        loaded = read()
        _check(loaded, standing, folder_of)
        await standing.go_over(loaded.config)
    except (ConfigError, ReloadRefusedError, IntakeError, JournalError, SealKeyError, StoreError) as error:
        reloads.refused += 1
        reloads.why, reloads.refused_ms = str(error), now_ms()
        _log.warning("the configuration was refused, the one from before stays in force: %s", error)
        return False
    reloads.done += 1
    reloads.why = None
    _log.info("the configuration was read again from %s", loaded.path or "the environment and the defaults")
    return True


def _check(loaded: Loaded, standing: Standing, folder_of: Callable[[Config], Path]) -> None:
    problems = list(_problems(loaded, standing.config.plugins))
    if folder_of(loaded.config) != standing.folder:
        problems.append(
            f"log.folder: the record of a standing watch stays in {standing.folder}: end the watch to move it"
        )
    if problems:
        raise ReloadRefusedError(problems)


def _problems(loaded: Loaded, before: PluginSettings) -> Iterator[str]:
    """What is wrong with the plugins' sections. What was wrong before and stands as it stood hinders no reload."""
    settings = loaded.config.plugins
    for section in sections(available(settings), settings):
        if not _same(section.plugin, before, settings):
            yield from map(loaded.named, section.problems)


def _same(name: str, before: PluginSettings, after: PluginSettings) -> bool:
    lists = {"allow": (before.allow, after.allow), "block": (before.block, after.block)}
    old, new = lists.get(name, (before.sections.get(name), after.sections.get(name)))
    return old == new
