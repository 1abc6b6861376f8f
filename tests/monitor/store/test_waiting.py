"""How long a contact waits for a destination that fails, and how that is told, on a clock that the tests turn."""

from __future__ import annotations

from functools import partial
from random import Random

import pytest
from tests.monitor.store.receivers import (
    DELIVERED,
    LATER,
    Answering,
    Judging,
    TurnedClock,
    log,
    running,
)

from watchkeeper.model import Sending, SendResult
from watchkeeper.store import outbox
from watchkeeper.store.courier import Patience
from watchkeeper.store.dispatch import DestinationStatus, Dispatcher, in_words
from watchkeeper.store.outbox import State
from watchkeeper.store.store import Store


async def test_a_failed_try_is_repeated_with_the_same_bytes_and_key_after_longer_and_longer(
    store: Store, clock: TurnedClock
) -> None:
    home = Answering("home log", LATER, LATER, LATER, DELIVERED)
    await log(store, "1", "home log")
    async with running(store, clock, home):
        tries = []
        for seconds in (0, 1.9, 0.2, 3.8, 0.3, 7.9, 0.2):
            await clock.turn(seconds)
            tries.append(len(home.seen))
    assert tries == [1, 1, 2, 2, 3, 3, 4]
    assert set(home.seen) == {("DL5QRM|shack|1", b"<1>")}


async def test_it_goes_on_for_days(store: Store, clock: TurnedClock) -> None:
    home = Answering("home log", *[LATER] * 50, DELIVERED)
    await log(store, "1", "home log")
    async with running(store, clock, home) as dispatcher:
        await clock.settle()
        for _ in range(60):
            await clock.turn(901)
        assert dispatcher.status()["home log"] == DestinationStatus(delivered=1)
    assert len(home.seen) == 51


async def test_the_other_side_may_ask_for_a_longer_wait(store: Store, clock: TurnedClock) -> None:
    asked = Sending(result=SendResult.TRY_LATER, why="429", retry_after_s=120)
    home = Answering("home log", asked, DELIVERED)
    await log(store, "1", "home log")
    async with running(store, clock, home):
        await clock.settle()
        await clock.turn(119)
        assert len(home.seen) == 1
        await clock.turn(2)
        assert len(home.seen) == 2


async def test_jitter_keeps_each_wait_near_the_usual_one(store: Store, clock: TurnedClock) -> None:
    home = Answering("home log", LATER)
    await log(store, "1", "home log")
    patience = Patience(first_s=100, jitter=0.25)
    dispatcher = Dispatcher(store, [home], clock=clock, random=Random(7), patience=patience)
    dispatcher.start()
    clock.couriers = 1
    await clock.settle()
    with store.reader() as db:
        row = outbox.find(db, 1)
    await dispatcher.stop()
    assert row is not None
    assert 75_000 <= row.due_ms - clock.ms <= 125_000
    assert row.due_ms - clock.ms != 100_000


@pytest.mark.parametrize(("drawn", "wait_ms"), [(0.0, 75_000), (0.25, 87_500), (1.0, 125_000)])
async def test_the_jitter_is_the_share_that_it_says(
    store: Store, clock: TurnedClock, drawn: float, wait_ms: int
) -> None:
    class Drawing(Random):
        def random(self) -> float:
            return drawn

    await log(store, "1", "home log")
    patience = Patience(first_s=100, jitter=0.25)
    dispatcher = Dispatcher(
        store, [Answering("home log", LATER)], clock=clock, random=Drawing(), patience=patience
    )  # fmt: skip
    dispatcher.start()
    clock.couriers = 1
    await clock.settle()
    await dispatcher.stop()
    with store.reader() as db:
        row = outbox.find(db, 1)
    assert row is not None
    assert row.due_ms - clock.ms == wait_ms


async def test_a_destination_that_is_down_is_tried_less_and_less_whichever_contact_fails(
    store: Store, clock: TurnedClock
) -> None:
    began_ms, tried_s = clock.ms, []

    def note(_key: str) -> Sending:
        tried_s.append((clock.ms - began_ms) / 1000)
        return LATER

    for number in range(3):
        await log(store, str(number), "home log")
    patience = Patience(first_s=0.5, jitter=0)
    async with running(store, clock, Judging("home log", note), patience=patience):
        for _ in range(31):
            await clock.turn(0.5)
    assert tried_s == [0, 0.5, 1.5, 3.5, 7.5, 15.5]


async def test_a_contact_that_failed_before_a_restart_waits_by_its_own_tries(store: Store, clock: TurnedClock) -> None:
    home = Answering("home log", LATER)
    await log(store, "1", "home log")
    for _ in range(5):
        await store.change(partial(outbox.postpone, row_id=1, due_ms=0, why="connection refused"))
    async with running(store, clock, home) as dispatcher:
        await clock.turn(63)  # 2 s, doubled five times
        assert len(home.seen) == 1
        await clock.turn(1)
        assert len(home.seen) == 2
        assert dispatcher.status()["home log"].waiting == 1


async def test_who_is_there_again_is_tried_at_once_and_if_still_down_after_the_first_wait(
    store: Store, clock: TurnedClock
) -> None:
    home = Answering("home log", LATER)
    await log(store, "1", "home log")
    async with running(store, clock, home) as dispatcher:
        for seconds in (0, 2, 4, 8):
            await clock.turn(seconds)
        assert len(home.seen) == 4
        dispatcher.reachable("home log")
        await clock.settle()
        assert len(home.seen) == 5
        await clock.turn(1.9)
        assert len(home.seen) == 5, "one call of its name is one try"
        with store.reader() as db:
            row = outbox.find(db, 1)
        assert row is not None
        await clock.turn((row.due_ms - clock.ms) / 1000)
        assert len(home.seen) == 6


async def test_who_is_there_again_and_still_down_is_tried_with_each_contact_after_the_first_wait(
    store: Store, clock: TurnedClock
) -> None:
    home = Answering("home log", LATER)
    await log(store, "1", "home log")
    await log(store, "2", "home log")
    async with running(store, clock, home) as dispatcher:
        await clock.turn(2)
        dispatcher.reachable("home log")
        await clock.turn(2)
    assert [payload for _, payload in home.seen] == [b"<1>", b"<2>", b"<1>", b"<2>"]


async def test_when_one_gets_through_all_that_failed_with_it_are_due(store: Store, clock: TurnedClock) -> None:
    up = False
    home = Judging("home log", lambda _key: DELIVERED if up else LATER)
    await log(store, "1", "home log")
    await log(store, "2", "home log")
    async with running(store, clock, home) as dispatcher:
        await clock.turn(2)
        assert len(home.seen) == 2, "both have failed, and the second is not due for 4 s"
        up = True
        await store.change(partial(outbox.retry, ids=[1]))
        dispatcher.retry_now()
        await clock.settle()
        assert dispatcher.status()["home log"] == DestinationStatus(delivered=2)


async def test_a_destination_that_was_never_tried_has_no_failure(store: Store, clock: TurnedClock) -> None:
    await log(store, "1", "home log")
    dispatcher = Dispatcher(store, [Answering("home log", DELIVERED)], clock=clock)
    assert dispatcher.status()["home log"] == DestinationStatus(waiting=1, oldest_s=0)


@pytest.mark.parametrize(("asked_s", "waited_s"), [(3600, 3600), (864_000, 86_400)])
async def test_a_wait_that_was_asked_for_holds_for_every_contact_and_for_a_day_at_most(
    store: Store, clock: TurnedClock, asked_s: float, waited_s: float
) -> None:
    asked = Sending(result=SendResult.TRY_LATER, why="429", retry_after_s=asked_s)
    home = Answering("home log", asked, DELIVERED)
    await log(store, "1", "home log")
    await log(store, "2", "home log")
    async with running(store, clock, home):
        await clock.turn(waited_s - 1)
        assert len(home.seen) == 1
        await clock.turn(1)
        assert [payload for _, payload in home.seen[1:]] == [b"<2>", b"<1>"]


async def test_a_failure_is_told_with_its_reason_and_since_when(store: Store, clock: TurnedClock) -> None:
    home = Answering("home log", LATER, Sending(result=SendResult.TRY_LATER, why="timed out"), DELIVERED)
    await log(store, "1", "home log")
    began_ms = clock.ms
    async with running(store, clock, home) as dispatcher:
        for why, tries, lasting_s in (("connection refused", 1, 0.0), ("timed out", 2, 2.0)):
            await clock.settle()
            status = dispatcher.status()["home log"]
            assert (status.why, status.down_since_ms, status.oldest_s) == (why, began_ms, lasting_s)
            with store.reader() as db:
                row = outbox.find(db, 1)
            assert row is not None
            assert (row.why, row.tries, row.state, row.done_ms) == (why, tries, State.WAITING, None)
            await clock.turn(2)
        await clock.turn(2)
        assert dispatcher.status()["home log"] == DestinationStatus(delivered=1)
        with store.reader() as db:
            row = outbox.find(db, 1)
        assert row is not None
        assert (row.state, row.why, row.tries, row.done_ms) == (State.DELIVERED, None, 3, clock.ms)


async def test_a_fault_without_words_is_told_by_its_kind(
    store: Store, clock: TurnedClock, caplog: pytest.LogCaptureFixture
) -> None:
    class Silent(Answering):
        async def send(self, payload: bytes, key: str) -> Sending:
            raise ConnectionResetError

    await log(store, "1", "home log")
    async with running(store, clock, Silent("home log", DELIVERED)) as dispatcher:
        await clock.settle()
        assert dispatcher.status()["home log"].why == "ConnectionResetError"
    assert caplog.messages == ["home log failed"]


async def test_after_a_success_the_waits_begin_anew(store: Store, clock: TurnedClock) -> None:
    home = Answering("home log", LATER, LATER, DELIVERED, LATER, DELIVERED)
    await log(store, "1", "home log")
    async with running(store, clock, home) as dispatcher:
        await clock.turn(2)
        await clock.turn(4)
        await log(store, "2", "home log", dispatcher=dispatcher)
        await clock.settle()
        assert len(home.seen) == 4
        await clock.turn(2)
        assert len(home.seen) == 5


async def test_after_an_outage_all_that_failed_in_it_is_due_at_once(store: Store, clock: TurnedClock) -> None:
    up = False
    home = Judging("home log", lambda key: DELIVERED if up else LATER)
    for number in range(3):
        await log(store, str(number), "home log")
    async with running(store, clock, home) as dispatcher:
        for _ in range(30):
            await clock.turn(901)
        assert dispatcher.status()["home log"].waiting == 3
        up = True
        await clock.turn(901)
        assert dispatcher.status()["home log"] == DestinationStatus(delivered=3)


async def test_the_operator_need_not_wait(store: Store, clock: TurnedClock) -> None:
    home = Answering("home log", LATER, DELIVERED)
    await log(store, "1", "home log")
    async with running(store, clock, home) as dispatcher:
        await clock.settle()
        with store.reader() as db:
            (row,) = outbox.listed(db, states=[State.WAITING])
        await store.change(lambda db: outbox.retry(db, [row.id]))
        dispatcher.retry_now()
        await clock.settle()
    assert len(home.seen) == 2


async def test_a_destination_that_is_back_gets_all_that_waits_at_once(store: Store, clock: TurnedClock) -> None:
    up = False
    home = Judging("home log", lambda _key: DELIVERED if up else LATER)
    other = Answering("other log", LATER)
    for number in range(3):
        await log(store, str(number), "home log")
    await log(store, "9", "other log")
    async with running(store, clock, home, other) as dispatcher:
        for _ in range(30):
            await clock.turn(901)
        before = len(home.seen), len(other.seen)
        up = True
        dispatcher.reachable("home log")
        dispatcher.reachable("no such log")
        await clock.settle()
        assert sorted(key for key, _ in home.seen[before[0] :]) == [f"DL5QRM|shack|{number}" for number in range(3)]
        assert dispatcher.status()["home log"] == DestinationStatus(delivered=3)
        assert len(other.seen) == before[1]


def test_the_state_in_words() -> None:
    down_ms = 1_777_644_120_000  # 2026-05-01 14:02:00 UTC
    waiting = DestinationStatus(waiting=3, down_since_ms=down_ms, oldest_s=12 * 60 + 5, why="connection refused")
    assert in_words("home log", waiting) == "3 waiting for the home log (down since 14:02), oldest 12 min"
    assert in_words("home log", DestinationStatus(delivered=9)) == ""
    assert in_words("file", DestinationStatus(waiting=1, oldest_s=3.2)) == "1 waiting for the file, oldest 3 s"
    assert in_words("file", DestinationStatus(dead=2)) == "2 refused by the file: see `watchkeeper outbox list`"
    assert in_words("file", DestinationStatus(waiting=1)) == "1 waiting for the file"
    both = "1 waiting for the file; 2 refused by the file: see `watchkeeper outbox list`"
    assert in_words("file", DestinationStatus(waiting=1, dead=2)) == both


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (59.9, "59 s"),
        (60, "1 min"),
        (3599, "59 min"),
        (3600, "1 h"),
        (86_399, "23 h"),
        (86_400, "1 d"),
        (200_000, "2 d"),
    ],
)
def test_how_long_something_waits_in_words(seconds: float, words: str) -> None:
    assert in_words("file", DestinationStatus(waiting=1, oldest_s=seconds)) == f"1 waiting for the file, oldest {words}"
