"""The dispatcher against invented destinations, on a clock that the tests turn."""

from __future__ import annotations

import asyncio
import gc
import sqlite3
import weakref
from collections.abc import Callable
from functools import partial
from pathlib import Path
from random import Random
from typing import Any

import pytest
from tests.monitor.store.making import contact, now
from tests.monitor.store.receivers import (
    DELIVERED,
    LATER,
    REFUSED,
    Answering,
    Judging,
    Lingering,
    Raising,
    Stalling,
    TurnedClock,
    log,
    running,
)

from watchkeeper.model import Contact, Sending, SendResult
from watchkeeper.store import outbox
from watchkeeper.store.courier import Patience
from watchkeeper.store.dispatch import DestinationStatus, Dispatcher
from watchkeeper.store.errors import StoreError
from watchkeeper.store.outbox import Backlog, State
from watchkeeper.store.store import Store


async def test_what_waits_goes_out_in_order_and_what_comes_goes_at_once(store: Store, clock: TurnedClock) -> None:
    home = Answering("home log", DELIVERED)
    await log(store, "1", "home log")
    await log(store, "2", "home log")
    async with running(store, clock, home) as dispatcher:
        await clock.settle()
        await log(store, "3", "home log", dispatcher=dispatcher)
        await clock.settle()
        status = dispatcher.status()["home log"]
    assert [payload for _, payload in home.seen] == [b"<1>", b"<2>", b"<3>"]
    assert status == DestinationStatus(delivered=3)


async def test_already_there_counts_as_delivered(store: Store, clock: TurnedClock) -> None:
    await log(store, "1", "home log")
    async with running(store, clock, Answering("home log", Sending(result=SendResult.ALREADY_THERE))) as dispatcher:
        await clock.settle()
        assert dispatcher.status()["home log"].delivered == 1


async def test_what_cannot_be_encoded_even_now_is_a_dead_letter_that_says_why(store: Store, clock: TurnedClock) -> None:
    class Picky(Answering):
        def encode(self, contact: Contact) -> bytes:
            raise ValueError("no locator")

    await store.commit(contact("1"), b"1", [("home log", None, "no locator")])
    home = Picky("home log", DELIVERED)
    async with running(store, clock, home) as dispatcher:
        await store.change(lambda db: outbox.retry(db, [1]))
        dispatcher.wake()
        await clock.settle()
    with store.reader() as db:
        row = outbox.find(db, 1)
    assert row is not None
    assert (row.state, row.why) == (State.DEAD, "cannot be encoded: ValueError: no locator")
    assert home.seen == []


async def test_behind_what_cannot_be_encoded_the_next_goes_out_at_once(store: Store, clock: TurnedClock) -> None:
    class Picky(Answering):
        def encode(self, contact: Contact) -> bytes:
            raise ValueError("no locator")

    await store.commit(contact("1"), b"1", [("home log", None, "no locator")])
    await store.change(partial(outbox.retry, ids=[1]))
    await log(store, "2", "home log")
    home = Picky("home log", DELIVERED)
    async with running(store, clock, home) as dispatcher:
        await clock.settle()
        assert dispatcher.status()["home log"] == DestinationStatus(delivered=1, dead=1)
    assert [payload for _, payload in home.seen] == [b"<2>"]


async def test_what_is_encoded_late_goes_out_with_the_same_bytes_on_every_try(store: Store, clock: TurnedClock) -> None:
    class Numbering(Answering):
        encoded = 0

        def encode(self, contact: Contact) -> bytes:
            self.encoded += 1
            return f"{contact.call} {self.encoded}".encode()

    await store.commit(contact("1"), b"1", [("home log", None, "no locator")])
    await store.change(partial(outbox.retry, ids=[1]))
    home = Numbering("home log", LATER, DELIVERED)
    async with running(store, clock, home):
        await clock.turn(2)
        with store.reader() as db:
            row = outbox.find(db, 1)
    assert [payload for _, payload in home.seen] == [b"W1QSB 1", b"W1QSB 1"]
    assert row is not None
    assert (row.payload, row.state) == (b"W1QSB 1", State.DELIVERED)


async def test_a_try_that_cannot_be_noted_is_told_and_made_again(
    store: Store, clock: TurnedClock, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    full, change = True, store.change

    async def change_if_room(act: Callable[[sqlite3.Connection], Any]) -> Any:
        if full:
            raise StoreError("the disk is full")
        return await change(act)

    home = Answering("home log", DELIVERED)
    await log(store, "1", "home log")
    monkeypatch.setattr(store, "change", change_if_room)
    async with running(store, clock, home) as dispatcher:
        await clock.turn(1.9)
        assert (len(home.seen), dispatcher.status()["home log"].why) == (1, "the disk is full")
        assert caplog.messages == ["home log: the disk is full"]
        full = False
        await clock.turn(0.1)
        assert dispatcher.status()["home log"].delivered == 1
    assert home.seen == [("DL5QRM|shack|1", b"<1>")] * 2


@pytest.mark.parametrize(
    ("sending", "state", "why"),
    [
        (Sending(result=SendResult.REFUSED), State.DEAD, "refused"),
        (REFUSED, State.DEAD, "400: no such field"),
        (Sending(result=SendResult.DELIVERED, why="entry 17"), State.DELIVERED, "entry 17"),
        (Sending(result=SendResult.ALREADY_THERE), State.DELIVERED, None),
    ],
)
async def test_a_row_keeps_what_the_receiver_said_last(
    store: Store, clock: TurnedClock, sending: Sending, state: State, why: str | None
) -> None:
    await log(store, "1", "home log")
    async with running(store, clock, Answering("home log", sending)):
        await clock.settle()
    with store.reader() as db:
        row = outbox.find(db, 1)
    assert row is not None
    assert (row.state, row.why) == (state, why)


async def test_rows_are_released_retried_and_dropped_one_by_one(store: Store, clock: TurnedClock) -> None:
    for number in range(1, 4):
        await log(store, str(number), "a", "b")  # rows 1, 3, 5 for a and 2, 4, 6 for b

    def states() -> list[tuple[State, int, int | None]]:
        with store.reader() as db:
            rows = outbox.listed(db, states=list(State), destination="a")
            return [(row.state, row.due_ms, row.done_ms) for row in rows]

    for row_id in (1, 2, 3):
        await store.change(partial(outbox.postpone, row_id=row_id, due_ms=clock.ms + 5000, why="later"))
    await store.change(lambda db: outbox.release(db, "a"))
    assert [due_ms for _, due_ms, _ in states()] == [0, 0, 0]
    with store.reader() as db:
        row = outbox.find(db, 2)
        assert row is not None
        assert row.due_ms == clock.ms + 5000, "another destination waits on"

    await store.change(lambda db: outbox.mark(db, 1, State.DELIVERED, clock.ms, None))
    await store.change(lambda db: outbox.mark(db, 3, State.DEAD, clock.ms, "refused"))
    assert await store.change(lambda db: outbox.drop(db, [1, 3, 5, 99], clock.ms + 1)) == 2
    dropped = (State.DROPPED, 0, clock.ms + 1)
    assert states() == [(State.DELIVERED, 0, clock.ms), dropped, dropped]
    assert await store.change(lambda db: outbox.retry(db, [1, 3, 99])) == 1
    assert states() == [(State.DELIVERED, 0, clock.ms), (State.WAITING, 0, None), dropped]


async def test_a_dead_or_stalling_destination_delays_no_other(store: Store, clock: TurnedClock) -> None:
    file = Answering("file", DELIVERED)
    dead, stalling, faulty = Answering("dead", LATER), Stalling("stalling", DELIVERED), Raising("faulty", DELIVERED)
    async with running(store, clock, dead, stalling, faulty, file) as dispatcher:
        for number in range(5):
            await log(store, str(number), "dead", "stalling", "faulty", "file", dispatcher=dispatcher)
        await clock.settle()
        status = dispatcher.status()
    assert status["file"].delivered == 5
    assert (status["dead"].waiting, status["dead"].why) == (5, "connection refused")
    assert (status["stalling"].waiting, status["stalling"].why) == (5, "no answer in 0.01 s")
    assert (status["faulty"].waiting, status["faulty"].why) == (5, "RuntimeError: its own fault")


async def test_what_is_refused_is_a_dead_letter_and_the_next_goes_out(store: Store, clock: TurnedClock) -> None:
    home = Answering("home log", REFUSED, DELIVERED)
    await log(store, "1", "home log")
    await log(store, "2", "home log")
    async with running(store, clock, home) as dispatcher:
        await clock.settle()
        status = dispatcher.status()["home log"]
        with store.reader() as db:
            (dead,) = outbox.listed(db, states=[State.DEAD])
        assert (status.dead, status.delivered, dead.why) == (1, 1, "400: no such field")
        await store.change(lambda db: outbox.retry(db, [dead.id]))
        dispatcher.wake()
        await clock.settle()
        assert dispatcher.status()["home log"].delivered == 2
    assert home.seen[0] == home.seen[2]


async def test_one_contact_that_always_fails_does_not_stop_the_others(store: Store, clock: TurnedClock) -> None:
    home = Judging("home log", lambda key: LATER if key.endswith("|1") else DELIVERED)
    for number in range(1, 4):
        await log(store, str(number), "home log")
    async with running(store, clock, home) as dispatcher:
        for _ in range(4):
            await clock.turn(3)
        status = dispatcher.status()["home log"]
    assert (status.delivered, status.waiting) == (2, 1)


async def test_one_contact_that_always_fails_is_not_tried_again_for_the_others_success(
    store: Store, clock: TurnedClock
) -> None:
    home = Judging("home log", lambda key: LATER if key.endswith("|1") else DELIVERED)
    await log(store, "1", "home log")
    async with running(store, clock, home) as dispatcher:
        await clock.turn(2)
        await log(store, "2", "home log", dispatcher=dispatcher)
        await clock.turn(4)
        await log(store, "3", "home log", dispatcher=dispatcher)
        await clock.turn(2)
    assert [payload for _, payload in home.seen] == [b"<1>", b"<1>", b"<2>", b"<1>", b"<3>"]


async def test_a_correction_waits_for_what_it_corrects(store: Store, clock: TurnedClock) -> None:
    await store.commit(contact("1"), b"1", [("home log", b"first", None)])
    await store.commit(contact("1", revision=1), b"2", [("home log", b"second", None)])
    home = Judging("home log", lambda key: DELIVERED)
    home.judge = lambda key: LATER if len(home.seen) < 3 else DELIVERED
    async with running(store, clock, home):
        for _ in range(6):
            await clock.turn(10)
    assert [payload for _, payload in home.seen] == [b"first", b"first", b"first", b"second"]


async def test_what_could_not_be_encoded_can_be_after_a_mend(store: Store, clock: TurnedClock) -> None:
    await store.commit(contact("1"), b"1", [("home log", None, "no locator")])
    home = Answering("home log", DELIVERED)
    async with running(store, clock, home) as dispatcher:
        await store.change(lambda db: outbox.retry(db, [1]))
        dispatcher.wake()
        await clock.settle()
        assert home.seen == [("DL5QRM|shack|1", b"W1QSB")]
        assert dispatcher.status()["home log"] == DestinationStatus(delivered=1)


async def test_what_waits_for_a_destination_that_is_gone_is_shown(store: Store, clock: TurnedClock) -> None:
    await log(store, "1", "old log")
    async with running(store, clock) as dispatcher:
        status = dispatcher.status()["old log"]
    assert (status.waiting, status.delivered, status.why) == (1, 0, "no such destination is configured")


async def test_what_a_destination_had_delivered_is_known_when_it_is_gone(store: Store, clock: TurnedClock) -> None:
    async with running(store, clock, Answering("old log", DELIVERED)) as dispatcher:
        await log(store, "1", "old log", dispatcher=dispatcher)
        await clock.settle()
        dispatcher.replace([])
        await log(store, "2", "old log")
        status = dispatcher.status()["old log"]
    assert (status.waiting, status.delivered) == (1, 1)


async def test_what_was_delivered_before_a_restart_is_counted_on(store: Store, clock: TurnedClock) -> None:
    await log(store, "1", "home log")
    async with running(store, clock, Answering("home log", DELIVERED)):
        await clock.settle()
    await log(store, "2", "home log")
    async with running(store, clock, Answering("home log", DELIVERED)) as dispatcher:
        await clock.settle()
        assert dispatcher.status()["home log"] == DestinationStatus(delivered=2)


async def test_backlogs_tell_what_waits_and_what_is_dead_by_destination(store: Store, clock: TurnedClock) -> None:
    for number in range(3):
        await log(store, str(number), "a", "b", "c")  # rows 1, 4, 7 for a; 2, 5, 8 for b; 3, 6, 9 for c
    for row_id, state in ((1, State.DELIVERED), (4, State.DEAD), (2, State.DEAD), (5, State.DEAD), (8, State.DROPPED)):
        await store.change(partial(outbox.mark, row_id=row_id, state=state, now_ms=clock.ms, why=None))
    with store.reader() as db:
        assert outbox.backlogs(db) == {
            "a": Backlog(waiting=1, dead=1, oldest_ms=clock.ms),
            "b": Backlog(dead=2),
            "c": Backlog(waiting=3, oldest_ms=clock.ms),
        }


async def test_destinations_can_change_while_it_runs(store: Store, clock: TurnedClock) -> None:
    first, second, third = Answering("a", DELIVERED), Answering("a", DELIVERED), Answering("b", DELIVERED)
    async with running(store, clock, first) as dispatcher:
        await log(store, "1", "a", "b", dispatcher=dispatcher)
        await clock.settle()
        dispatcher.replace([second, third])
        clock.couriers = 2
        await log(store, "2", "a", "b", dispatcher=dispatcher)
        await clock.settle()
        status = dispatcher.status()
    assert [len(one.seen) for one in (first, second, third)] == [1, 1, 2]
    assert (status["a"].delivered, status["b"].delivered) == (2, 2)


async def test_a_try_that_the_end_cut_off_is_made_again(tmp_path: Path, clock: TurnedClock) -> None:
    """Nobody knows how it ended, so the same key and bytes go out once more."""
    stalling, home = Stalling("home log", DELIVERED), Answering("home log", DELIVERED)
    store = Store.open(tmp_path, now=now)
    await log(store, "1", "home log")
    patience = Patience(one_try_s=60, farewell_s=0.01)
    dispatcher = Dispatcher(store, [stalling], clock=clock, random=Random(7), patience=patience)
    dispatcher.start()
    async with asyncio.timeout(5):
        await stalling.asked.wait()
    await dispatcher.stop()
    store.close()
    store = Store.open(tmp_path, now=now)
    async with running(store, clock, home):
        await clock.settle()
    store.close()
    assert stalling.seen == home.seen == [("DL5QRM|shack|1", b"<1>")]


async def test_a_try_that_somebody_else_cancelled_is_made_again_after_a_pause(store: Store, clock: TurnedClock) -> None:
    class Cancelling(Answering):
        async def send(self, payload: bytes, key: str) -> Sending:
            self.seen.append((key, payload))
            if len(self.seen) == 1:
                raise asyncio.CancelledError
            return DELIVERED

    home = Cancelling("home log", DELIVERED)
    await log(store, "1", "home log")
    async with running(store, clock, home):
        await clock.turn(1.9)
        assert len(home.seen) == 1
        await clock.turn(0.1)
        assert len(home.seen) == 2


async def test_the_end_comes_behind_the_end_of_the_last_try(store: Store, clock: TurnedClock) -> None:
    home = Lingering("home log", DELIVERED)
    await log(store, "1", "home log")
    async with running(store, clock, home), asyncio.timeout(5):
        await home.asked.wait()
    assert home.ended


async def test_a_destination_that_is_gone_is_forgotten(store: Store, clock: TurnedClock) -> None:
    home = Answering("home log", DELIVERED)
    forgotten = weakref.ref(home)
    async with running(store, clock) as dispatcher:
        dispatcher.replace([home])
        clock.couriers = 1
        await clock.settle()
        dispatcher.replace([])
        clock.couriers = 0
        del home
        async with asyncio.timeout(10):
            while forgotten() is not None:
                await asyncio.sleep(0)
                gc.collect()


async def test_behind_the_end_no_destination_is_served(store: Store, clock: TurnedClock) -> None:
    async with running(store, clock) as dispatcher:
        pass
    dispatcher.replace([Answering("home log", DELIVERED)])
    assert [task for task in asyncio.all_tasks() if task.get_name().startswith("courier ")] == []
