"""The asynchronous side of plugins: background tasks, deliveries, and their end."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
from tests.monitor.host.plugins import (
    Deliverer,
    Plain,
    Shower,
    hail,
)

from watchkeeper.api import Hail, hookimpl
from watchkeeper.host.background import MOST_WAITING
from watchkeeper.host.guard import Meter
from watchkeeper.host.status import State
from watchkeeper.testing import Bench


async def test_a_start_that_fails_blocks_that_plugin_only() -> None:
    class Late(Shower):
        name = "late"

        @hookimpl
        async def async_start(self, context: Any) -> None:
            raise asyncio.CancelledError

    bench = Bench(Late, Shower)
    await bench.host.start()
    assert bench.status("late").state is State.BLOCKED
    assert bench.status("shower").state is State.RUNNING
    assert [view.name for view in bench.views()] == ["shower"]
    await bench.host.stop()


async def test_a_background_task_runs_until_it_is_stopped() -> None:
    seen: list[str] = []

    class Runner(Plain):
        name = "runner"

        @hookimpl
        async def async_start(self) -> None:
            seen.append("start")

        @hookimpl
        async def async_run(self, stop: asyncio.Event) -> None:
            seen.append("run")
            await stop.wait()
            seen.append("end")

    class Ender(Plain):
        name = "ender"

        @hookimpl
        async def async_run(self, stop: asyncio.Event) -> None:
            raise SystemExit(2)

    bench = Bench(Runner, Ender)
    await bench.host.start()
    await asyncio.sleep(0)
    await bench.host.stop()
    assert seen == ["start", "run", "end"]
    assert "SystemExit" in (bench.status("ender").reason or "")


async def test_a_hail_is_tried_again_until_it_is_delivered() -> None:
    waits: list[float] = []

    async def sleep(seconds: float) -> None:
        waits.append(seconds)

    bench = Bench(Deliverer, meter=Meter(sleep=sleep))
    await bench.host.start()
    plugin: Deliverer = bench.host._fleet.running[0].instance
    bench.host.deliver(hail())
    await plugin.arrived.wait()
    assert plugin.delivered == ["k"]
    assert waits == [1.0, 5.0]
    assert bench.status("deliverer").errors == 2
    await bench.host.stop()


async def test_a_hail_that_is_tried_again_keeps_no_later_one_waiting() -> None:
    never = asyncio.Event()

    second = asyncio.Event()

    class Choosy(Plain):
        name = "choosy"

        @hookimpl
        async def async_deliver(self, hail: Hail) -> None:
            if hail.key == "first":
                raise OSError("not now")
            second.set()

    async def wait(_: float) -> None:
        await never.wait()

    bench = Bench(Choosy, meter=Meter(sleep=wait))
    await bench.host.start()
    bench.host.deliver(hail("first"))
    bench.host.deliver(hail("second"))
    await second.wait()
    assert "not now; tried again in 1 s" in (bench.status("choosy").reason or "")
    await bench.host.stop()
    assert len(asyncio.all_tasks()) == 1


async def test_a_delivery_that_hangs_fills_its_queue_and_blocks_nobody() -> None:
    class Hanging(Plain):
        name = "hanging"

        @hookimpl
        async def async_deliver(self, hail: Hail) -> None:
            await asyncio.Event().wait()

    bench = Bench(Hanging)
    await bench.host.start()
    await asyncio.sleep(0)
    for number in range(MOST_WAITING + 3):
        bench.host.deliver(hail(str(number)))
    assert bench.status("hanging").errors == 3
    assert "dropped" in (bench.status("hanging").reason or "")
    await bench.host.stop()
    assert len(asyncio.all_tasks()) == 1


async def test_a_task_that_a_plugin_leaves_behind_is_ended_and_named(monkeypatch: pytest.MonkeyPatch) -> None:
    class Leaker(Plain):
        name = "leaker"

        async def _forever(self) -> None:
            await asyncio.Event().wait()

        @hookimpl
        async def async_start(self) -> None:
            self.task = asyncio.create_task(self._forever(), name="the leak")

    bench = Bench(Leaker)
    bystander = asyncio.create_task(asyncio.sleep(3600))
    await bench.host.start()
    await bench.host.stop()
    assert "the leak" in (bench.status("leaker").reason or "")
    assert not bystander.done()
    bystander.cancel()


@pytest.mark.parametrize("error", [SystemExit(3), GeneratorExit("gone")])
async def test_a_task_of_a_plugins_own_that_would_end_the_program_is_contained_and_counted(
    error: BaseException,
) -> None:
    seen: list[str] = []

    class Quitter(Plain):
        name = "quitter"

        async def _quit(self) -> None:
            await asyncio.sleep(0)
            raise error

        @hookimpl
        async def async_run(self, stop: asyncio.Event) -> None:
            try:
                await asyncio.create_task(self._quit())
            except Exception as ordinary:
                seen.append(str(ordinary))
            await stop.wait()

        @hookimpl
        def period_closed(self) -> None:
            self.task = asyncio.get_running_loop().create_task(self._quit())

    bench = Bench(Quitter)
    async with bench.running():
        bench.period("CQ CE3QRT FF46")
        for _ in range(5):
            await asyncio.sleep(0)
        told = f"a task of its own raised {type(error).__name__}: {error}"
        assert bench.status("quitter").reason == told
        assert bench.status("quitter").errors == 2
        assert seen == [told]
        plugin: Quitter = bench.host.running[0].instance
        assert isinstance(plugin.task.exception(), Exception)
    assert asyncio.get_running_loop().get_task_factory() is None


async def test_a_task_of_library_code_belongs_to_the_plugin_that_starts_it() -> None:
    class Sleeper(Plain):
        name = "sleeper"

        @hookimpl
        async def async_start(self) -> None:
            self.first = asyncio.create_task(asyncio.sleep(3600), name="first nap")

        @hookimpl
        async def async_run(self) -> None:
            self.second = asyncio.create_task(asyncio.sleep(3600), name="second nap")

    bench = Bench(Sleeper)
    async with bench.running():
        await asyncio.sleep(0)
        plugin: Sleeper = bench.host.running[0].instance
    assert plugin.first.cancelled()
    assert plugin.second.cancelled()
    assert "nap" in (bench.status("sleeper").reason or "")


async def test_a_contained_task_that_is_cancelled_before_its_first_step_leaves_nothing_behind() -> None:
    class Hasty(Plain):
        name = "hasty"

        async def _never(self) -> None:
            raise AssertionError

        @hookimpl
        async def async_run(self, stop: asyncio.Event) -> None:
            self.task = asyncio.create_task(self._never())
            self.task.cancel()
            await stop.wait()

    bench = Bench(Hasty)
    async with bench.running():
        await asyncio.sleep(0)
        await asyncio.sleep(0)
        plugin: Hasty = bench.host.running[0].instance
        assert plugin.task.cancelled()
        assert "_never" in repr(plugin.task)
    assert bench.status("hasty").reason is None


async def test_a_background_task_that_has_to_be_cancelled_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    class Deaf(Plain):
        name = "deaf"

        @hookimpl
        async def async_run(self) -> None:
            await asyncio.Event().wait()

    monkeypatch.setattr("watchkeeper.host.background.STOP_S", 0.01)
    bench = Bench(Deaf)
    async with bench.running():
        await asyncio.sleep(0)
    assert bench.status("deaf").reason == "its background task did not end within 0.01 s of the stop and was cancelled"
