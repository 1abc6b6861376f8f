"""Plugins for the tests of the host, well and badly behaved ones."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from typing import Any

import msgspec

from watchkeeper.api import Context, Hail, Hearing, Note, Period, Urgency, hookimpl
from watchkeeper.view import Notice, Panel, View


class First(Note, frozen=True, kw_only=True):
    """A note."""

    text: str


class Second(Note, frozen=True, kw_only=True):
    """A note made from another."""

    text: str


class Plain:
    """A plugin with nothing but a name."""

    name = "plain"
    api = 1

    def __init__(self, config: Any, context: Context) -> None:
        self.config = config
        self.context = context


class Giver(Plain):
    """Provides the first note. Its name comes last in the alphabet."""

    name = "zz_giver"
    provides = (First,)

    @hookimpl
    def annotate(self, hearing: Hearing) -> First:
        return First(text=hearing.text)


class Taker(Plain):
    """Needs the first note and provides the second. Its name comes first in the alphabet."""

    name = "aa_taker"
    needs = (First,)
    provides = (Second,)

    @hookimpl
    def annotate(self, hearing: Hearing) -> Second | None:
        found = hearing.note(First)
        return None if found is None else Second(text=found.text.lower())


class Keys(msgspec.Struct, frozen=True, kw_only=True):
    """A config section."""

    limit: int = 5
    words: tuple[str, ...] = ()


class Configured(Plain):
    """Has a config section."""

    name = "configured"
    Config = Keys


class Raiser(Plain):
    """Raises for every hearing that says so, whatever it is told to raise."""

    name = "raiser"
    error: BaseException = RuntimeError("broken")

    @hookimpl
    def annotate(self, hearing: Hearing) -> None:
        if "QRX" in hearing.text:
            raise self.error


class Shower(Plain):
    """Shows how many periods it saw closed."""

    name = "shower"

    def __init__(self, config: Any, context: Context) -> None:
        super().__init__(config, context)
        self.closed = 0

    @hookimpl
    def period_closed(self) -> None:
        self.closed += 1

    @hookimpl
    def views(self) -> Sequence[View]:
        return [Notice(name="shower", panel=Panel.LOG, title="closed", text=str(self.closed))]


class Flooder(Plain):
    """Raises hails without end."""

    name = "flooder"

    @hookimpl
    def period_closed(self, period: Period) -> None:
        for number in range(1000):
            self.context.hail(Hail(
                key=f"{period.start_ms}|{number}", urgency=Urgency.URGENT, sentence="flood", rule="flood",
                at_ms=self.context.now_ms,
            ))  # fmt: skip


class Deliverer(Plain):
    """Delivers hails; fails as often as told first."""

    name = "deliverer"

    def __init__(self, config: Any, context: Context) -> None:
        super().__init__(config, context)
        self.failures = 2
        self.delivered: list[str] = []
        self.arrived = asyncio.Event()

    @hookimpl
    async def async_deliver(self, hail: Hail) -> None:
        if self.failures:
            self.failures -= 1
            raise OSError("no way out")
        self.delivered.append(hail.key)
        self.arrived.set()


def hail(key: str = "k") -> Hail:
    return Hail(key=key, urgency=Urgency.NOTE, sentence="s", rule="r", at_ms=0)
