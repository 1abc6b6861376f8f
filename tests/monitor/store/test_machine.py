"""The store against a model that knows only what was acknowledged: any order of contacts, repeats, crashes, answers."""

from __future__ import annotations

import asyncio
import shutil
import tempfile
from pathlib import Path
from random import Random

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule
from tests.monitor.store.making import STARTED_MS, contact, now

from watchkeeper.model import Contact, Sending, SendResult
from watchkeeper.store import contacts, outbox
from watchkeeper.store.contacts import Outcome, Status
from watchkeeper.store.courier import Patience
from watchkeeper.store.dispatch import Dispatcher
from watchkeeper.store.outbox import State
from watchkeeper.store.store import Store

ANSWERS = (SendResult.DELIVERED, SendResult.ALREADY_THERE, SendResult.TRY_LATER, SendResult.REFUSED)


class Rushing:
    """A clock on which every wait is over at once."""

    def now_ms(self) -> int:
        return round(now().timestamp() * 1000)

    async def wait(self, event: asyncio.Event, seconds: float | None) -> None:
        if seconds is None:
            await event.wait()


class Receiver:
    """Answers as drawn, then always takes what comes; ends the session when it has nothing more to say."""

    name = "home log"

    def __init__(self, got: list[tuple[str, bytes]]) -> None:
        self.got = got
        self.answers: list[SendResult] = []
        self.asked = asyncio.Event()

    def encode(self, contact: Contact) -> bytes:
        return contact.call.encode()

    async def send(self, payload: bytes, key: str) -> Sending:
        answer = self.answers.pop(0) if self.answers else SendResult.TRY_LATER
        if answer is not SendResult.REFUSED:
            self.got.append((key, payload))
        if not self.answers:
            self.asked.set()
        return Sending(result=answer)


class Watch(RuleBasedStateMachine):
    """Contacts of a few stations far apart in time, so that only identity decides."""

    @initialize()
    def begin(self) -> None:
        self.folder = Path(tempfile.mkdtemp())
        self.runner = asyncio.Runner()
        self.store = Store.open(self.folder, now=now)
        #: key → revision → digest of what was acknowledged
        self.acknowledged: dict[str, dict[int, bytes]] = {}
        self.got: list[tuple[str, bytes]] = []

    def commit(self, one: Contact, digest: bytes) -> Outcome:
        async def wait() -> Outcome:
            return await self.store.commit(one, digest, [("home log", digest, None)])

        return self.runner.run(wait())

    @rule(number=st.integers(1, 4), revision=st.integers(0, 2), version=st.sampled_from([b"a", b"b"]))
    def tell(self, number: int, revision: int, version: bytes) -> None:
        one = contact(str(number), revision=revision, started_ms=STARTED_MS + number * 3_600_000)
        known = self.acknowledged.get(one.key, {})
        outcome = self.commit(one, version)
        if revision in known:
            assert outcome.status is (Status.REPEATED if known[revision] == version else Status.REFUSED)
        elif known and revision < max(known):
            assert outcome.status is Status.REFUSED
        else:
            assert outcome.status is Status.STORED
            self.acknowledged.setdefault(one.key, {})[revision] = version

    @rule()
    def crash(self) -> None:
        """What the writer had committed stays; a copy of the files is what a kill leaves."""
        left = Path(tempfile.mkdtemp())
        shutil.copytree(self.folder, left, dirs_exist_ok=True)
        self.store.close()
        shutil.rmtree(self.folder)
        self.folder = left
        self.store = Store.open(self.folder, now=now)

    @rule(answers=st.lists(st.sampled_from(ANSWERS), min_size=1, max_size=6))
    def forward(self, answers: list[SendResult]) -> None:
        async def some() -> None:
            receiver = Receiver(self.got)
            receiver.answers = list(answers)
            dispatcher = Dispatcher(
                self.store, [receiver], clock=Rushing(), random=Random(1), patience=Patience(first_s=0.001, longest_s=0)
            )
            dispatcher.start()
            while not receiver.asked.is_set() and self.waiting():  # noqa: ASYNC110
                await asyncio.sleep(0)
            await dispatcher.stop()

        self.runner.run(some())

    def waiting(self) -> bool:
        with self.store.reader() as db:
            return any(outbox.listed(db, states=[State.WAITING]))

    @invariant()
    def what_was_acknowledged_is_in_the_log_once(self) -> None:
        with self.store.reader() as db:
            found = {one.key: one.revision for _, one in contacts.standing(db)}
            count = db.execute("SELECT count(*) FROM contact").fetchone()[0]
        assert found == {key: max(revisions) for key, revisions in self.acknowledged.items()}
        assert count == sum(len(revisions) for revisions in self.acknowledged.values())

    @invariant()
    def every_try_sends_the_frozen_bytes_under_one_key(self) -> None:
        sent: dict[str, bytes] = {}
        for key, payload in self.got:
            assert sent.setdefault(key, payload) == payload
        with self.store.reader() as db:
            for row in outbox.listed(db, states=[State.DELIVERED]):
                assert sent[row.key] == row.payload

    @invariant()
    def a_correction_never_overtakes(self) -> None:
        with self.store.reader() as db:
            done = [(row.lane, row.id) for row in outbox.listed(db, states=[State.DELIVERED, State.DEAD])]
            open_rows = [(row.lane, row.id) for row in outbox.listed(db, states=[State.WAITING])]
        assert not any(lane == other and row < late for lane, row in open_rows for other, late in done)

    def teardown(self) -> None:
        if hasattr(self, "store"):
            self.store.close()
            self.runner.close()
            shutil.rmtree(self.folder)


TestWatch = Watch.TestCase
TestWatch.settings = settings(max_examples=15, stateful_step_count=15, deadline=None)
