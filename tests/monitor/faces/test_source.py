"""Where faces get what they draw: in this process, and over the private socket of a daemon."""

from __future__ import annotations

import asyncio
import contextlib
import os
import stat
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from tests.monitor.faces import scenes

from watchkeeper.faces.page.app import make_app
from watchkeeper.faces.page.serving import SocketTakenError, serve_unix
from watchkeeper.faces.source import ActRefusedError, Changes, LocalSource, NoDaemonError, RemoteSource, ask


class Watch:
    """Stands for the watch: a snapshot that tests change, and the acts it was handed."""

    def __init__(self) -> None:
        self.shown: dict[str, Any] = scenes.snapshot()
        self.acts: list[Mapping[str, Any]] = []
        self.changed = Changes()
        self.source = LocalSource(lambda: self.shown, scenes.status, self.changed, act=self._act)

    def _act(self, act: Mapping[str, Any]) -> None:
        if act.get("act") != "done":
            raise ValueError("no such act")
        self.acts.append(act)

    def show(self, **changes: Any) -> None:
        self.shown = {**self.shown, **changes}
        self.changed.mark()


async def test_a_local_source_waits_for_what_it_is_asked_to_cover() -> None:
    watch = Watch()
    assert await watch.source.covered("decoder", "r1", 41, 0)
    assert not await watch.source.covered("decoder", "r1", 42, 0)
    waiting = asyncio.create_task(watch.source.covered("decoder", "r1", 42, 10))
    await asyncio.sleep(0)
    watch.show(covers={"decoder": {"run": "r1", "seq": 43}})
    assert await waiting


async def test_changes_in_between_are_told_together_and_none_is_lost() -> None:
    watch = Watch()
    changes = watch.source.changes()
    await anext(changes)
    watch.changed.mark()
    watch.changed.mark()
    await asyncio.wait_for(anext(changes), 1)
    one_more = asyncio.ensure_future(anext(changes))
    await asyncio.sleep(0)
    assert not one_more.done()
    watch.changed.mark()
    await asyncio.wait_for(one_more, 1)


async def test_the_socket_is_private_and_gives_the_same_snapshot(tmp_path: Path) -> None:
    watch, path = Watch(), tmp_path / "watch.sock"
    async with serve_unix(make_app(watch.source), path):
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        async with RemoteSource(path, read_only=False) as remote:
            assert await remote.snapshot() == await watch.source.snapshot()
            assert await remote.status() == scenes.status()
            await remote.act({"act": "done", "key": "k"})
            with pytest.raises(ActRefusedError, match="no such act"):
                await remote.act({"act": "explode"})
            assert await remote.covered("decoder", "r1", 41, 0)
            assert not await remote.covered("decoder", "r1", 99, 0)
        answer = await asyncio.to_thread(ask, path, "/api/status")
        assert answer == scenes.status()
    assert watch.acts == [{"act": "done", "key": "k"}]
    assert not path.exists()


async def test_a_remote_source_tells_of_changes(tmp_path: Path) -> None:
    watch, path = Watch(), tmp_path / "watch.sock"
    async with serve_unix(make_app(watch.source), path), RemoteSource(path) as remote:
        changes = remote.changes()
        async with asyncio.timeout(30):
            await anext(changes)  # connected
            await anext(changes)  # the stream's first event
            watch.show(contacts=13)
            while (await remote.snapshot())["contacts"] != 13:
                await anext(changes)
        await changes.aclose()  # type: ignore[attr-defined]


async def test_a_remote_source_comes_back_after_a_restart(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("watchkeeper.faces.source.RETRY_S", 0.01)
    watch, path = Watch(), tmp_path / "watch.sock"
    async with RemoteSource(path) as remote, asyncio.timeout(30):
        changes = remote.changes()
        async with serve_unix(make_app(watch.source), path):
            await anext(changes)
        lost = False
        while not lost:
            await anext(changes)
            try:
                await remote.snapshot()
            except NoDaemonError:
                lost = True
        watch.show(contacts=13)
        async with serve_unix(make_app(watch.source), path):
            found = 12
            while found != 13:
                await anext(changes)
                with contextlib.suppress(NoDaemonError):
                    found = (await remote.snapshot())["contacts"]
        await changes.aclose()  # type: ignore[attr-defined]


async def test_a_read_only_source_acts_on_nothing(tmp_path: Path) -> None:
    watch, path = Watch(), tmp_path / "watch.sock"
    async with serve_unix(make_app(watch.source), path), RemoteSource(path) as remote:
        with pytest.raises(ActRefusedError, match="read-only"):
            await remote.act({"act": "done", "key": "k"})
    assert watch.acts == []


async def test_nobody_there_is_one_clear_error(tmp_path: Path) -> None:
    path = tmp_path / "watch.sock"
    with pytest.raises(NoDaemonError, match="no watch is running"):
        ask(path, "/api/status")
    async with RemoteSource(path) as remote:
        with pytest.raises(NoDaemonError, match="no watch is running"):
            await remote.snapshot()


async def test_a_stale_socket_is_replaced_and_a_live_one_is_not(tmp_path: Path) -> None:
    watch, path = Watch(), tmp_path / "watch.sock"
    async with serve_unix(make_app(watch.source), path):
        with pytest.raises(SocketTakenError, match="another watch"):
            async with serve_unix(make_app(watch.source), path):
                raise AssertionError("two daemons on one socket")
        os.link(path, tmp_path / "left-behind")
    (tmp_path / "left-behind").rename(path)
    async with serve_unix(make_app(watch.source), path):
        assert (await asyncio.to_thread(ask, path, "/livez")) == {"alive": True}


async def test_what_is_no_socket_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "watch.sock"
    path.write_text("mine")
    with pytest.raises(SocketTakenError, match="no socket"):
        async with serve_unix(make_app(Watch().source), path):
            raise AssertionError("served over a file")
    assert path.read_text() == "mine"


async def test_a_folder_may_lie_deep(tmp_path: Path) -> None:
    folder = tmp_path / ("deep" * 30)
    folder.mkdir()
    path = folder / "watch.sock"  # longer than the 108 bytes of a socket's address (unix(7))
    async with serve_unix(make_app(Watch().source), path), RemoteSource(path) as remote:
        assert (await remote.snapshot())["contacts"] == 12
        assert (await asyncio.to_thread(ask, path, "/livez")) == {"alive": True}
