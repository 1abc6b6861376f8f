"""What plugins run beside their hooks: the background task, and tries to forward, through rests and reloads."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
from tests.monitor.host.plugins import Plain, Shower
from tests.monitor.host.running import turns

from watchkeeper.api import Hail, Urgency, hookimpl
from watchkeeper.host.status import State
from watchkeeper.host.tasks import MOST_TASKS
from watchkeeper.model import Contact, Sending, SendResult
from watchkeeper.testing import Bench


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


async def test_a_plugin_keeps_its_destinations_while_it_rests_through_a_reload_and_a_start() -> None:
    kind = forwarder(Sink())
    bench = Bench(kind)
    for _ in range(2):  # the second time it rests already when it is started
        async with bench.running():
            await turns()
            bench.period("CQ CE3QRT FF46")
            assert bench.status("forwarder").state is State.RESTED
            assert [destination.name for destination in bench.destinations()] == ["sink"]
            assert await bench.reload(kind, Shower, config={}) == []
            assert bench.status("forwarder").state is State.RESTED
            assert [destination.name for destination in bench.destinations()] == ["sink"]
