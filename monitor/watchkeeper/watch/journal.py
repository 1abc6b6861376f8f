"""The journal: everything that the watch acts on, numbered in the order in which it was accepted.

One entry a line, as JSON::

    {"n":7,"t":1777670112350,"event":{"kind":"heard",…}}
    {"n":8,"t":1777670112600}                                  a tick
    {"n":9,"t":1777670113000,"act":{"act":"done","key":"…"}}   what the operator did
    {"n":10,"t":1777670113001,"outcome":{"key":"…","status":"stored","contact":12}}
    {"n":11,"t":1777670114000,"rest":{"plugin":"…","resting":true,"reason":"…"}}
    {"n":12,"t":1777670115000,"reload":{"config":{…}}}
    {"n":13,"t":1777670116000,"rebase":4711}                   the log was changed from outside

``t`` is the computer's time of acceptance in ms since 1970-01-01 UTC, made monotone when written. An entry with ``n``
and ``t`` alone is a tick: live, a timer writes one when a burst or a period is due; a replay needs no timer.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

import msgspec

from ..config import Config
from ..host.status import Rest
from ..schema.events import AnyEvent


class Outcome(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """How a contact's commit ended; it stands right behind the contact's entry."""

    key: str
    status: str  # stored, repeated, refused, failed
    contact: int | None = None
    same_as: int | None = None
    why: str | None = None


class Reload(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """From here on the watch works by another config (its whole text, so that a replay can follow)."""

    config: dict[str, Any]

    @property
    def settings(self) -> Config:
        """The configuration. Raises JournalError when this release cannot read it."""
        return _settings(self.config)


class Act(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What the operator did on a face or by a command."""

    act: str
    key: str | None = None
    call: str | None = None
    minutes: float | None = None
    text: str | None = None


class Entry(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One entry; at most one of the optional fields is set."""

    n: int
    t: int
    event: AnyEvent | None = None
    outcome: Outcome | None = None
    act: Act | None = None
    rest: Rest | None = None
    reload: Reload | None = None
    rebase: int | None = None


class JournalError(ValueError):
    """A line that is no journal entry; the text says which line and why."""


class Header(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """First line of an exported journal, and part of the session's row: what a replay needs beside the entries."""

    journal: int = 1  # edition of this format
    watchkeeper: str
    started_ms: int
    config: dict[str, Any]  # the effective config, secrets left out
    data: str  # release of the country data
    baseline: int  # id of the newest contact in the log when the session began

    @property
    def settings(self) -> Config:
        """The configuration that the session ran with. Raises JournalError when this release cannot read it."""
        return _settings(self.config)


def _settings(config: dict[str, Any]) -> Config:
    try:
        return msgspec.convert(config, Config, dec_hook=lambda wanted, value: wanted(value))
    except msgspec.ValidationError as error:
        raise JournalError(f"the journal's configuration is not of this release: {error}") from error


def plain(config: Config) -> dict[str, Any]:
    """``config`` as JSON values. It names files and variables that hold secrets, never the secrets."""
    made: dict[str, Any] = msgspec.to_builtins(config, enc_hook=str)  # paths
    return made


_encode = msgspec.json.Encoder().encode_into
_decode = msgspec.json.Decoder(Entry).decode


def decode(lines: Iterable[bytes], first_line: int = 1) -> Iterator[Entry]:
    """The entries of ``lines``. Raises :class:`JournalError` for a line that is none."""
    for number, line in enumerate(lines, first_line):
        if not line.strip():
            continue
        try:
            yield _decode(line)
        except (ValueError, RecursionError) as error:
            raise JournalError(f"journal line {number}: {error}") from error


class Chunk:
    """Entries that wait to be written together: numbered here, so a number is never given twice."""

    def __init__(self, next_n: int = 1, last_t: int = 0) -> None:
        self.next_n = next_n
        self._last_t = last_t
        self._first_n = next_n
        self._body = bytearray()

    def resume(self, next_n: int, last_t: int) -> None:
        """Go on behind entries that are written already."""
        self.next_n = self._first_n = next_n
        self._last_t = last_t

    def number(self, t: int, **what: Any) -> Entry:
        """A new entry at time ``t`` (never before the last one), remembered for the next :meth:`take`."""
        self._last_t = max(t, self._last_t)
        entry = Entry(n=self.next_n, t=self._last_t, **what)
        self.next_n += 1
        body = self._body
        _encode(entry, body, -1)
        body += b"\n"
        return entry

    def take(self) -> tuple[int, int, bytes] | None:
        """(first number, count, lines) of what waits, or None; then it waits no more."""
        count = self.next_n - self._first_n
        if not count:
            return None
        taken = (self._first_n, count, bytes(self._body))
        self._first_n = self.next_n
        self._body.clear()
        return taken
