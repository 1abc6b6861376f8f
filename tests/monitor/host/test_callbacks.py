"""Callbacks and tasks that plugins leave on the loop: contained, measured and named."""

from __future__ import annotations

import asyncio
import os
import sys
import threading
from functools import partial

import pytest
from tests.monitor.host.meter import Clock
from tests.monitor.host.plugins import Plain, Shower
from tests.monitor.host.running import on_its_loop, turns

from watchkeeper.api import hookimpl
from watchkeeper.host.loop import ContainingLoop
from watchkeeper.host.status import State
from watchkeeper.testing import Bench


class Quitter(Plain):
    """Tries to end the program from a callback, in the way that ``how`` says."""

    name = "quitter"
    how = "soon"

    @hookimpl
    async def async_run(self, stop: asyncio.Event) -> None:
        self.begin(asyncio.get_running_loop())
        await stop.wait()

    def begin(self, loop: asyncio.AbstractEventLoop) -> None:
        if self.how == "soon":
            loop.call_soon(sys.exit, 3)
        elif self.how == "later":
            loop.call_later(0, partial(sys.exit, 3))
        elif self.how == "future":
            self.future = loop.create_future()
            self.future.add_done_callback(self.leave)
            self.future.set_result(None)
        elif self.how == "readable":
            reading, writing = os.pipe()
            loop.add_reader(reading, self.leave_pipe, loop, reading, writing)
            os.write(writing, b"x")
        elif self.how == "thread":
            thread = threading.Thread(target=loop.call_soon_threadsafe, args=(self.leave,))
            thread.start()
            thread.join()

    def leave(self, *_: object) -> None:
        raise SystemExit(3)

    def leave_pipe(self, loop: asyncio.AbstractEventLoop, *ends: int) -> None:
        loop.remove_reader(ends[0])
        for end in ends:
            os.close(end)
        self.leave()


@pytest.mark.parametrize("how", ["soon", "later", "future", "readable", "thread"])
def test_a_callback_that_would_end_the_program_is_contained_and_rests_its_plugin(how: str) -> None:
    bench = Bench(type("Quitter", (Quitter,), {"how": how, "__module__": __name__}), Shower)

    async def trial() -> None:
        await turns()
        bench.period("CQ CE3QRT FF46")
        assert bench.status("quitter").state is State.RESTED
        assert bench.status("quitter").reason == "a callback of its own raised SystemExit: 3"
        assert bench.status("quitter").errors == 1
        assert bench.status("shower").state is State.RUNNING

    on_its_loop(bench, trial)


def test_what_a_hook_schedules_is_its_plugins() -> None:
    class Late(Shower):
        name = "late"

        @hookimpl
        def annotate(self) -> None:
            asyncio.get_running_loop().call_soon(sys.exit, "from a note")

        @hookimpl
        def burst_judged(self) -> None:
            asyncio.get_running_loop().call_soon(sys.exit, "from a burst")

    bench = Bench(Late, Shower)

    async def trial() -> None:
        bench.period("CQ CE3QRT FF46")
        await turns()
        assert bench.status("late").errors == 2
        bench.period()
        assert bench.status("late").state is State.RESTED
        assert "SystemExit: from a note" in (bench.status("late").reason or "")

    on_its_loop(bench, trial)


def test_an_exit_of_nobody_known_does_not_end_the_watch() -> None:
    bench = Bench(Shower)

    async def trial() -> None:
        asyncio.get_running_loop().call_soon(sys.exit, 3)
        await turns()
        assert bench.status("shower").errors == 0

    on_its_loop(bench, trial)


def test_an_exit_as_the_loop_is_asked_to_stop_does_not_hold_it_up() -> None:
    bench = Bench(Shower)
    with asyncio.Runner(loop_factory=ContainingLoop) as runner:
        loop = runner.get_loop()
        runner.run(bench.host.start())
        loop.call_soon(loop.stop)
        loop.call_soon(sys.exit, 3)
        loop.run_forever()
        runner.run(bench.host.stop())


def test_without_a_host_the_loop_ends_as_any_other() -> None:
    async def leave() -> None:
        asyncio.get_running_loop().call_soon(sys.exit, 3)
        await asyncio.Event().wait()

    with asyncio.Runner(loop_factory=ContainingLoop) as runner, pytest.raises(SystemExit):
        runner.run(leave())


def test_errors_of_callbacks_are_counted_and_five_rest_the_plugin() -> None:
    class Broken(Plain):
        name = "broken"

        @hookimpl
        def event_seen(self) -> None:
            asyncio.get_running_loop().call_soon(self.fail)

        def fail(self) -> None:
            raise ValueError("no such thing")

    bench = Bench(Broken)

    async def trial() -> None:
        for number in range(5):
            assert bench.status("broken").errors == number
            assert bench.status("broken").state is State.RUNNING
            bench.gauge(supply_v=13.8)
            await turns()
        bench.gauge(supply_v=13.8)
        assert bench.status("broken").state is State.RESTED
        assert bench.status("broken").reason == (
            "went wrong 5 times beside its hooks: a callback of its own raised ValueError: no such thing"
        )

    on_its_loop(bench, trial)


def test_steps_of_tasks_are_measured_and_a_rest_ends_the_background_task_until_it_is_over() -> None:
    clock = Clock()
    seen: list[str] = []

    class Blocker(Shower):
        name = "blocker"

        @hookimpl
        async def async_run(self, stop: asyncio.Event) -> None:
            seen.append("begun")
            while not stop.is_set():
                await asyncio.sleep(0)
                clock.ns += 1_000_000_000  # as if it blocked for a second
                clock.waits += 1
            seen.append("ended")

    bench = Bench(Blocker, meter=clock.meter())

    async def trial() -> None:
        await turns()
        bench.period("CQ CE3QRT FF46")
        status = bench.status("blocker")
        assert status.state is State.RESTED
        assert status.reason == (
            "overran its time 3 times: one step of a task or callback of its own took 1000 ms, allowed are 250"
        )
        await turns()
        assert seen == ["begun", "ended"]
        bench.skip(4 * 11)
        bench.period("CQ CE3QRT FF46")
        assert bench.status("blocker").state is State.RUNNING
        await turns()
        assert seen == ["begun", "ended", "begun"]

    on_its_loop(bench, trial)


def test_a_function_of_a_rested_plugin_is_not_called() -> None:
    clock = Clock()

    class Timer(Plain):
        name = "timer"
        calls = 0

        @hookimpl
        async def async_start(self) -> None:
            self.tick(asyncio.get_running_loop())

        def tick(self, loop: asyncio.AbstractEventLoop) -> None:
            clock.ns += 1_000_000_000
            clock.waits += 1
            self.calls += 1
            loop.call_soon(partial(self.tick, loop))

    bench = Bench(Timer, meter=clock.meter())

    async def trial() -> None:
        plugin: Timer = bench.host.running[0].instance
        await turns()
        bench.period("CQ CE3QRT FF46")
        assert bench.status("timer").state is State.RESTED
        calls = plugin.calls
        await turns()
        assert plugin.calls == calls

    on_its_loop(bench, trial)
