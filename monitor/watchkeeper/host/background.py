"""The asynchronous side of plugins: their start, their background tasks, and the delivery of hails."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable, Collection, Coroutine, Iterable
from typing import Any

from watchkeeper.model import Hail

from .context import Context
from .guard import Record, Slot
from .loop import owner
from .status import State
from .tasks import Contained, delivering, end, tasks_of

_log = logging.getLogger(__name__)

START_S = 30.0
STOP_S = 1.0
#: what a task may take to end once it is cancelled
CANCEL_S = 0.2
DELIVERY_S = 30.0
#: waits before the second and later tries to deliver a hail; a hail is stale after them
RETRY_AFTER_S = (1.0, 5.0, 30.0, 120.0)
MOST_WAITING = 64


class Background:
    """What one plugin does beside the watch. ``sleep`` waits between the tries to deliver.

    ``ended`` is told of a background task that an error ended: nothing goes on until :meth:`resume`.
    """

    def __init__(
        self,
        record: Record,
        sleep: Callable[[float], Awaitable[None]],
        ended: Callable[[Record, BaseException], None],
    ) -> None:
        self._record = record
        self._sleep = sleep
        self.on_end = ended
        self._turn = asyncio.Lock()
        self._stop = asyncio.Event()
        self._running: list[asyncio.Task[None]] = []
        self._delivers = False
        self._delivering: set[asyncio.Task[None]] = set()

    async def start(self, context: Context) -> None:
        """Run ``async_start``, then keep ``async_run`` and the delivery running. One that fails to start is blocked.

        One that rests now gets its background task when it is tried again.
        """
        slots = self._record.slots
        if "async_start" in slots and not await self._started(slots["async_start"], context):
            return
        if self._record.state is State.RUNNING:
            self._begin()
        self._delivers = "async_deliver" in slots

    def _begin(self) -> None:
        if "async_run" in self._record.slots:
            self._running.append(self._task(self._run(self._record.slots["async_run"])))

    async def pause(self, among: Collection[asyncio.Task[Any]]) -> None:
        """While it rests: end the background task and what it left behind ``among`` all; deliveries under way go on."""
        async with self._turn:
            self._stop.set()
            await self._end_running()
            await self._sweep(tasks_of(self._record, among, deliveries=False))

    async def resume(self) -> None:
        """After a rest: begin the background task anew."""
        async with self._turn:
            if all(task.done() for task in self._running):
                self._running.clear()
                self._stop = asyncio.Event()
                self._begin()

    async def _started(self, slot: Slot, context: Context) -> bool:
        record = self._record
        token = owner.set(record)
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
        finally:
            owner.reset(token)
        _log.warning("plugin %s is blocked: %s", record.name, record.reason)
        return False

    def _task(self, work: Coroutine[Any, Any, None]) -> asyncio.Task[None]:
        return asyncio.create_task(Contained(work, self._record), name=f"plugin {self._record.name}")

    async def _run(self, slot: Slot) -> None:
        slot.calls += 1
        try:
            await slot.call(self._stop)
        except BaseException as error:
            _let_through(error)
            slot.errors += 1
            if self._stop.is_set():
                self._say(f"its background task raised {type(error).__name__} as it was stopped: {error}")
            else:
                self.on_end(self._record, error)

    # -- hails --------------------------------------------------------------------------------------------------------

    def deliver(self, hail: Hail) -> None:
        """Begin to deliver the hail if the plugin does; returns at once.

        Each hail has a task of its own, for one that is slow or tried again must keep no later one waiting. With too
        many of them the hail is dropped, counted and shown.
        """
        if not self._delivers or self._record.state is not State.RUNNING:
            return
        slot = self._record.slots["async_deliver"]
        if len(self._delivering) >= MOST_WAITING:
            self._failed(slot, f"{MOST_WAITING} hails wait to be delivered: one more was dropped")
            return
        task = self._task(self._deliver(slot, hail))
        self._delivering.add(task)
        task.add_done_callback(self._delivering.discard)

    async def _deliver(self, slot: Slot, hail: Hail) -> None:
        delivering.set(True)
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

    def _failed(self, slot: Slot, reason: str) -> None:
        slot.errors += 1
        self._say(reason)

    def _say(self, reason: str) -> None:
        self._record.say(reason)
        _log.warning("plugin %s: %s", self._record.name, reason)

    # -- the end ------------------------------------------------------------------------------------------------------

    def ask_to_stop(self) -> None:
        """Tell the background task that it should end; end the deliveries."""
        self._stop.set()
        for task in self._delivering:
            task.cancel()

    async def stop(self, among: Collection[asyncio.Task[Any]]) -> None:
        """End all tasks: asked first, cancelled a second later. What the plugin left behind ``among`` all is named."""
        self.ask_to_stop()
        async with self._turn:
            await self._end_running()
            await _cancelled(self._delivering)
            await self._sweep(tasks_of(self._record, among))

    async def _end_running(self) -> None:
        if await _ended(self._running, STOP_S):
            self._say(f"its background task did not end within {STOP_S:g} s of the stop and was cancelled")
            if await _cancelled(self._running):
                self._say("its background task did not end even when cancelled")

    async def _sweep(self, tasks: Iterable[asyncio.Task[Any]]) -> None:
        """Cancel what of ``tasks`` the plugin's code left running."""
        known = {*self._running, *self._delivering, asyncio.current_task()}
        left = [task for task in tasks if task not in known and not task.done()]
        if left:
            others = f" and {len(left) - 1} others" if len(left) > 1 else ""
            self._say(f"it left the task {left[0].get_name()!r}{others} running")
        await _cancelled(left)


async def _ended(tasks: Iterable[asyncio.Task[Any]], within_s: float) -> list[asyncio.Task[Any]]:
    """Give the tasks so many seconds to end; those that did not."""
    waiting = [task for task in tasks if not task.done()]
    if waiting:
        await asyncio.wait(waiting, timeout=within_s)
    return [task for task in waiting if not task.done()]


async def _cancelled(tasks: Iterable[asyncio.Task[Any]]) -> list[asyncio.Task[Any]]:
    """Cancel the tasks; those that had to be ended against their will."""
    cancelled = [task for task in tasks if task.cancel()]
    stubborn = await _ended(cancelled, CANCEL_S)
    for task in stubborn:
        end(task)
    await _ended(stubborn, CANCEL_S)
    return stubborn


def _let_through(error: BaseException) -> None:
    """Raise again what is not the plugin's: the operator's interrupt, and a cancellation that we asked for."""
    task = asyncio.current_task()
    cancelled = isinstance(error, asyncio.CancelledError) and task is not None and task.cancelling()
    if isinstance(error, KeyboardInterrupt) or cancelled:
        raise error
