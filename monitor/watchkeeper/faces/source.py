"""Where a face gets what it draws: a watch in the same process, or a daemon on the other end of its Unix socket.

Both kinds speak plain JSON values (dicts, lists, strings, numbers), so a face cannot tell them apart.
"""

from __future__ import annotations

import asyncio
import contextlib
import http.client
import json
import os
import socket
from collections.abc import AsyncIterator, Callable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import msgspec

if TYPE_CHECKING:
    import aiohttp

Plain = dict[str, Any]

#: how long a lost daemon is left alone between two tries
RETRY_S = 1.0
#: an event stream that says nothing for this long is taken for dead; the daemon sends a sign of life more often
SILENCE_S = 45.0
_LARGEST_ANSWER = 64 * 1024 * 1024
#: a socket's address holds 108 bytes on Linux, the closing zero included, fewer elsewhere
_LONGEST_ADDRESS = 100


class NoDaemonError(Exception):
    """Nobody answers on the socket; the message says which socket and what to do."""


class ActRefusedError(Exception):
    """The watch did not take an act; the message says why."""


class Source(Protocol):
    """What every face is given."""

    @property
    def read_only(self) -> bool:
        """Whether acts are out of the question."""
        ...

    async def snapshot(self) -> Plain:
        """The newest snapshot of the watch."""
        ...

    async def status(self) -> Plain:
        """The newest status: intake, outbox, plugins, notices."""
        ...

    async def preflight(self) -> Plain:
        """``{"checks": […]}``: the checks before the first call. Raises ActRefusedError where nobody can say."""
        ...

    def changes(self) -> AsyncIterator[None]:
        """One item now, and one after each change since the last; changes in between are drawn together."""
        ...

    async def act(self, act: Mapping[str, Any]) -> Plain:
        """Hand an operator's act to the watch. Raises ActRefusedError with the reason when it is not taken."""
        ...

    async def explain(self, call: str) -> Plain:
        """Why the station ``call`` did hail, and why not. Raises ActRefusedError where nobody can say."""
        ...

    async def covered(self, source: str, run: str, seq: int, timeout_s: float) -> bool:
        """Wait until the watch has judged event ``seq`` of that run of ``source``; False when the time is over."""
        ...


class Changes:
    """Tells any number of waiting faces that something changed. Marks that nobody waited for are not lost."""

    def __init__(self) -> None:
        self._version = 0
        self._event = asyncio.Event()

    @property
    def version(self) -> int:
        """The number of marks so far."""
        return self._version

    def mark(self) -> None:
        """Say that something changed. To be called on the event loop."""
        self._version += 1
        event, self._event = self._event, asyncio.Event()
        event.set()

    async def after(self, version: int) -> int:
        """The version, as soon as it is above ``version``."""
        while self._version <= version:
            await self._event.wait()
        return self._version


class LocalSource:
    """A watch in this process, seen through callables. Values may be structs; they leave here as plain JSON values."""

    read_only = False

    def __init__(
        self,
        snapshot: Callable[[], object],
        status: Callable[[], object],
        changed: Changes,
        *,
        act: Callable[[Mapping[str, Any]], Any] | None = None,
        covers: Callable[[], Mapping[str, object]] | None = None,
        preflight: Callable[[], object] | None = None,
        explain: Callable[[str], object] | None = None,
    ) -> None:
        """``act`` may be a coroutine function and raises ValueError for an act that it does not take; ``covers`` gives
        the same as the snapshot's key of that name, for less work."""
        self._snapshot = snapshot
        self._status = status
        self._changed = changed
        self._act = act
        self._covers = covers
        self._preflight = preflight
        self._explain = explain
        self._last: tuple[object, Plain] | None = None

    async def snapshot(self) -> Plain:
        made = self._snapshot()
        if self._last is None or self._last[0] is not made:
            self._last = (made, msgspec.to_builtins(made))
        return self._last[1]

    async def status(self) -> Plain:
        plain: Plain = msgspec.to_builtins(self._status())
        return plain

    async def preflight(self) -> Plain:
        if self._preflight is None:
            raise ActRefusedError("this watch has no preflight")
        return {"checks": msgspec.to_builtins(self._preflight())}

    async def changes(self) -> AsyncIterator[None]:
        version = self._changed.version
        while True:
            yield
            version = await self._changed.after(version)

    async def act(self, act: Mapping[str, Any]) -> Plain:
        if self._act is None:
            raise ActRefusedError("this watch takes no acts")
        try:
            answer = self._act(act)
            if asyncio.iscoroutine(answer):
                answer = await answer
        except ValueError as error:
            raise ActRefusedError(str(error)) from error
        plain = msgspec.to_builtins(answer)
        return plain if isinstance(plain, dict) else {"done": True}

    async def explain(self, call: str) -> Plain:
        if self._explain is None:
            raise ActRefusedError("this watch explains nothing")
        plain: Plain = msgspec.to_builtins(self._explain(call))
        return plain

    async def covered(self, source: str, run: str, seq: int, timeout_s: float) -> bool:
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(timeout_s):
                version = self._changed.version
                while not await self._is_covered(source, run, seq):
                    version = await self._changed.after(version)
                return True
        return False

    async def _is_covered(self, source: str, run: str, seq: int) -> bool:
        covers = self._covers() if self._covers is not None else (await self.snapshot()).get("covers", {})
        found = msgspec.to_builtins(covers.get(source))
        return found is not None and found["run"] == run and found["seq"] >= seq


class RemoteSource:
    """A daemon on the other end of its Unix socket. Use it as an asynchronous context manager."""

    def __init__(self, path: Path, *, read_only: bool = True) -> None:
        self.path = path
        self.read_only = read_only
        self._session: aiohttp.ClientSession | None = None
        self._address = unix_address(path)

    async def __aenter__(self) -> RemoteSource:
        import aiohttp

        try:
            connector = aiohttp.UnixConnector(path=self._address.__enter__())
        except OSError as error:
            raise NoDaemonError(nobody(self.path)) from error
        self._session = aiohttp.ClientSession(
            "http://watch", connector=connector, timeout=aiohttp.ClientTimeout(total=None, sock_connect=5, sock_read=30)
        )
        return self

    async def __aexit__(self, *_: object) -> None:
        if self._session is not None:
            await self._session.close()
            self._address.__exit__(None, None, None)

    async def snapshot(self) -> Plain:
        return await self._ask("GET", "/api/snapshot")

    async def status(self) -> Plain:
        return await self._ask("GET", "/api/status")

    async def preflight(self) -> Plain:
        return await self._ask("GET", "/api/preflight")

    async def act(self, act: Mapping[str, Any]) -> Plain:
        if self.read_only:
            raise ActRefusedError("this view is read-only")
        return await self._ask("POST", "/api/act", dict(act))

    async def explain(self, call: str) -> Plain:
        return await self._ask("GET", "/api/explain", params={"call": call})

    async def covered(self, source: str, run: str, seq: int, timeout_s: float) -> bool:
        query = {"source": source, "run": run, "seq": str(seq), "wait": str(timeout_s)}
        found = (await self._ask("GET", "/api/snapshot", params=query)).get("covers", {}).get(source)
        return found is not None and found["run"] == run and found["seq"] >= seq

    async def changes(self) -> AsyncIterator[None]:
        """As every source's; also one item when the daemon went away and one when it is back."""
        import aiohttp

        timeout = aiohttp.ClientTimeout(total=None, sock_connect=5, sock_read=SILENCE_S)
        while True:
            with contextlib.suppress(aiohttp.ClientError, OSError, TimeoutError):
                async with self._open.get("/api/events", timeout=timeout) as answer:
                    answer.raise_for_status()
                    yield
                    async for line in answer.content:
                        if line.startswith(b"data:"):
                            yield
            yield
            await asyncio.sleep(RETRY_S)

    @property
    def _open(self) -> aiohttp.ClientSession:
        if self._session is None:
            raise RuntimeError("a RemoteSource is used inside `async with`")
        return self._session

    async def _ask(
        self, method: str, path: str, body: Plain | None = None, params: Mapping[str, str] | None = None
    ) -> Plain:
        import aiohttp

        try:
            async with self._open.request(method, path, json=body, params=params) as answer:
                text = await answer.read()
                status = answer.status
        except (aiohttp.ClientError, OSError, TimeoutError) as error:
            raise NoDaemonError(nobody(self.path)) from error
        return _told(status, text, self.path)


def ask(path: Path, target: str, *, timeout_s: float = 10.0) -> Plain:
    """One GET of ``target`` (such as ``/api/status``) from the daemon on the Unix socket ``path``, without a loop.

    Raises NoDaemonError when nobody answers, ActRefusedError when the daemon refuses.
    """
    return _one(path, "GET", target, None, timeout_s)


def tell(path: Path, act: Mapping[str, Any], *, timeout_s: float = 10.0) -> Plain:
    """Hand one act to the daemon on the Unix socket ``path``, without a loop; raises as :func:`ask` does."""
    return _one(path, "POST", "/api/act", act, timeout_s)


def _one(path: Path, method: str, target: str, body: Mapping[str, Any] | None, timeout_s: float) -> Plain:
    connection = _UnixConnection(path, timeout_s)
    try:
        if body is None:
            connection.request(method, target)
        else:
            connection.request(method, target, json.dumps(body), {"Content-Type": "application/json"})
        answer = connection.getresponse()
        text = answer.read(_LARGEST_ANSWER)
    except (OSError, http.client.HTTPException) as error:
        raise NoDaemonError(nobody(path)) from error
    finally:
        connection.close()
    return _told(answer.status, text, path)


@contextlib.contextmanager
def unix_address(path: Path) -> Iterator[str]:
    """What to bind or connect to for the socket ``path``, however deep it lies: a socket's address is short.

    Raises OSError when the folder cannot be opened.
    """
    if len(os.fsencode(path)) <= _LONGEST_ADDRESS:
        yield str(path)
        return
    folder = os.open(path.parent, os.O_PATH | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        yield f"/proc/self/fd/{folder}/{path.name}"
    finally:
        os.close(folder)


def nobody(path: Path) -> str:
    """The one sentence for a daemon that does not answer."""
    return f"no watch is running on {path}: start one with `watchkeeper watch` or name its folder with --data"


def _told(status: int, text: bytes, path: Path) -> Plain:
    try:
        answer = json.loads(text)
    except ValueError as error:
        raise NoDaemonError(f"what answers on {path} is no watch of ours (HTTP {status}, no JSON)") from error
    if status >= 400 or not isinstance(answer, dict):
        why = answer.get("error") if isinstance(answer, dict) else None
        raise ActRefusedError(str(why or f"the watch answered HTTP {status}"))
    return answer


class _UnixConnection(http.client.HTTPConnection):
    """The standard library's HTTP client over a Unix socket."""

    def __init__(self, path: Path, timeout_s: float) -> None:
        super().__init__("watch", timeout=timeout_s)
        self._path = path

    def connect(self) -> None:
        self.sock = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.sock.settimeout(self.timeout)
        with unix_address(self._path) as address:
            self.sock.connect(address)
