"""Puts a live watch together: config, store, ways in, keeper, and the socket that faces and commands ask."""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import msgspec

from ..config import Config
from ..faces.page.app import make_app
from ..faces.page.serving import serve_unix
from ..faces.source import Changes, LocalSource
from ..intake.queue import IntakeQueue
from ..intake.seal import Seal, load_key
from ..intake.udp import UdpIntake
from ..schema.events import stamp
from ..store.dispatch import in_words
from ..store.store import Store
from ..watch.journal import Act
from ..watch.keeper import Keeper

SOCKET = "watch.sock"
#: what the operator may do from a face or by a command
ACTS = ("done", "pause", "release", "session")


def wall_clock_ms() -> int:
    """The computer's time, ms since 1970-01-01 UTC."""
    return time.time_ns() // 1_000_000


def _seal(config: Config) -> Seal | None:
    listen = config.listen
    if listen.seal_key_file is None and listen.seal_key_env is None:
        return None
    return Seal(load_key(listen.seal_key_file, listen.seal_key_env))


class Standing:
    """A watch that stands. ``source`` is what faces draw from; ``stopped`` is set by whoever wants it to end."""

    def __init__(self, config: Config, folder: Path, *, port: int | None = None, safe: bool = False) -> None:
        self.config = config
        self.folder = folder
        self.stopped = asyncio.Event()
        self._changes = Changes()
        self._queue = IntakeQueue(on_shed=lambda arrival: self.intake.counters.shed(arrival.event))
        listen = config.listen
        self.intake = UdpIntake(
            asyncio.get_running_loop(),
            listen.address,
            listen.port if port is None else port,
            self._queue.put_many,
            wall_clock_ms,
            seal=_seal(config),
        )
        self.store = Store.open(folder)
        self.keeper = Keeper(
            config,
            self.store,
            clock_ms=wall_clock_ms,
            answer=self.intake.send_receipt,
            changed=self._changes.mark,
            safe=safe,
        )
        self.source = LocalSource(
            self._snapshot, self.status, self._changes, act=self._act, covers=lambda: self._covers()
        )

    def _snapshot(self) -> Any:
        return self.keeper.snapshot()

    def _covers(self) -> Mapping[str, Any]:
        return {name: msgspec.structs.asdict(cover) for name, cover in self.keeper.watch.covers.items()}

    async def _act(self, act: Mapping[str, Any]) -> None:
        try:
            asked = msgspec.convert(act, Act)
        except msgspec.ValidationError as error:
            raise ValueError(str(error)) from error
        if asked.act not in ACTS:
            raise ValueError(f"no such act: {asked.act!r}; there are {', '.join(ACTS)}")
        await self.keeper.act(asked)

    def status(self) -> dict[str, Any]:
        """What hangs on this computer and not on the journal: intake, outbox, plugins, notices."""
        forwarding = self.keeper.dispatcher.status()
        counters = self.intake.counters
        notices = [*self.store.notices, *self.keeper.session.host.notices]
        if self.intake.warning is not None:
            notices.append(self.intake.warning)
        return {
            "v": 1,
            "data_dir": str(self.folder),
            "session": self.keeper.session.number,
            "listening": "{}:{}".format(*self.intake.address),
            "sources": {name: source.as_dict() for name, source in counters.sources.items()},
            "intake": {
                **counters.as_dict(),
                "kernel_drops": self.intake.kernel_drops(),
                "buffer_bytes": self.intake.buffer_bytes,
                "queued": len(self._queue),
            },
            "outbox": {
                name: {
                    "waiting": one.waiting,
                    "delivered": one.delivered,
                    "dead": one.dead,
                    "down_since": None if one.down_since_ms is None else stamp(one.down_since_ms),
                    "oldest_s": one.oldest_s,
                    "why": one.why,
                    "words": in_words(name, one),
                }
                for name, one in forwarding.items()
            },
            "plugins": [msgspec.to_builtins(one) for one in self.keeper.plugins()],
            "notices": notices,
        }

    async def drained(self) -> None:
        """Wait until everything that has arrived is worked through."""
        while len(self._queue):
            await self._changes.after(self._changes.version)

    async def failed(self) -> None:
        """Wait for ever, or raise what stopped the pump."""
        await asyncio.shield(self._pump)

    async def start(self) -> None:
        """Listen at once, then read the journal again: what arrives meanwhile waits in the queue."""
        self.intake.start()
        await self.keeper.start()
        self._pump = asyncio.create_task(self.keeper.run(self._queue), name="pump")

    async def stop(self) -> None:
        """Hear no more, work through what has arrived, write everything."""
        self.intake.stop()
        self._queue.close()
        await self._pump
        await self.keeper.stop()


@asynccontextmanager
async def stand(
    config: Config, folder: Path, *, port: int | None = None, safe: bool = False
) -> AsyncIterator[Standing]:
    """A standing watch on ``folder``; on leaving, what has arrived is worked through and everything written.

    Raises IntakeError and StoreError with a text for the operator.
    """
    standing = Standing(config, folder, port=port, safe=safe)
    try:
        await standing.start()
        async with serve_unix(make_app(standing.source), folder / SOCKET):
            try:
                yield standing
            finally:
                await standing.stop()
    finally:
        standing.store.close()
