"""The plugin host through its public face: what runs, in what order, what is contained, and who is rested."""

from __future__ import annotations

import asyncio
import logging
from typing import Any

import msgspec
import pytest
from tests.monitor.host.plugins import (
    Configured,
    Deliverer,
    First,
    Flooder,
    Giver,
    Plain,
    Raiser,
    Second,
    Shower,
    Taker,
)

from watchkeeper.api import Hail, Hearing, Urgency, hookimpl
from watchkeeper.config import PluginSettings
from watchkeeper.host.background import MOST_WAITING
from watchkeeper.host.discovery import Candidate
from watchkeeper.host.guard import Meter, Usage
from watchkeeper.host.plugin_host import MOST_HAILS
from watchkeeper.host.status import Rest, State
from watchkeeper.model import Contact, Sending
from watchkeeper.testing import Bench
from watchkeeper.view import Notice


@pytest.fixture(autouse=True)
def _quiet(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.CRITICAL)


class Clock:
    """A meter that tests move by hand."""

    def __init__(self) -> None:
        self.ns = 0
        self.cpu_ns = 0
        self.waits = 0

    def meter(self) -> Meter:
        return Meter(lambda: self.ns, lambda: Usage(self.cpu_ns, self.waits))


def candidate(name: str, load: Any) -> Candidate:
    return Candidate(name, "some-package", "1.0", load)


# -- order ------------------------------------------------------------------------------------------------------------


def test_providers_come_before_those_who_need_their_notes() -> None:
    bench = Bench(Taker, Giver)
    (hearing,) = bench.hear("CQ CE3QRT FF46")
    assert hearing.note(First) == First(text="CQ CE3QRT FF46")
    assert hearing.note(Second) == Second(text="cq ce3qrt ff46")


def test_an_unmet_need_blocks_that_plugin_and_names_the_note() -> None:
    bench = Bench(Taker, Shower)
    assert bench.status("aa_taker").state is State.BLOCKED
    assert "First" in (bench.status("aa_taker").reason or "")
    assert bench.status("shower").state is State.RUNNING


def test_a_circle_is_named_and_blocks_its_members_and_who_needs_them() -> None:
    class A(Plain):
        name = "a"
        provides = (First,)
        needs = (Second,)

    class B(Plain):
        name = "b"
        provides = (Second,)
        needs = (First,)

    class C(Plain):
        name = "c"
        needs = (First,)

    bench = Bench(A, B, C, Shower)
    assert [bench.status(name).state for name in "abc"] == [State.BLOCKED] * 3
    assert "circle" in (bench.status("a").reason or "")
    assert "First" in (bench.status("c").reason or "")
    assert bench.status("shower").state is State.RUNNING


def test_of_two_who_provide_one_note_the_first_by_name_runs() -> None:
    class Other(Giver):
        name = "b_giver"

    bench = Bench(Giver, Other)
    assert bench.status("b_giver").state is State.RUNNING
    assert bench.status("zz_giver").state is State.BLOCKED


# -- loading ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("error", [ImportError("no such module"), SystemExit(3), RecursionError(), ValueError("x")])
def test_an_import_that_fails_is_told_and_hinders_nobody(error: BaseException) -> None:
    def load() -> type:
        raise error

    bench = Bench(Shower, candidates=[candidate("bad", load)])
    bad = bench.status("bad")
    assert bad.state is State.FAILED
    assert type(error).__name__ in (bad.reason or "")
    assert (bad.distribution, bad.version) == ("some-package", "1.0")
    assert bench.status("shower").state is State.RUNNING


def _with(**attributes: Any) -> type:
    return type("Odd", (Plain,), {"name": "odd", **attributes})


def _misspelt(self: Any, hearing: Hearing) -> None: ...
def _named_otherwise(self: Any, heard: Hearing) -> None: ...
async def _asynchronous(self: Any, hearing: Hearing) -> None: ...
def _raising(self: Any, config: object, context: object) -> None:
    raise RuntimeError("not today")


@pytest.mark.parametrize(
    ("plugin", "word"),
    [
        (_with(api=2), "update Watchkeeper"),
        (_with(api=0), "the plugin needs an update"),
        (_with(api=None), "edition"),
        (_with(name="Odd"), "small letters"),
        (_with(Config=dict), "msgspec.Struct"),
        (_with(provides=(int,)), "provides"),
        (_with(annotat=hookimpl(_misspelt)), "did you mean 'annotate'"),
        (_with(annotate=hookimpl(_named_otherwise)), "heard"),
        (_with(annotate=hookimpl(_asynchronous)), "must not be an async function"),
        (_with(async_run=hookimpl(lambda self, stop: None)), "must be an async function"),
        (_with(annotate=hookimpl(wrapper=True)(lambda self, hearing: (yield))), "wrapper"),
        (_with(annotate=hookimpl(hookwrapper=True)(lambda self, hearing: (yield))), "wrapper"),
        (_with(annotate=hookimpl(tryfirst=True)(_misspelt)), "order"),
        (_with(__init__=_raising), "not today"),
    ],
)
def test_what_is_unfit_is_blocked_with_a_clear_word(plugin: type, word: str) -> None:
    bench = Bench(plugin, Shower)
    status = bench.status(getattr(plugin, "name", ""))
    assert status.state is State.BLOCKED
    assert word in (status.reason or "")
    assert bench.status("shower").state is State.RUNNING


def test_a_class_entered_under_another_name_is_blocked() -> None:
    bench = Bench(candidates=[candidate("other", lambda: Plain)])
    assert "'plain'" in (bench.status("other").reason or "")


def test_a_config_section_is_made_and_all_that_is_wrong_is_told_at_once() -> None:
    good = Bench(Configured, config={"configured": {"limit": 7, "enabled": True}})
    assert good.status("configured").state is State.RUNNING
    bad = Bench(Configured, Shower, config={"configured": {"limit": "x", "word": 1}})
    reason = bad.status("configured").reason or ""
    assert "plugins.configured.limit" in reason
    assert "did you mean 'words'" in reason
    assert bad.status("shower").state is State.RUNNING


@pytest.mark.parametrize(
    ("settings", "running"),
    [
        (PluginSettings(), {"plain", "shower"}),
        (PluginSettings(allow=("plain",)), {"plain"}),
        (PluginSettings(block=("plain",)), {"shower"}),
        (PluginSettings(allow=("plain", "shower"), block=("plain",)), {"shower"}),
        (PluginSettings(allow=()), set()),
    ],
)
def test_the_allow_and_block_lists(settings: PluginSettings, running: set[str]) -> None:
    bench = Bench(Plain, Shower, settings=settings)
    assert {each.name for each in bench.host.status() if each.state is State.RUNNING} == running


def test_a_plugin_that_is_switched_off_is_not_even_imported() -> None:
    def load() -> type:
        raise AssertionError("imported")

    bench = Bench(candidates=[candidate("heavy", load)], config={"heavy": {"enabled": False}})
    assert bench.status("heavy").state is State.OFF
    bench = Bench(candidates=[candidate("heavy", load)], config={"heavy": {"enabled": "no"}})
    assert bench.status("heavy").state is State.BLOCKED


def test_names_that_no_plugin_has_are_noticed() -> None:
    bench = Bench(Shower, settings=PluginSettings(block=("showr",)), config={"shwer": {}})
    assert len(bench.host.notices) == 2
    assert all("did you mean 'shower'" in notice for notice in bench.host.notices)


def test_two_packages_with_one_plugin_name() -> None:
    bench = Bench(Plain, candidates=[candidate("plain", lambda: Shower)])
    assert bench.status("plain").state is State.RUNNING
    assert any("some-package" in notice for notice in bench.host.notices)


# -- guard ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("error", [RuntimeError("x"), SystemExit(1), asyncio.CancelledError(), GeneratorExit()])
def test_whatever_one_plugin_raises_the_others_see_the_hearing(error: BaseException) -> None:
    plugin = type("Bad", (Raiser,), {"error": error})
    bench = Bench(plugin, Giver)
    (hearing,) = bench.hear("CQ CE3QRX FF46")
    assert hearing.note(First) is not None
    assert bench.status("raiser").errors == 1
    assert type(error).__name__ in (bench.status("raiser").reason or "")


def test_the_operators_interrupt_is_not_contained() -> None:
    bench = Bench(type("Bad", (Raiser,), {"error": KeyboardInterrupt()}))
    with pytest.raises(KeyboardInterrupt):
        bench.hear("CQ CE3QRX FF46")


def test_five_errors_in_a_row_rest_a_plugin_and_later_it_is_tried_again() -> None:
    bench = Bench(Raiser, Shower)
    for number in range(4):
        bench.period(f"CQ CE{number}QRX FF46")
    bench.period("CQ CE3QRT FF46")
    bench.period("CQ CE4QRX FF46")
    assert bench.status("raiser").state is State.RUNNING, "one that went well breaks the row"
    for number in range(4):
        bench.period(f"CQ CA{number}QRX FF46")
    assert bench.status("raiser").state is State.RESTED
    assert "5 times in a row" in (bench.status("raiser").reason or "")
    assert [rest.resting for rest in bench.rests] == [True]
    errors = bench.status("raiser").errors
    bench.period("CQ CE5QRX FF46")
    assert bench.status("raiser").errors == errors, "a rested plugin is not called"
    bench.skip(4 * 10)
    bench.period("CQ CE6QRT FF46")
    assert [rest.resting for rest in bench.rests] == [True, False]
    assert bench.status("raiser").state is State.RUNNING
    assert bench.status("shower").state is State.RUNNING


def test_a_journal_read_again_asks_for_no_rest_and_takes_those_it_holds() -> None:
    bench = Bench(Raiser)
    bench.host.live = False
    for number in range(9):
        bench.period(f"CQ CE{number}QRX FF46")
    assert bench.rests == []
    bench.host.apply(Rest(plugin="raiser", resting=True, reason="as then"))
    assert bench.status("raiser").reason == "as then"
    bench.host.apply(Rest(plugin="gone", resting=True))
    bench.skip(1000)
    bench.period("CQ CE3QRT FF46")
    assert bench.status("raiser").state is State.RESTED


def test_three_overruns_rest_a_plugin_and_name_hook_and_time() -> None:
    clock = Clock()

    class Slow(Plain):
        name = "slow"

        @hookimpl
        def burst_judged(self) -> None:
            clock.ns += 1_000_000_000
            clock.waits += 1

    bench = Bench(Slow, Shower, meter=clock.meter())
    for number in range(3):
        assert bench.status("slow").state is State.RUNNING
        bench.period(f"CQ CE{number}QRT FF46")
    slow = bench.status("slow")
    assert slow.state is State.RESTED
    assert "burst_judged took 1000 ms, allowed are 250" in (slow.reason or "")
    assert slow.max_ms == 1000
    assert slow.hooks["burst_judged"].overruns == 3
    assert slow.distribution == "tests"
    assert bench.status("shower").state is State.RUNNING


def test_a_call_that_was_only_kept_from_the_processor_is_no_overrun() -> None:
    clock = Clock()

    class Unlucky(Plain):
        name = "unlucky"

        @hookimpl
        def burst_judged(self) -> None:
            clock.ns += 1_000_000_000
            clock.cpu_ns += 1_000_000

    bench = Bench(Unlucky, meter=clock.meter())
    for number in range(5):
        bench.period(f"CQ CE{number}QRT FF46")
    assert bench.status("unlucky").state is State.RUNNING
    assert bench.status("unlucky").hooks["burst_judged"].overruns == 0


def test_notes_are_measured_by_the_burst() -> None:
    clock = Clock()

    class Slow(Plain):
        name = "slow"

        @hookimpl
        def annotate(self, hearing: Hearing) -> None:
            clock.ns += 55_000_000

    bench = Bench(Slow, meter=clock.meter())
    for number in range(4):
        bench.period(*(f"CQ CE{number}QR{letter} FF46" for letter in "ABCDEFGHI"))
    assert bench.status("slow").state is State.RUNNING, "495 ms of 500"
    for number in range(3):
        bench.period(*(f"CQ CE{number}QR{letter} FF46" for letter in "ABCDEFGHIJ"))
    assert bench.status("slow").state is State.RESTED


def test_notes_that_a_busy_machine_held_up_are_no_overrun() -> None:
    clock = Clock()

    class Unlucky(Plain):
        name = "unlucky"

        @hookimpl
        def annotate(self, hearing: Hearing) -> None:
            clock.ns += 900_000_000
            clock.cpu_ns += 450_000_000

    bench = Bench(Unlucky, meter=clock.meter())
    for number in range(4):
        bench.period(f"CQ CE{number}QRT FF46")
    assert bench.status("unlucky").hooks["annotate"].overruns == 0


def test_overruns_far_apart_do_not_add_up() -> None:
    clock = Clock()

    class Rarely(Plain):
        name = "rarely"

        @hookimpl
        def burst_judged(self) -> None:
            clock.ns += 60_000_000
            clock.cpu_ns += 60_000_000

    bench = Bench(Rarely, meter=clock.meter())
    for number in range(6):
        bench.period(f"CQ CE{number}QRT FF46")
        bench.skip(4 * 6)
    assert bench.status("rarely").state is State.RUNNING


@pytest.mark.parametrize("made", [3, Second(text="x"), [First(text="x"), "y"]])
def test_a_note_that_was_not_announced_counts_as_an_error(made: object) -> None:
    plugin = type("Odd", (Plain,), {"name": "odd", "provides": (First,), "annotate": hookimpl(lambda self: made)})
    bench = Bench(plugin)
    (hearing,) = bench.hear("CQ CE3QRT FF46")
    assert bench.status("odd").errors == 1
    assert hearing.note(Second) is None


def test_several_notes_of_one_plugin() -> None:
    notes = [First(text="a"), Second(text="b")]
    annotate = hookimpl(lambda self: notes)
    plugin = type("Two", (Plain,), {"name": "two", "provides": (First, Second), "annotate": annotate})
    (hearing,) = Bench(plugin).hear("CQ CE3QRT FF46")
    assert (hearing.note(First), hearing.note(Second)) == tuple(notes)


def test_views_of_all_and_what_is_no_view() -> None:
    plugin = type("Odd", (Plain,), {"name": "odd", "views": hookimpl(lambda self: ["text"])})
    bench = Bench(Shower, plugin)
    bench.close()
    assert bench.views() == [Notice(name="shower", panel=bench.views()[0].panel, title="closed", text="1")]
    assert bench.status("odd").errors == 2


def test_a_plugin_whose_views_raise_shows_what_it_last_did() -> None:
    class Sometimes(Shower):
        name = "shower"

        @hookimpl
        def views(self) -> Any:
            if self.closed == 2:
                raise RuntimeError("no")
            return super().views()

    bench = Bench(Sometimes)
    bench.close()
    before = bench.views()
    bench.close()
    assert bench.views() == before


def test_a_flood_of_hails_is_cut_and_named() -> None:
    bench = Bench(Flooder)
    bench.close()
    bench.close()
    assert len(bench.hails) == 2 * MOST_HAILS
    assert "hails" in (bench.status("flooder").reason or "")


def test_a_hail_from_outside_the_watchs_hooks_is_an_error() -> None:
    """What is shown now and then, and what runs beside the watch, has no place in the journal."""

    class Untimely(Shower):
        name = "untimely"

        @hookimpl
        def views(self) -> Any:
            self.context.hail(_hail())
            return ()

    bench = Bench(Untimely)
    bench.views()
    assert bench.hails == []
    assert "hail() is only for" in (bench.status("untimely").reason or "")


def test_what_plugins_submit_carries_their_name_and_migrations_come_first() -> None:
    class Keeper(Plain):
        name = "keeper"

        @hookimpl
        def migrations(self) -> list[str]:
            return ["CREATE TABLE plugin_keeper_seen(call TEXT)"]

        @hookimpl
        def annotate(self, hearing: Hearing) -> None:
            self.context.submit([("INSERT INTO plugin_keeper_seen VALUES (:call)", {"call": hearing.call})])

    bench = Bench(Keeper)
    bench.hear("CQ CE3QRT FF46")
    assert bench.records.migrated == {"keeper": ["CREATE TABLE plugin_keeper_seen(call TEXT)"]}
    assert bench.records.submitted[0][0] == "keeper"


def test_a_failed_migration_blocks_that_plugin_only() -> None:
    class Broken(Plain):
        name = "broken"

        @hookimpl
        def migrations(self) -> list[str]:
            raise ValueError("no such column")

    bench = Bench(Broken, Shower)
    assert "no such column" in (bench.status("broken").reason or "")
    assert bench.status("shower").state is State.RUNNING


class Bin:
    """A destination that takes everything."""

    def __init__(self, name: str) -> None:
        self.name = name

    def encode(self, contact: Contact) -> bytes:
        return contact.call.encode()

    async def send(self, payload: bytes, key: str) -> Sending:
        raise AssertionError


def test_destinations_are_known_by_one_name() -> None:
    one = type("One", (Plain,), {"name": "one", "destinations": hookimpl(lambda self: [Bin("home"), Bin("club")])})
    two = type("Two", (Plain,), {"name": "two", "destinations": hookimpl(lambda self: [Bin("home")])})
    bench = Bench(one, two)
    assert [destination.name for destination in bench.destinations()] == ["home", "club"]
    assert any("'home'" in notice for notice in bench.host.notices)


@pytest.mark.parametrize(
    ("figures", "why"),
    [
        ({"CE3QRT": 1}, "no name of small letters"),
        ({"rate": float("nan")}, "no finite number"),
        ({"rate": "5"}, "no finite number"),
        (7, "not iterable"),
    ],
)
def test_figures_that_are_none_count_as_an_error(figures: Any, why: str) -> None:
    class Odd(Plain):
        name = "odd"

        @hookimpl
        def metrics(self) -> Any:
            return figures

    bench = Bench(Odd)
    assert bench.host.metrics() == {}
    assert why in (bench.status("odd").reason or "")


def test_metrics_and_status_are_ready_for_the_wire() -> None:
    plugin = type("Odd", (Plain,), {"name": "odd", "metrics": hookimpl(lambda self: {"seen_total": 3})})
    bench = Bench(plugin, Shower)
    bench.close()
    assert bench.host.metrics() == {"odd": {"seen_total": 3}}
    shower = {each["name"]: each for each in msgspec.to_builtins(bench.host.status())}["shower"]
    assert shower["hooks"]["period_closed"]["calls"] == 1
    assert shower.keys() >= {"name", "distribution", "version", "state", "reason"}
    assert shower.keys() >= {"calls", "errors", "mean_us", "max_ms"}


# -- the asynchronous side --------------------------------------------------------------------------------------------


def _hail(key: str = "k") -> Hail:
    return Hail(key=key, urgency=Urgency.NOTE, sentence="s", rule="r", at_ms=0)


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
    bench.host.deliver(_hail())
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
    bench.host.deliver(_hail("first"))
    bench.host.deliver(_hail("second"))
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
        bench.host.deliver(_hail(str(number)))
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
