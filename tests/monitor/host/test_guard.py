"""What plugins raise and how long they take is contained, counted and shown, and who is rested."""

from __future__ import annotations

import asyncio
from typing import Any

import msgspec
import pytest
from tests.monitor.host.meter import Clock
from tests.monitor.host.plugins import (
    First,
    Flooder,
    Giver,
    Plain,
    Raiser,
    Second,
    Shower,
    hail,
)

from watchkeeper.api import Hearing, hookimpl
from watchkeeper.host.plugin_host import MOST_HAILS
from watchkeeper.host.status import Rest, State
from watchkeeper.model import Contact, Sending
from watchkeeper.testing import Bench
from watchkeeper.view import Notice


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
            self.context.hail(hail())
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
