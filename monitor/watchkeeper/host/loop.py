"""An event loop that no plugin ends: a plugin's callbacks, among them each step of its tasks, are run by a container.

asyncio lets a ``SystemExit`` that a callback raises end the whole loop, and measures nothing.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from contextvars import Context, ContextVar
from typing import Any, Protocol, TypeVarTuple

from .guard import Record

_Ts = TypeVarTuple("_Ts")
#: the plugin whose code runs; tasks and callbacks that it starts take it over
owner: ContextVar[Record | None] = ContextVar("owner", default=None)


class Container(Protocol):
    """Runs what is a plugin's, and is told of a ``SystemExit`` that came from elsewhere."""

    def call(self, record: Record, callback: Callable[..., object], *arguments: Any) -> None: ...
    def escaped(self, error: SystemExit) -> None: ...


class ContainingLoop(asyncio.SelectorEventLoop):
    """Without a ``container`` it is as any other loop."""

    container: Container | None = None
    _asked_to_stop = False

    def run_forever(self) -> None:
        """Run until :meth:`stop`; while there is a container, past every ``SystemExit``."""
        self._asked_to_stop = False
        while True:
            try:
                super().run_forever()
            except SystemExit as error:
                if self.container is None:
                    raise
                self.container.escaped(error)
                if self._asked_to_stop:
                    return
            else:
                return

    def stop(self) -> None:
        """As any loop's."""
        self._asked_to_stop = True
        super().stop()

    def call_soon(
        self, callback: Callable[[*_Ts], object], *args: *_Ts, context: Context | None = None
    ) -> asyncio.Handle:
        """As any loop's, but that a plugin's callback is contained."""
        return super().call_soon(self._contained(callback, context), *args, context=context)

    def call_soon_threadsafe(
        self, callback: Callable[[*_Ts], object], *args: *_Ts, context: Context | None = None
    ) -> asyncio.Handle:
        """As any loop's, but that a plugin's callback is contained."""
        return super().call_soon_threadsafe(self._contained(callback, context), *args, context=context)

    def call_at(
        self, when: float, callback: Callable[[*_Ts], object], *args: *_Ts, context: Context | None = None
    ) -> asyncio.TimerHandle:
        """As any loop's, and so ``call_later``, but that a plugin's callback is contained."""
        return super().call_at(when, self._contained(callback, context), *args, context=context)

    def _contained(self, callback: Callable[[*_Ts], object], context: Context | None) -> Callable[[*_Ts], object]:
        record = owner.get() if context is None else context.get(owner)
        container = self.container
        if record is None or container is None:
            return callback
        return lambda *args: container.call(record, callback, *args)
