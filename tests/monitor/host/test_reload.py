"""Going over to other settings while the watch stands: all or nothing, and nothing that was learnt is lost."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
from tests.monitor.host.plugins import Configured, Flooder, Plain, Shower

from watchkeeper.api import Hearing, hookimpl
from watchkeeper.host.status import State
from watchkeeper.testing import Bench


class Counter(Configured):
    """Counts what it hears, and submits each; its section can be changed."""

    name = "counter"

    def __init__(self, config: Any, context: Any) -> None:
        super().__init__(config, context)
        self.heard: list[str] = []

    @hookimpl
    def annotate(self, hearing: Hearing) -> None:
        self.heard.append(hearing.text)
        self.context.submit([("INSERT", {})])


def instance(bench: Bench, name: str) -> Any:
    return next(record.instance for record in bench.host.running if record.name == name)


async def test_a_changed_plugin_is_made_anew_and_has_seen_the_session() -> None:
    bench = Bench(Counter, Shower)
    bench.period("CQ CE3QRT FF46")
    old, shower = instance(bench, "counter"), instance(bench, "shower")
    assert await bench.reload(Counter, Shower, config={"counter": {"limit": 9}}) == []
    new = instance(bench, "counter")
    assert new is not old
    assert new.config.limit == 9
    assert new.heard == ["CQ CE3QRT FF46"]
    assert instance(bench, "shower") is shower, "what did not change runs on"
    assert len(bench.records.submitted) == 1, "what it submitted the first time stands there already"
    bench.period("CQ VK2QRM QF56")
    assert new.heard == ["CQ CE3QRT FF46", "CQ VK2QRM QF56"]
    assert old.heard == ["CQ CE3QRT FF46"]
    assert len(bench.records.submitted) == 2
    assert bench.views()[0].text == "2"  # type: ignore[union-attr]


async def test_what_is_hailed_while_the_session_is_seen_again_goes_nowhere() -> None:
    bench = Bench(Shower)
    bench.close()
    assert await bench.reload(Shower, Flooder, config={}) == []
    assert bench.hails == []
    bench.close()
    assert len(bench.hails) > 0


@pytest.mark.parametrize(
    ("config", "words"),
    [({"counter": {"limt": 9}}, "did you mean 'limit'"), ({"counter": {"limit": "x"}}, "expected a whole number")],
)
async def test_a_bad_section_changes_nothing_and_says_so(config: dict[str, Any], words: str) -> None:
    bench = Bench(Counter, Shower)
    before = [instance(bench, "counter"), instance(bench, "shower")]
    settings = bench.host.settings
    (refusal,) = await bench.reload(Counter, Shower, config=config)
    assert refusal.startswith("plugin counter: plugins.counter.")
    assert words in refusal
    assert [instance(bench, "counter"), instance(bench, "shower")] == before
    assert bench.host.settings is settings
    bench.hear("CQ CE3QRT FF46")
    assert before[0].heard == ["CQ CE3QRT FF46"]


async def test_a_plugin_that_was_broken_before_hinders_no_reload() -> None:
    bench = Bench(Counter, Shower, config={"counter": {"limt": 9}})
    assert await bench.reload(Counter, Shower, config={"counter": {"limt": 9}, "shower": {"enabled": False}}) == []
    assert bench.status("shower").state is State.OFF
    assert await bench.reload(Counter, Shower, config={"counter": {"limit": 9}}) == []
    assert bench.status("counter").state is State.RUNNING


async def test_tasks_of_what_goes_are_ended_and_of_what_comes_are_started() -> None:
    seen: list[str] = []

    class Runner(Configured):
        name = "runner"

        @hookimpl
        async def async_run(self, stop: asyncio.Event) -> None:
            seen.append(f"begin {self.config.limit}")
            await stop.wait()
            seen.append(f"end {self.config.limit}")

    bench = Bench(Runner, config={"runner": {"limit": 1}})
    await bench.host.start()
    await asyncio.sleep(0)
    assert await bench.reload(Runner, config={"runner": {"limit": 1}}) == []
    assert seen == ["begin 1"]
    assert await bench.reload(Runner, config={"runner": {"limit": 2}}) == []
    assert seen == ["begin 1", "begin 2", "end 1"]
    assert await bench.reload(Runner, config={"runner": {"enabled": False}}) == []
    assert seen[3:] == ["end 2"]
    await bench.host.stop()
    assert len(asyncio.all_tasks()) == 1


async def test_a_replacement_that_does_not_start_leaves_the_old_one_running() -> None:
    class Starter(Configured):
        name = "starter"

        @hookimpl
        async def async_start(self) -> None:
            if self.config.limit == 2:
                raise OSError("no route to host")

    bench = Bench(Starter, config={"starter": {"limit": 1}})
    await bench.host.start()
    old = instance(bench, "starter")
    assert await bench.reload(Starter, config={"starter": {"limit": 2}}) == [
        "plugin starter: its start raised OSError: no route to host"
    ]
    assert instance(bench, "starter") is old
    assert bench.status("starter").state is State.RUNNING
    await bench.host.stop()


async def test_a_mended_plugin_does_not_serve_the_rest_of_the_broken_one() -> None:
    class Fragile(Configured):
        name = "fragile"

        @hookimpl
        def annotate(self) -> None:
            if self.config.limit == 1:
                raise RuntimeError("broken")

    bench = Bench(Fragile, config={"fragile": {"limit": 1}})
    bench.period(*(f"CQ CE{number}QRT FF46" for number in range(5)))
    assert bench.status("fragile").state is State.RESTED
    assert await bench.reload(Fragile, config={"fragile": {"limit": 2}}) == []
    assert bench.status("fragile").state is State.RUNNING


async def test_a_new_plugin_comes_in_and_one_that_is_gone_goes() -> None:
    bench = Bench(Shower)
    bench.close()
    assert await bench.reload(Counter, Plain, config={}) == []
    assert [status.name for status in bench.host.status()] == ["counter", "plain"]
    assert bench.views() == []
