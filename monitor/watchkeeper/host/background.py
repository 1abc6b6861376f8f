"""The asynchronous side of plugins: their start, their background tasks, and the delivery of hails."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable, Coroutine, Iterable, Mapping
from typing import Any

from watchkeeper.model import Hail

from .context import Context
from .guard import Record, Slot
from .status import State

_log = logging.getLogger(__name__)

START_S = 30.0
STOP_S = 1.0
DELIVERY_S = 30.0
#: waits before the second and later tries to deliver a hail; a hail is stale after them
RETRY_AFTER_S = (1.0, 5.0, 30.0, 120.0)
MOST_WAITING = 64


class Background:
    """Runs each plugin's tasks apart from the others'. ``sleep`` stands in for the clock in tests."""

    def __init__(self, sleep: Callable[[float], Awaitable[None]] = asyncio.sleep) -> None:
        self._sleep = sleep
        self._stop = asyncio.Event()
        self._running: dict[asyncio.Task[None], Record] = {}
        self._delivering: list[asyncio.Task[None]] = []
        self._deliveries: list[tuple[Slot, asyncio.Queue[Hail]]] = []
        self._records: list[Record] = []

    async def start(self, records: Iterable[Record], contexts: Mapping[str, Context]) -> None:
        """Start the plugins one after the other; one that fails to start is blocked."""
        for record in records:
            self._records.append(record)
            if not await self._started(record, contexts[record.name]):
                continue
            if run := record.slots.get("async_run"):
                self._running[_task(record, self._run(run))] = record
            if deliver := record.slots.get("async_deliver"):
                queue: asyncio.Queue[Hail] = asyncio.Queue(MOST_WAITING)
                self._deliveries.append((deliver, queue))
                self._delivering.append(_task(record, self._deliver_all(deliver, queue)))

    async def _started(self, record: Record, context: Context) -> bool:
        slot = record.slots.get("async_start")
        if slot is None:
            return True
        try:
            async with asyncio.timeout(START_S):
                await slot.call(context)
        except TimeoutError:
            record.out(State.BLOCKED, f"its start took longer than {START_S:g} s")
        except BaseException as error:
            _let_through(error)
            record.out(State.BLOCKED, f"its start raised {type(error).__name__}: {error}")
        else:
            return True
        _log.warning("plugin %s is blocked: %s", record.name, record.reason)
        return False

    async def _run(self, slot: Slot) -> None:
        slot.calls += 1
        try:
            await slot.call(self._stop)
        except BaseException as error:
            _let_through(error)
            self._failed(slot, f"its background task ended: {type(error).__name__}: {error}")

    # -- hails --------------------------------------------------------------------------------------------------------

    def deliver(self, hail: Hail) -> None:
        """Queue the hail for every plugin that delivers; a queue that is full drops it, counted and shown."""
        for slot, queue in self._deliveries:
            if slot.record.state is not State.RUNNING:
                continue
            try:
                queue.put_nowait(hail)
            except asyncio.QueueFull:
                self._failed(slot, f"{MOST_WAITING} hails wait to be delivered: one more was dropped")

    async def _deliver_all(self, slot: Slot, queue: asyncio.Queue[Hail]) -> None:
        while True:
            await self._deliver(slot, await queue.get())

    async def _deliver(self, slot: Slot, hail: Hail) -> None:
        for wait_s in (*RETRY_AFTER_S, None):
            slot.calls += 1
            try:
                async with asyncio.timeout(DELIVERY_S):
                    await slot.call(hail)
            except BaseException as error:
                _let_through(error)
                again = "given up" if wait_s is None else f"tried again in {wait_s:g} s"
                self._failed(slot, f"delivery of a hail raised {type(error).__name__}: {error}; {again}")
            else:
                return
            if wait_s is not None:
                await self._sleep(wait_s)

    @staticmethod
    def _failed(slot: Slot, reason: str) -> None:
        slot.errors += 1
        slot.record.reason = reason
        _log.warning("plugin %s: %s", slot.record.name, reason)

    # -- the end ------------------------------------------------------------------------------------------------------

    async def stop(self) -> None:
        """Ask all tasks to end, cancel them a second later, and find those that plugins left behind."""
        self._stop.set()
        for task in self._delivering:
            task.cancel()
        await _ended(self._running)
        for task in self._running:
            task.cancel()
        await _ended([*self._running, *self._delivering])
        for task, record in self._running.items():
            if not task.done():
                record.reason = "its background task does not end even when cancelled"
                _log.warning("plugin %s: %s", record.name, record.reason)
        await self._sweep()

    async def _sweep(self) -> None:
        """Cancel tasks that a plugin's code started and left running."""
        owners = {_package(type(record.instance).__module__): record for record in self._records}
        known = {*self._running, *self._delivering, asyncio.current_task()}
        leaked: list[asyncio.Task[Any]] = []
        for task in asyncio.all_tasks() - known:
            record = owners.get(_package_of(task))
            if record is not None:
                task.cancel()
                leaked.append(task)
                record.reason = f"it left the task {task.get_name()!r} running"
                _log.warning("plugin %s: %s", record.name, record.reason)
        await _ended(leaked)


def _task(record: Record, work: Coroutine[Any, Any, None]) -> asyncio.Task[None]:
    return asyncio.create_task(work, name=f"plugin {record.name}")


async def _ended(tasks: Iterable[asyncio.Task[Any]]) -> None:
    """Give the tasks a second to end."""
    waiting = [task for task in tasks if not task.done()]
    if waiting:
        await asyncio.wait(waiting, timeout=STOP_S)


def _let_through(error: BaseException) -> None:
    """Raise again what is not the plugin's: the operator's interrupt, and a cancellation that we asked for."""
    task = asyncio.current_task()
    cancelled = isinstance(error, asyncio.CancelledError) and task is not None and task.cancelling()
    if isinstance(error, KeyboardInterrupt) or cancelled:
        raise error


def _package(module: str) -> str:
    return module.partition(".")[0]


def _package_of(task: asyncio.Task[Any]) -> str:
    """The top-level package of the code that a task runs."""
    frame = getattr(task.get_coro(), "cr_frame", None)
    return "" if frame is None else _package(str(frame.f_globals.get("__name__", "")))
