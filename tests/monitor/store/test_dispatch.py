"""The dispatcher against invented destinations, on a clock that the tests turn."""

from __future__ import annotations

import asyncio
import sqlite3
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from functools import partial
from pathlib import Path
from random import Random
from typing import Any

import pytest
from tests.monitor.store.making import contact, now

from watchkeeper.model import Contact, Sending, SendResult
from watchkeeper.store import outbox
from watchkeeper.store.courier import Patience
from watchkeeper.store.dispatch import DestinationStatus, Dispatcher, in_words
from watchkeeper.store.errors import StoreError
from watchkeeper.store.outbox import State
from watchkeeper.store.store import Store

DELIVERED = Sending(result=SendResult.DELIVERED)
LATER = Sending(result=SendResult.TRY_LATER, why="connection refused")
REFUSED = Sending(result=SendResult.REFUSED, why="400: no such field")


class TurnedClock:
    """Time passes only when :meth:`turn` says so."""

    def __init__(self) -> None:
        self.ms = round(now().timestamp() * 1000)
        self.couriers = 0
        self._waiting: list[tuple[int | None, asyncio.Event]] = []

    def now_ms(self) -> int:
        return self.ms

    async def wait(self, event: asyncio.Event, seconds: float | None) -> None:
        waiting = (None if seconds is None else self.ms + round(seconds * 1000), event)
        self._waiting.append(waiting)
        await event.wait()
        self._waiting.remove(waiting)

    async def turn(self, seconds: float) -> None:
        """Let ``seconds`` pass, and all happen that happens then."""
        await self.settle()
        self.ms += round(seconds * 1000)
        for at_ms, event in self._waiting:
            if at_ms is not None and at_ms <= self.ms:
                event.set()
        await self.settle()

    async def settle(self) -> None:
        """Until every courier waits for time to pass or for something new."""
        async with asyncio.timeout(10):
            while len(self._waiting) < self.couriers or any(event.is_set() for _, event in self._waiting):  # noqa: ASYNC110
                await asyncio.sleep(0)


class Answering:
    """A destination that answers as told: by a list, then always with the last of it."""

    def __init__(self, name: str, *answers: Sending) -> None:
        self.name = name
        self.answers = list(answers)
        self.seen: list[tuple[str, bytes]] = []

    def encode(self, contact: Contact) -> bytes:
        return contact.call.encode()

    async def send(self, payload: bytes, key: str) -> Sending:
        self.seen.append((key, payload))
        return self.answers.pop(0) if len(self.answers) > 1 else self.answers[0]


class Judging(Answering):
    """A destination that answers by key."""

    def __init__(self, name: str, judge: Callable[[str], Sending]) -> None:
        super().__init__(name, DELIVERED)
        self.judge = judge

    async def send(self, payload: bytes, key: str) -> Sending:
        self.seen.append((key, payload))
        return self.judge(key)


class Stalling(Answering):
    """A destination that takes the connection and never answers."""

    def __init__(self, name: str, *answers: Sending) -> None:
        super().__init__(name, *answers)
        self.asked = asyncio.Event()

    async def send(self, payload: bytes, key: str) -> Sending:
        self.seen.append((key, payload))
        self.asked.set()
        await asyncio.Event().wait()
        return DELIVERED


class Raising(Answering):
    """A destination with a fault of its own."""

    async def send(self, payload: bytes, key: str) -> Sending:
        self.seen.append((key, payload))
        raise RuntimeError("its own fault")


NO_JITTER = Patience(first_s=2, longest_s=900, jitter=0, one_try_s=0.01, farewell_s=0.01)


@asynccontextmanager
async def running(
    store: Store, clock: TurnedClock, *destinations: Answering, patience: Patience = NO_JITTER
) -> AsyncIterator[Dispatcher]:
    dispatcher = Dispatcher(store, destinations, clock=clock, random=Random(7), patience=patience)
    dispatcher.start()
    clock.couriers = len(destinations)
    try:
        yield dispatcher
    finally:
        await dispatcher.stop()


async def log(store: Store, source_id: str, *destinations: str, dispatcher: Dispatcher | None = None) -> None:
    one = contact(source_id, call=f"W{source_id}QRX")
    await store.commit(one, source_id.encode(), [(name, f"<{source_id}>".encode(), None) for name in destinations])
    if dispatcher is not None:
        dispatcher.wake()


@pytest.fixture
def clock() -> TurnedClock:
    return TurnedClock()


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


async def test_a_correction_waits_for_what_it_corrects(store: Store, clock: TurnedClock) -> None:
    await store.commit(contact("1"), b"1", [("home log", b"first", None)])
    await store.commit(contact("1", revision=1), b"2", [("home log", b"second", None)])
    home = Judging("home log", lambda key: DELIVERED)
    home.judge = lambda key: LATER if len(home.seen) < 3 else DELIVERED
    async with running(store, clock, home):
        for _ in range(6):
            await clock.turn(10)
    assert [payload for _, payload in home.seen] == [b"first", b"first", b"first", b"second"]


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
    await stalling.asked.wait()
    await dispatcher.stop()
    store.close()
    store = Store.open(tmp_path, now=now)
    async with running(store, clock, home):
        await clock.settle()
    store.close()
    assert stalling.seen == home.seen == [("DL5QRM|shack|1", b"<1>")]


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
