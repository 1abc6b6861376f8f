"""Whose a task is: what a plugin starts beside its hooks is contained as its hooks are.

asyncio lets a ``SystemExit`` that ends a task end the whole loop with it. So from the host's start on, a task factory
finds the plugin that a new task belongs to, and keeps what would pass through the loop with that task.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable, Coroutine, Generator, Iterable
from contextvars import ContextVar
from typing import Any
from weakref import WeakKeyDictionary

from .guard import Record

_log = logging.getLogger(__name__)

#: the plugin whose asynchronous hook runs; tasks and callbacks that it starts take it over
owner: ContextVar[Record | None] = ContextVar("owner", default=None)
_owners: WeakKeyDictionary[asyncio.Task[Any], Record] = WeakKeyDictionary()


class PluginTaskError(Exception):
    """A plugin's own task tried to end the program; whoever awaits the task sees this instead."""


class TaskFactory:
    """Makes the loop's tasks. ``records`` gives the plugins that run now."""

    def __init__(self, records: Callable[[], Iterable[Record]]) -> None:
        self._records = records
        self._before: Any = None

    def set(self) -> None:
        """Make the running loop's tasks from now on."""
        loop = asyncio.get_running_loop()
        self._before = loop.get_task_factory()
        factory: Any = self  # the library's type leaves the options out
        loop.set_task_factory(factory)

    def unset(self) -> None:
        """Let tasks be made as before, if this made them."""
        loop = asyncio.get_running_loop()
        factory: Any = loop.get_task_factory()
        if factory is self:
            loop.set_task_factory(self._before)

    def __call__(
        self, loop: asyncio.AbstractEventLoop, work: Coroutine[Any, Any, Any], **options: Any
    ) -> asyncio.Task[Any]:
        """A task for the coroutine, contained where a plugin starts it or its code is a plugin's."""
        record = owner.get() or self._of_code(work)
        contained = work if record is None else _Contained(work, record)
        make = self._before or _plain_task
        task: asyncio.Task[Any] = make(loop, contained, **options)
        if record is not None:
            _owners[task] = record
        return task

    def _of_code(self, work: Coroutine[Any, Any, Any]) -> Record | None:
        frame = getattr(work, "cr_frame", None)
        package = "" if frame is None else _package(str(frame.f_globals.get("__name__", "")))
        own = (record for record in self._records() if _package(type(record.instance).__module__) == package)
        return next(own, None)


def tasks_of(record: Record, among: Iterable[asyncio.Task[Any]]) -> list[asyncio.Task[Any]]:
    """Those tasks that the plugin started."""
    return [task for task in among if _owners.get(task) is record]


class _Contained(Coroutine[Any, Any, Any]):
    """A coroutine whose ``SystemExit`` and the like become an ordinary error, counted against its plugin.

    It wraps without awaiting: a task that is cancelled before its first step leaves no coroutine behind that was never
    awaited. What asyncio asks of a coroutine beside the protocol (its frame, its name) is the wrapped one's.
    """

    def __init__(self, work: Coroutine[Any, Any, Any], record: Record) -> None:
        self._work = work
        self._record = record

    def __getattr__(self, name: str) -> Any:
        return getattr(self._work, name)

    def __await__(self) -> Generator[Any, Any, Any]:
        return self._work.__await__()

    def send(self, value: Any) -> Any:
        return self._step(self._work.send, value)

    def throw(self, *error: Any) -> Any:
        return self._step(self._work.throw, *error)

    def close(self) -> None:
        self._work.close()

    def _step(self, step: Callable[..., Any], *arguments: Any) -> Any:
        try:
            return step(*arguments)
        except (Exception, KeyboardInterrupt, asyncio.CancelledError):
            raise
        except BaseException as error:
            record = self._record
            record.task_errors += 1
            record.reason = f"a task of its own raised {type(error).__name__}: {error}"
            _log.warning("plugin %s: %s", record.name, record.reason)
            raise PluginTaskError(record.reason) from error


def _plain_task(loop: asyncio.AbstractEventLoop, work: Any, **options: Any) -> asyncio.Task[Any]:
    return asyncio.Task(work, loop=loop, **options)


def _package(module: str) -> str:
    return module.partition(".")[0]
