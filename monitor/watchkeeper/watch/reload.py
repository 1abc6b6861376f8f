"""Going over to another configuration in mid-session, and following one that did.

The core keeps all that it knows and works by the new rules from the reload's place in the journal on. A plugin that is
new or changed is made anew and shown the session so far, by a watch of its own whose hails go nowhere. A restart and
a replay do the same at the same place, so they come to the same hails and views.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

import msgspec

from ..config import Config
from ..host.plugin_host import PluginHost
from ..store.worked import WorkedIndex
from .journal import Entry
from .pipeline import Watch
from .rules import own_of, rules_of

#: gives the worked index of the log as it stood at a baseline
LoadWorked = Callable[[int], WorkedIndex]


class ReloadRefusedError(Exception):
    """The configuration stays as it was; ``reasons`` say why, each with its place."""

    def __init__(self, reasons: Iterable[str]) -> None:
        self.reasons = tuple(reasons)
        super().__init__("\n".join(self.reasons))


def show(
    host: PluginHost, config: Config, entries: Iterable[Entry], baseline: int, load_worked: LoadWorked
) -> Iterator[None]:
    """Show ``entries`` to the plugins of ``host``, one a step, as if ``config`` had been in force from the start."""
    watch = Watch(rules_of(config), own_of(config), load_worked(baseline), load_worked)
    host.attach(watch)
    watch.attach(host)
    for entry in entries:
        watch.feed(without_reload(entry))
        watch.drain()
        yield


def follow(host: PluginHost, config: Config, entries: Iterable[Entry], baseline: int, load_worked: LoadWorked) -> None:
    """Let ``host`` go over to ``config`` as the journal says that it did; ``entries`` are those before that place."""

    def feed(trial: PluginHost) -> None:
        for _ in show(trial, config, entries, baseline, load_worked):
            pass

    host.follow(config.plugins, feed)


def without_reload(entry: Entry) -> Entry:
    """The entry, for a watch that keeps its configuration: of a reload, only that time has passed."""
    return entry if entry.reload is None else msgspec.structs.replace(entry, reload=None)
