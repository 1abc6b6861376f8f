"""Counting what came and what did not; the reference for sequence numbers is plain set arithmetic."""

from __future__ import annotations

import tracemalloc
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.intake.counters import MAX_GAP, MAX_SOURCES, OTHERS, WINDOW, Counters, Sequence
from watchkeeper.schema.events import Farewell
from watchkeeper.schema.wire import Reason, Refusal

AT = datetime(2026, 5, 1, tzinfo=UTC)


def event(source: str = "bench", run: str | None = "r", seq: int | None = None) -> Farewell:
    return Farewell(v=1, source=source, at=AT, run=run, seq=seq)


def accepted(*numbers: int | None) -> Counters:
    counters = Counters()
    counters.accept(event(seq=number) for number in numbers)
    return counters


@given(st.lists(st.integers(1, WINDOW), min_size=1, max_size=200))
def test_in_any_order_lost_is_what_lies_between_and_never_came(numbers: list[int]) -> None:
    sequence = Sequence()
    for number in [0, *numbers]:
        sequence.note(number)
    seen = {0, *numbers}
    if max(seen) < WINDOW:
        assert sequence.lost == max(seen) + 1 - len(seen)
        assert sequence.doubled == len(numbers) + 1 - len(seen)
    assert sequence.highest == max(seen)


def test_a_late_one_fills_its_gap_once() -> None:
    counters = accepted(1, 2, 5)
    assert counters.as_dict()["lost"] == 2
    counters.accept([event(seq=3), event(seq=3)])
    assert (counters.as_dict()["lost"], counters.as_dict()["doubled"]) == (1, 1)


def test_one_before_the_first_was_never_missed() -> None:
    assert accepted(5, 4, 6).as_dict()["lost"] == 0


def test_a_new_run_is_no_gap() -> None:
    counters = accepted(1, 2, 3)
    counters.accept([event(run="next", seq=900), event(run="next", seq=901)])
    assert counters.as_dict()["lost"] == 0


def test_losses_of_forgotten_runs_still_count() -> None:
    counters = Counters()
    for run in range(20):
        counters.accept([event(run=str(run), seq=1), event(run=str(run), seq=3)])
    assert counters.as_dict()["lost"] == 20


def test_a_jump_beyond_reason_is_a_new_numbering() -> None:
    assert accepted(1, 2, 2 + MAX_GAP + 1).as_dict()["lost"] == 0
    assert accepted(1, 2, 2 + MAX_GAP).as_dict()["lost"] == MAX_GAP - 1


def test_events_without_number_say_nothing_about_losses() -> None:
    assert accepted(None, None).as_dict()["lost"] == 0


def test_refused_is_not_lost() -> None:
    counters = accepted(1)
    counters.reject([Refusal(Reason.BAD_VALUE, "no", "snr_db", "bench", "r", 2)])
    counters.accept([event(seq=3)])
    totals = counters.as_dict()
    assert (totals["lost"], totals["received"], totals["accepted"]) == (0, 3, 2)
    assert counters.sources["bench"].as_dict()["rejected"]["bad_value"] == 1


def test_every_reason_is_there_from_the_start() -> None:
    assert Counters().as_dict()["rejected"] == {str(reason): 0 for reason in Reason}


def test_refusals_never_open_a_source() -> None:
    counters = Counters()
    counters.reject(Refusal(Reason.BAD_VALUE, "no", "", f"made-up-{n}") for n in range(1000))
    assert not counters.sources
    assert counters.as_dict()["rejected"]["bad_value"] == 1000


@pytest.mark.parametrize("count", [5_000])
def test_invented_sources_and_runs_do_not_grow_memory(count: int) -> None:
    counters = Counters()
    counters.accept(event(source=f"s{n}", run=f"r{n}", seq=n) for n in range(MAX_SOURCES * 2))
    tracemalloc.start()
    counters.accept(event(source=f"t{n}", run=f"r{n}", seq=n) for n in range(count))
    grown, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert len(counters.sources) == MAX_SOURCES + 1
    assert counters.sources[OTHERS].accepted == MAX_SOURCES + count
    assert grown < 20_000
