"""What plugins run beside their hooks: tasks, callbacks and tries to forward are contained, measured and named."""

from __future__ import annotations

import asyncio
import logging
import os
import sys
import threading
from collections.abc import Callable, Coroutine
from functools import partial
from typing import Any

import pytest
from tests.monitor.host.plugins import Flooder, Plain, Shower
from tests.monitor.host.test_plugin_host import Clock

from watchkeeper.api import Hail, Hearing, Period, Urgency, hookimpl
from watchkeeper.host.loop import ContainingLoop
from watchkeeper.host.plugin_host import MOST_HAILS
from watchkeeper.host.status import State
from watchkeeper.host.tasks import MOST_TASKS
from watchkeeper.model import Contact, Sending, SendResult
from watchkeeper.testing import Bench


@pytest.fixture(autouse=True)
def _quiet(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.CRITICAL)


def on_its_loop(bench: Bench, trial: Callable[[], Coroutine[Any, Any, None]]) -> None:
    """With the plugins started, on the loop that the daemon runs on."""

    async def all_of_it() -> None:
        async with bench.running():
            await trial()

    with asyncio.Runner(loop_factory=ContainingLoop) as runner:
        runner.run(all_of_it())


async def turns(many: int = 6) -> None:
    """Let the loop go round."""
    for _ in range(many):
        await asyncio.sleep(0)


# -- floods -----------------------------------------------------------------------------------------------------------


def test_three_floods_of_hails_rest_a_plugin() -> None:
    bench = Bench(Flooder, Shower)
    for _ in range(3):
        assert bench.status("flooder").state is State.RUNNING
        bench.period("CQ CE3QRT FF46")
    flooder = bench.status("flooder")
    assert flooder.state is State.RESTED
    assert flooder.reason == (
        f"flooded 3 times: it raised more than {MOST_HAILS} hails in one judgement; the rest were dropped"
    )
    assert bench.status("shower").state is State.RUNNING
    assert [entry.rest.plugin for entry in bench.journal if entry.rest is not None] == ["flooder"]
    raised = len(bench.raised)
    bench.period("CQ CE3QRT FF46")
    assert len(bench.raised) == raised, "a rested plugin raises nothing"


def test_a_hail_for_each_hearing_is_no_flood_however_many_there_are() -> None:
    class Keen(Plain):
        name = "keen"

        def hail(self, text: str) -> None:
            self.context.hail(
                Hail(key=text, urgency=Urgency.NOTE, sentence=text, rule="all", at_ms=self.context.now_ms)
            )

        @hookimpl
        def annotate(self, hearing: Hearing) -> None:
            self.hail(f"note {hearing.text}")

        @hookimpl
        def period_closed(self, period: Period) -> None:
            for hearing in period.hearings:
                self.hail(f"period {hearing.text}")

    bench = Bench(Keen)
    texts = [
        f"CQ {first}{number}QR{last} FF46"
        for first in ("CA", "CE")
        for number in range(10)
        for last in "ABCDEFGHIJKLMNOP"
    ]
    assert len(texts) > MOST_HAILS
    for _ in range(4):
        bench.period(*texts)
    assert bench.status("keen").state is State.RUNNING
    assert bench.status("keen").reason is None
    assert len(bench.raised) == 4 * 2 * len(texts)


def test_floods_far_apart_do_not_add_up() -> None:
    bench = Bench(Flooder)
    for _ in range(5):
        bench.period("CQ CE3QRT FF46")
        bench.skip(4 * 6)
    assert bench.status("flooder").state is State.RUNNING


def test_the_same_journal_rests_a_flooder_at_the_same_place() -> None:
    """The rest is an entry, so a journal read again has the same hails, though nothing is asked for then."""
    live, again = Bench(Flooder), Bench(Flooder)
    for _ in range(5):
        live.period("CQ CE3QRT FF46")
    again.host.live = False
    for entry in live.journal:
        again.watch.feed(entry)
        again.hails += again.watch.drain().hails
    assert again.rests == []
    assert [hail.key for hail in again.hails] == [hail.key for hail in live.hails]
    assert again.host.rested() == live.host.rested() != ()


# -- callbacks --------------------------------------------------------------------------------------------------------


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
        await asyncio.sleep(0.001)
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


# -- time -------------------------------------------------------------------------------------------------------------


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


# -- the background task ----------------------------------------------------------------------------------------------


async def test_a_background_task_that_an_error_ends_rests_its_plugin_and_begins_anew_after_the_rest() -> None:
    class Ender(Shower):
        name = "ender"
        runs = 0

        @hookimpl
        async def async_run(self, stop: asyncio.Event) -> None:
            self.runs += 1
            if self.runs == 1:
                raise OSError("the line is dead")
            await stop.wait()

    bench = Bench(Ender)
    async with bench.running():
        plugin: Ender = bench.host.running[0].instance
        await turns()
        bench.period("CQ CE3QRT FF46")
        assert bench.status("ender").state is State.RESTED
        assert bench.status("ender").reason == "its background task ended: OSError: the line is dead"
        bench.skip(4 * 11)
        bench.period("CQ CE3QRT FF46")
        await turns()
        assert bench.status("ender").state is State.RUNNING
        assert plugin.runs == 2


async def test_a_replaced_plugin_is_rested_as_well_when_its_background_task_dies() -> None:
    class Dying(Shower):
        name = "dying"

        def __init__(self, config: Any, context: Any) -> None:
            super().__init__(config, context)
            self.line_dead = asyncio.Event()

        @hookimpl
        async def async_run(self) -> None:
            await self.line_dead.wait()
            raise OSError("the line is dead")

    bench = Bench(Shower)
    async with bench.running() as host:
        bench.period("CQ CE3QRT FF46")
        assert await bench.reload(Shower, Dying, config={}) == []
        plugin: Dying = next(record.instance for record in host.running if record.name == "dying")
        plugin.line_dead.set()
        await turns()
        bench.period("CQ CE3QRT FF46")
        assert bench.status("dying").state is State.RESTED


async def test_a_plugin_that_rests_at_the_start_begins_its_background_task_after_the_rest() -> None:
    seen: list[str] = []

    class Raising(Shower):
        name = "raising"

        @hookimpl
        def burst_judged(self) -> None:
            raise ValueError("not yet")

        @hookimpl
        async def async_start(self) -> None:
            seen.append("start")

        @hookimpl
        async def async_run(self, stop: asyncio.Event) -> None:
            seen.append("run")
            await stop.wait()

    bench = Bench(Raising)
    for _ in range(6):
        bench.period("CQ CE3QRT FF46")
    assert bench.status("raising").state is State.RESTED
    async with bench.running():
        await turns()
        assert seen == ["start"]
        bench.skip(4 * 11)
        bench.period()
        await turns()
        assert seen == ["start", "run"]


async def test_a_plugin_that_has_too_many_tasks_is_rested_and_they_are_ended() -> None:
    class Leaker(Plain):
        name = "leaker"

        @hookimpl
        def annotate(self) -> None:
            loop = asyncio.get_running_loop()
            self.left = [loop.create_task(asyncio.sleep(3600)) for _ in range(300)]

    bench = Bench(Leaker, Shower)
    async with bench.running():
        before = len(asyncio.all_tasks())
        bench.period("CQ CE3QRT FF46")
        assert bench.status("leaker").state is State.RUNNING
        bench.period("CQ CE4QRT FF46")
        assert bench.status("leaker").state is State.RESTED
        assert bench.status("leaker").reason == f"more than {MOST_TASKS} tasks of its own run at once"
        await turns()
        assert len(asyncio.all_tasks()) == before
        assert bench.status("shower").state is State.RUNNING


async def test_tasks_that_swallow_their_cancellation_are_ended_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    class Stubborn(Plain):
        name = "stubborn"

        @hookimpl
        async def async_run(self) -> None:
            self.task = asyncio.create_task(self.hold())
            await self.hold()

        async def hold(self) -> None:
            while True:
                try:
                    await asyncio.Event().wait()
                except asyncio.CancelledError:
                    continue

    monkeypatch.setattr("watchkeeper.host.background.STOP_S", 0.01)
    monkeypatch.setattr("watchkeeper.host.background.CANCEL_S", 0.01)
    bench = Bench(Stubborn)
    async with bench.running():
        plugin: Stubborn = bench.host.running[0].instance
        await turns()
    assert plugin.task.cancelled()
    assert len(asyncio.all_tasks()) == 1


async def test_tasks_that_end_do_not_count() -> None:
    class Busy(Plain):
        name = "busy"

        @hookimpl
        def annotate(self) -> None:
            loop = asyncio.get_running_loop()
            self.tasks = [loop.create_task(asyncio.sleep(0)) for _ in range(300)]

    bench = Bench(Busy)
    async with bench.running():
        for _ in range(4):
            bench.period("CQ CE3QRT FF46")
            await turns()
        assert bench.status("busy").state is State.RUNNING


async def test_a_rest_leaves_a_delivery_under_way_with_all_its_tasks() -> None:
    class Carrier(Shower):
        name = "carrier"

        def __init__(self, config: Any, context: Any) -> None:
            super().__init__(config, context)
            self.release = asyncio.Event()
            self.carried: list[str] = []

        @hookimpl
        async def async_deliver(self, hail: Hail) -> None:
            await asyncio.create_task(self.carry(hail))

        async def carry(self, hail: Hail) -> None:
            await self.release.wait()
            self.carried.append(hail.key)

        @hookimpl
        async def async_run(self) -> None:
            await asyncio.sleep(0)
            raise OSError("something else went wrong")

    bench = Bench(Carrier)
    async with bench.running() as host:
        plugin: Carrier = host.running[0].instance
        host.deliver(Hail(key="k", urgency=Urgency.NOTE, sentence="s", rule="r", at_ms=1))
        await turns()
        bench.period("CQ CE3QRT FF46")
        assert bench.status("carrier").state is State.RESTED
        await turns()
        plugin.release.set()
        await turns()
        assert plugin.carried == ["k"]


# -- destinations -----------------------------------------------------------------------------------------------------


class Sink:
    """A destination whose try lasts until it is let go; or that tries to end the program."""

    name = "sink"

    def __init__(self, *, leaves: bool = False) -> None:
        self.leaves = leaves
        self.release = asyncio.Event()
        self.sent: list[bytes] = []

    def encode(self, contact: Contact) -> bytes:
        if self.leaves:
            raise SystemExit(3)
        return contact.call.encode()

    async def send(self, payload: bytes, key: str) -> Sending:
        if self.leaves:
            raise SystemExit(4)
        await asyncio.ensure_future(self._wait())
        self.sent.append(payload)
        return Sending(result=SendResult.DELIVERED)

    async def _wait(self) -> None:
        await self.release.wait()


def forwarder(sink: Sink) -> type:
    class Forwarder(Plain):
        name = "forwarder"

        @hookimpl
        async def async_run(self) -> None:
            raise OSError("something else went wrong")

        @hookimpl
        def destinations(self) -> list[Any]:
            return [sink]

    return Forwarder


async def test_a_destination_that_would_end_the_program_only_fails() -> None:
    bench = Bench(forwarder(Sink(leaves=True)))
    contact = bench.log("CE3QRT")
    async with bench.running():
        (destination,) = bench.destinations()
        with pytest.raises(Exception, match="SystemExit: 3"):
            destination.encode(contact)
        with pytest.raises(Exception, match="SystemExit: 4"):
            await asyncio.ensure_future(destination.send(b"", "key"))
        assert bench.status("forwarder").errors >= 1


async def test_a_try_to_forward_goes_on_though_its_plugin_is_rested_or_replaced() -> None:
    """Cut short, nobody would know whether it arrived, and the contact could be there twice."""
    sink = Sink()
    kind = forwarder(sink)
    bench = Bench(kind)
    async with bench.running():
        (destination,) = bench.destinations()
        trying = asyncio.ensure_future(destination.send(b"CE3QRT", "key"))
        await turns()
        bench.period("CQ CE3QRT FF46")
        assert bench.status("forwarder").state is State.RESTED
        await turns()
        replaced = type("Forwarder", (kind,), {"api": 1})
        assert await bench.reload(replaced, config={}) == []
        await turns()
        sink.release.set()
        assert (await trying).result is SendResult.DELIVERED
    assert sink.sent == [b"CE3QRT"]
