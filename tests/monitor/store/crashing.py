"""A watch that dies: logs one contact, forwards it, and is killed exactly where it is told.

``python crashing.py FOLDER WINDOW``: prints ``acknowledged`` when the outcome is there, as a receipt would go out, and
appends what the destination gets to FOLDER/received. WINDOW ``none`` lives to the end.
"""

from __future__ import annotations

import asyncio
import os
import signal
import sys
from pathlib import Path

from tests.monitor.store.making import STARTED_MS, contact, now

from watchkeeper.model import Contact, Sending, SendResult
from watchkeeper.store import outbox
from watchkeeper.store.dispatch import Dispatcher
from watchkeeper.store.sessions import JournalChunk
from watchkeeper.store.store import Store


class Death:
    """Kills this process, with no chance to tidy up, when the window is reached."""

    def __init__(self, window: str) -> None:
        self._window = window
        self.armed = False  # until the session, which is a commit too, is open
        self.seen: set[str] = set()

    def __call__(self, step: str) -> None:
        if self.armed and step == self._window:
            os.kill(os.getpid(), signal.SIGKILL)
        self.seen.add(step)


class Receiver:
    """A destination that writes down what it gets, synced, before it answers."""

    name = "home log"

    def __init__(self, folder: Path, death: Death) -> None:
        self._path = folder / "received"
        self._death = death

    def encode(self, contact: Contact) -> bytes:
        return contact.call.encode()

    async def send(self, payload: bytes, key: str) -> Sending:
        with self._path.open("a") as file:
            file.write(f"{key} {payload.decode()}\n")
            file.flush()
            os.fsync(file.fileno())
        self._death("sent")
        return Sending(result=SendResult.DELIVERED)


async def watch(folder: Path, death: Death) -> None:
    store = Store.open(folder, now=now, steps=death)
    last = store.last_session()
    session = store.open_session(b"header", STARTED_MS) if last is None else last.id
    receiver = Receiver(folder, death)
    death.armed = True
    death("received")
    store.journal(session, 0, 1, b'{"n":0}\n')
    await store.change(lambda db: None)
    death("journaled")
    chunk = JournalChunk(session=session, first_n=1, count=1, body=b'{"n":1}\n')
    payload = receiver.encode(contact())
    outcome = await store.commit(contact(), b"digest", [(receiver.name, payload, None)], chunk)
    death("outcome")
    print(f"acknowledged {outcome.status}", flush=True)
    death("receipt sent")
    if outcome.status == "stored":
        while "followed" not in death.seen:  # noqa: ASYNC110
            await asyncio.sleep(0.001)
    dispatcher = Dispatcher(store, [receiver])
    dispatcher.start()
    while not delivered(store):  # noqa: ASYNC110
        await asyncio.sleep(0.001)
    death("marked")
    await dispatcher.stop()
    store.close()


def delivered(store: Store) -> bool:
    with store.reader() as db:
        return bool(outbox.delivered(db))


if __name__ == "__main__":
    asyncio.run(watch(Path(sys.argv[1]), Death(sys.argv[2])))
