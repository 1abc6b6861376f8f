"""Puts a live watch together: config, store, ways in, keeper, and the socket that faces and commands ask."""

from __future__ import annotations

import asyncio
import gc
import time
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import msgspec

from ..config import Config
from ..faces.page.app import make_app
from ..faces.page.serving import serve_unix
from ..faces.source import Changes, LocalSource
from ..intake.arrival import Arrival, Peer
from ..intake.following import Following
from ..intake.queue import IntakeQueue
from ..intake.seal import Seal, load_key
from ..intake.udp import UdpIntake
from ..schema.events import Contact, Receipt, stamp, to_ms
from ..schema.wire import Decoded
from ..store.dispatch import in_words
from ..store.folder import SOCKET
from ..store.store import Store
from ..watch.explaining import explain
from ..watch.journal import Act
from ..watch.keeper import Keeper
from ..watch.preflight import core_checks
from .importing import IMPORT, UNDO, change_log
from .mending import DROP, RETRY, mend
from .reloading import Reloads

#: what the operator may do from a face or by a command
ACTS = ("done", "log", "pause", "release", "session")


def wall_clock_ms() -> int:
    """The computer's time, ms since 1970-01-01 UTC."""
    return time.time_ns() // 1_000_000


#: sees every datagram with what became of it
Watcher = Callable[[Peer, bytes, Decoded], None]


def _key(config: Config) -> bytes | None:
    listen = config.listen
    if listen.seal_key_file is None and listen.seal_key_env is None:
        return None
    return load_key(listen.seal_key_file, listen.seal_key_env)


class Standing:
    """A watch that stands. ``source`` is what faces draw from; ``stopped`` is set by whoever wants it to end."""

    def __init__(
        self,
        config: Config,
        folder: Path,
        *,
        port: int | None = None,
        safe: bool = False,
        watcher: Watcher | None = None,
    ) -> None:
        """``port`` outweighs the configured one; ``safe`` starts no plugin; ``watcher`` sees every datagram."""
        self.config = config
        self.folder = folder
        self.stopped = asyncio.Event()
        self.reloads = Reloads()
        self._port = port
        self._watcher = watcher
        self._changes = Changes()
        self._queue = IntakeQueue(on_shed=lambda arrival: self.intake.counters.shed(arrival.event))
        self._key = _key(config)
        self.intake = self._open(config, self._key)
        self.store = Store.open(folder)
        self.keeper = Keeper(
            config,
            self.store,
            clock_ms=wall_clock_ms,
            answer=self._answer,
            changed=self._changes.mark,
            safe=safe,
        )
        self.following = Following(self._take_followed, self._is_logged, wall_clock_ms)
        self.source = LocalSource(
            self._snapshot,
            self.status,
            self._changes,
            act=self._act,
            covers=lambda: self._covers(),
            preflight=self._preflight,
            explain=lambda call: explain(self.keeper.watch, self.keeper.session.host, call),
        )

    def _open(self, config: Config, key: bytes | None) -> UdpIntake:
        """A socket where ``config`` wants it. Raises IntakeError."""
        return UdpIntake(
            asyncio.get_running_loop(),
            *self._place(config),
            self._queue.put_many,
            wall_clock_ms,
            seal=None if key is None else Seal(key),
            watcher=self._watcher,
        )

    def _place(self, config: Config) -> tuple[str, int]:
        return config.listen.address, config.listen.port if self._port is None else self._port

    def _take_followed(self, arrivals: list[Arrival]) -> None:
        self.intake.counters.accept(arrival.event for arrival in arrivals)
        self._queue.put_many(arrivals)

    def _is_logged(self, event: Contact) -> bool:
        return self.store.is_announced(event.source, event.id, event.call.upper(), to_ms(event.started_at))

    def _answer(self, peer: Any, receipt: Receipt) -> None:
        self.intake.send_receipt(peer, receipt)

    @property
    def listening(self) -> str:
        """Where the intake stands, as ``address:port``."""
        return "{}:{}".format(*self.intake.address)

    def _snapshot(self) -> Any:
        return self.keeper.snapshot()

    def _covers(self) -> Mapping[str, Any]:
        return {name: msgspec.structs.asdict(cover) for name, cover in self.keeper.watch.covers.items()}

    def _preflight(self) -> Any:
        session = self.keeper.session
        checks = [*core_checks(self.status(), session.watch.worked.count), *session.host.preflight()]
        return sorted(checks, key=lambda check: check.rank)

    async def _act(self, act: Mapping[str, Any]) -> dict[str, Any] | None:
        if act.get("act") in (IMPORT, UNDO):
            return await change_log(self.keeper, act)
        if act.get("act") in (RETRY, DROP):
            return await mend(self.store, self.keeper.dispatcher, act, wall_clock_ms())
        try:
            asked = msgspec.convert(act, Act)
        except msgspec.ValidationError as error:
            raise ValueError(str(error)) from error
        if asked.act not in ACTS:
            raise ValueError(f"no such act: {asked.act!r}; there are {', '.join(ACTS)}")
        await self.keeper.act(asked)
        return None

    def status(self) -> dict[str, Any]:
        """What hangs on this computer and not on the journal: intake, outbox, plugins, notices."""
        forwarding = self.keeper.dispatcher.status()
        counters = self.intake.counters
        notices = [*self.store.notices, *self.keeper.session.host.notices]
        notices += [*self.following.notices, *filter(None, (self.intake.warning, self.reloads.notice))]
        return {
            "v": 1,
            "data_dir": str(self.folder),
            "session": self.keeper.session.number,
            "listening": self.listening,
            "reloads": {"done": self.reloads.done, "refused": self.reloads.refused, "why": self.reloads.why},
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
            "plugins": self._plugins(),
            "notices": notices,
        }

    def _plugins(self) -> list[dict[str, Any]]:
        figures = self.keeper.session.host.metrics()
        return [{**msgspec.to_builtins(one), "metrics": figures.get(one.name, {})} for one in self.keeper.plugins()]

    async def go_over(self, config: Config) -> None:
        """Go over to another configuration, between two periods.

        Raises IntakeError, SealKeyError, ReloadRefusedError or StoreError, and then nothing has changed.
        """
        key = _key(config)
        moved = self._open(config, key) if self._place(config) != self._place(self.config) else None
        try:
            await self.keeper.reload(config)
        except BaseException:
            if moved is not None:
                moved.stop()
            raise
        if moved is not None:
            old, self.intake = self.intake, moved
            moved.counters = old.counters
            moved.start()
            old.stop()
        elif key != self._key:
            self.intake.reseal(None if key is None else Seal(key))
        self.following.follow(config.follow.adif)
        self.config, self._key = config, key
        self._changes.mark()

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
        self.following.follow(self.config.follow.adif)

    async def stop(self) -> None:
        """Hear no more, work through what has arrived while the forwarding ends, write everything.

        An import that runs is broken off: contacts wait behind it, and a service manager does not wait that long.
        """
        self.store.break_off_imports()
        self.intake.stop()
        await self.following.stop()
        self._queue.close()
        await asyncio.gather(self._pump, self.keeper.stop_forwarding())
        await self.keeper.stop()


def keep_what_stands() -> None:
    """Take all that is in memory now out of the collector's rounds: code and country data stay to the end.

    A full round over them takes longer than a plugin may, and would come in the midst of one's call.
    """
    gc.collect()
    gc.freeze()


@asynccontextmanager
async def stand(
    config: Config,
    folder: Path,
    *,
    port: int | None = None,
    safe: bool = False,
    watcher: Watcher | None = None,
) -> AsyncIterator[Standing]:
    """A standing watch on ``folder``; on leaving, what has arrived is worked through and everything written.

    Raises IntakeError and StoreError with a text for the operator.
    """
    standing = Standing(config, folder, port=port, safe=safe, watcher=watcher)
    try:
        await standing.start()
        async with serve_unix(make_app(standing.source), folder / SOCKET):
            try:
                yield standing
            finally:
                await standing.stop()
    finally:
        standing.store.close()
