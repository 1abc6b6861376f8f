"""Replay: a journal read again from its first entry, with the same hails and views as when it was written.

A replay has no timer, no store and no network. It takes from the header what the session was run with, so the result
depends on the journal, the release of the country data and the contact baseline alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any, NoReturn

import msgspec

from ..config import Config
from ..host.plugin_host import Outlets, PluginHost
from ..store.worked import WorkedIndex
from .journal import Entry, Header, JournalError, decode
from .pipeline import Outbound, Watch
from .reload import LoadWorked, follow, without_reload
from .rules import own_of, rules_of


class NoRecords:
    """What a plugin finds in a replay in place of the durable record: it may submit, and nothing is kept."""

    def submit(self, plugin: str, statements: Sequence[tuple[str, Mapping[str, Any]]]) -> None:
        """Forget it: the live watch has kept it."""

    def migrate(self, plugin: str, scripts: Sequence[str]) -> None:
        """No tables are needed."""

    def reader(self) -> AbstractContextManager[Any]:
        """Refuse: nothing in a replay may hang on the record."""
        return _refuse()


def _refuse() -> NoReturn:
    raise RuntimeError("a replay has no record to read")


class Replay:
    """A watch fed from a journal. Iterate :meth:`steps` to run it, then look at ``watch``."""

    def __init__(
        self, lines: Iterable[bytes], *, load_worked: LoadWorked | None = None, config: Config | None = None
    ) -> None:
        """``lines`` begin with the header; ``config`` takes the place of all that the journal names.

        ``load_worked`` gives the log as it stood at a baseline; without it, it was empty. Raises JournalError for what
        is no journal.
        """
        rest = iter(lines)
        self.header = read_header(next(rest, b""))
        self._follows = config is None
        self.config = self.header.settings if config is None else config
        self._lines: list[bytes] = []
        self._entries = decode(self._kept(rest), first_line=2)
        self._load_worked = load_worked or (lambda _baseline: WorkedIndex())
        self.watch = Watch(
            rules_of(self.config), own_of(self.config), self._load_worked(self.header.baseline), load_worked
        )
        self.host = PluginHost(
            self.config.plugins,
            self.watch,
            Outlets(self.watch.hail, lambda _rest: None, NoRecords(), Path()),
            live=False,
        )
        self.watch.attach(self.host)

    def steps(self) -> Iterator[tuple[Entry, Outbound]]:
        """Feed entry after entry, handing each on with what it brought: hails that go out, hearings judged."""
        for entry in self._entries:
            if entry.reload is not None and self._follows:
                self.config = entry.reload.settings
                before = decode(self._lines[:-1])
                follow(self.host, self.config, before, self.header.baseline, self._load_worked)
            self.watch.feed(entry if self._follows else without_reload(entry))
            yield entry, self.watch.drain()

    def _kept(self, lines: Iterable[bytes]) -> Iterator[bytes]:
        """The lines as they come; a reload reads those before it again."""
        for line in lines:
            self._lines.append(line)
            yield line


def read_header(line: bytes) -> Header:
    """The header of an exported journal. Raises JournalError."""
    try:
        return msgspec.json.decode(line, type=Header)
    except (msgspec.DecodeError, RecursionError) as error:
        raise JournalError(f"journal line 1 is no header: {error}") from error
