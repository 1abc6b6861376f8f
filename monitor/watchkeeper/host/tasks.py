"""Whose a task or a callback is: what a plugin runs on the loop beside its hooks is contained as its hooks are.

From the host's start on, a task factory finds the plugin that a new task belongs to, and keeps what would end the
program with that task. On a :class:`watchkeeper.host.loop.ContainingLoop` callbacks are contained and measured as well.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine, Generator, Iterable, Iterator
from contextlib import suppress
from contextvars import Context, ContextVar, copy_context
from functools import partial
from types import TracebackType
from typing import Any, NamedTuple
from weakref import WeakKeyDictionary, WeakSet

from .guard import Meter, Record
from .loop import ContainingLoop, owner
from .status import State

#: tasks that a plugin may have at once; a hail that is being delivered may need a handful
MOST_TASKS = 500
TASK = "a task of its own"
CALLBACK = "a callback of its own"

#: whether the plugin's code runs for the core, which waits for what comes of it, as of a try to forward a contact
_awaited: ContextVar[bool] = ContextVar("awaited", default=False)
#: whether it runs to deliver a hail
delivering: ContextVar[bool] = ContextVar("delivering", default=False)
#: what each of the plugins' own tasks runs
_runs: WeakKeyDictionary[asyncio.Task[Any], Contained] = WeakKeyDictionary()
_for_deliveries: WeakSet[asyncio.Task[Any]] = WeakSet()


class PluginTaskError(Exception):
    """A plugin's own task tried to end the program; whoever awaits the task sees this instead."""


class Faults(NamedTuple):
    """Who is told what goes wrong beside the hooks."""

    failed: Callable[[Record, str, BaseException], None]  # in what, by which error
    overran: Callable[[Record, int, float], None]  # how many ns it took, how many ms are allowed
    crowded: Callable[[Record, int], None]  # how many tasks it has
    stray: Callable[[BaseException], None]  # nobody knows whose


class Containment:
    """Makes the loop's tasks and runs plugins' callbacks.

    ``records`` gives the plugins that run now, ``budget_ms`` what one call, or one step of a task, may take.
    """

    def __init__(
        self, records: Callable[[], Iterable[Record]], meter: Meter, budget_ms: Callable[[], float], faults: Faults
    ) -> None:
        self._records = records
        self._meter = meter
        self._budget_ms = budget_ms
        self._faults = faults
        self._before: Any = None

    def set(self) -> None:
        """Contain what the running loop runs from now on."""
        loop = asyncio.get_running_loop()
        self._before = loop.get_task_factory()
        factory: Any = self.make_task  # the library's type leaves the options out
        loop.set_task_factory(factory)
        if isinstance(loop, ContainingLoop):
            loop.container = self

    def unset(self) -> None:
        """Let all be as before, if this contains the loop."""
        loop = asyncio.get_running_loop()
        if loop.get_task_factory() == self.make_task:
            loop.set_task_factory(self._before)
        if isinstance(loop, ContainingLoop) and loop.container is self:
            loop.container = None

    # -- tasks --------------------------------------------------------------------------------------------------------

    def make_task(
        self, loop: asyncio.AbstractEventLoop, work: Coroutine[Any, Any, Any], **options: Any
    ) -> asyncio.Task[Any]:
        """A task for the coroutine, contained where a plugin starts it or its code is a plugin's."""
        make = self._before or _plain_task
        mine = work if isinstance(work, Contained) else self._contained(work)
        if mine is not None:
            work = mine.told(self._faults)
            if options.get("context") is None:
                options["context"] = mine.context()
        task: asyncio.Task[Any] = make(loop, work, **options)
        if mine is not None and not mine.awaited:
            self._note(task, mine)
        return task

    def _note(self, task: asyncio.Task[Any], mine: Contained) -> None:
        record = mine.record
        _runs[task] = mine
        if delivering.get():
            _for_deliveries.add(task)
        record.tasks += 1
        task.add_done_callback(lambda _: record.lose_task(), context=Context())
        if record.tasks > MOST_TASKS:
            self._faults.crowded(record, MOST_TASKS)

    def _contained(self, work: Coroutine[Any, Any, Any]) -> Contained | None:
        frame = getattr(work, "cr_frame", None)
        record = owner.get() or (None if frame is None else self._whose(str(frame.f_globals.get("__name__", ""))))
        return None if record is None else Contained(work, record, awaited=_awaited.get())

    def _whose(self, module: str) -> Record | None:
        package = _package(module)
        own = (record for record in self._records() if _package(type(record.instance).__module__) == package)
        return next(own, None)

    # -- callbacks ----------------------------------------------------------------------------------------------------

    def call(self, record: Record, callback: Callable[..., object], *arguments: Any) -> None:
        """Run a plugin's callback, or a step of its tasks; a function of a plugin that rests is passed over."""
        if record.state is State.RESTED and self._whose(_module_of(callback)) is record:
            return
        meter = self._meter
        before = meter.usage()
        begun = meter.wall_ns()
        try:
            callback(*arguments)
        except KeyboardInterrupt:
            raise
        except BaseException as error:
            self._faults.failed(record, CALLBACK, error)
        spent_ns = meter.wall_ns() - begun
        allowed_ms = self._budget_ms()
        if meter.is_overrun(spent_ns, before, allowed_ms):
            self._faults.overran(record, spent_ns, allowed_ms)

    def escaped(self, error: SystemExit) -> None:
        """Take note of an exit that reached the loop: out of a plugin's code, or from nobody knows where."""
        for module in _modules(error.__traceback__):
            record = self._whose(module)
            if record is not None:
                self._faults.failed(record, CALLBACK, error)
                return
        self._faults.stray(error)


def tasks_of(record: Record, among: Iterable[asyncio.Task[Any]], *, deliveries: bool = True) -> list[asyncio.Task[Any]]:
    """Those tasks that the plugin started for itself, with or without those that deliver hails."""
    return [
        task
        for task in among
        if task in _runs and _runs[task].record is record and (deliveries or task not in _for_deliveries)
    ]


def end(task: asyncio.Task[Any]) -> None:
    """Cancel a plugin's task that does not end when it is cancelled: its code gets no further turn."""
    if task in _runs:
        _runs[task].abandoned = True
    task.cancel()


class Contained(Coroutine[Any, Any, Any]):
    """A coroutine whose ``SystemExit`` and the like become an ordinary error, counted against its plugin.

    It wraps without awaiting: a task that is cancelled before its first step leaves no coroutine behind that was never
    awaited. What asyncio asks of a coroutine beside the protocol (its frame, its name) is the wrapped one's.
    ``awaited``: the core waits for what comes of it, so it is not among the plugin's own tasks.
    """

    def __init__(self, work: Coroutine[Any, Any, Any], record: Record, *, awaited: bool = False) -> None:
        self._work = work
        self._faults: Faults | None = None
        self.record = record
        self.awaited = awaited
        #: whether its next step is to be its end
        self.abandoned = False

    def told(self, faults: Faults) -> Contained:
        """Tell ``faults`` what goes wrong."""
        self._faults = faults
        return self

    def context(self) -> Context:
        """The context for its task: all that it starts is the plugin's too."""
        made = copy_context()
        made.run(owner.set, self.record)
        made.run(_awaited.set, self.awaited)
        return made

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
        if self.abandoned:
            with suppress(BaseException):  # it may hold on even here
                self._work.close()
            raise asyncio.CancelledError
        try:
            return step(*arguments)
        except (Exception, KeyboardInterrupt, asyncio.CancelledError):
            raise
        except BaseException as error:
            if self._faults is not None:
                self._faults.failed(self.record, TASK, error)
            raise PluginTaskError(f"{TASK} raised {type(error).__name__}: {error}") from error


def _module_of(function: object) -> str:
    while isinstance(function, partial):
        function = function.func
    return str(getattr(function, "__module__", ""))


def _modules(traceback: TracebackType | None) -> Iterator[str]:
    while traceback is not None:
        yield str(traceback.tb_frame.f_globals.get("__name__", ""))
        traceback = traceback.tb_next


def _plain_task(loop: asyncio.AbstractEventLoop, work: Any, **options: Any) -> asyncio.Task[Any]:
    return asyncio.Task(work, loop=loop, **options)


def _package(module: str) -> str:
    return module.partition(".")[0]
