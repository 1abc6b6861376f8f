"""Whether the logs can be reached is known before the first contact, and nothing is said to them for that."""

from __future__ import annotations

import asyncio
import errno
import os
import socket
from collections.abc import Callable
from pathlib import Path
from typing import Any, NoReturn

import pytest

from watchkeeper.api import Check, CheckState
from watchkeeper.testing import Bench
from watchkeeper_forward import Forward, reaching


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def bench(tmp_path: Path, **config: Any) -> Bench:
    return Bench(Forward, config={"forward": config}, data_dir=tmp_path)


def checks(on: Bench) -> dict[str, Check]:
    return {check.key.removeprefix("reach:"): check for check in on.host.preflight()}


async def until(condition: Callable[[], bool]) -> None:
    async with asyncio.timeout(20):
        while not condition():  # noqa: ASYNC110 what is waited for tells nobody
            await asyncio.sleep(0)


async def tried(on: Bench) -> dict[str, Check]:
    async with on.running():
        await until(lambda: all(check.state is not CheckState.WAITING for check in checks(on).values()))
        return checks(on)


async def test_what_listens_is_within_reach_and_gets_not_a_byte(tmp_path: Path) -> None:
    got: list[bytes] = []

    async def take(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        got.append(await reader.read())
        writer.close()

    server = await asyncio.start_server(take, "127.0.0.1", 0)
    port = server.sockets[0].getsockname()[1]
    on = bench(
        tmp_path,
        http=[{"name": "home", "url": f"http://127.0.0.1:{port}/log"}],
        tcp=[{"name": "hut", "host": "127.0.0.1", "port": port}],
        udp=[{"name": "club", "host": "127.0.0.1", "port": port}],
    )
    async with server:
        found = await tried(on)
        await until(lambda: len(got) == 2)
    assert {name: check.state for name, check in found.items()} == {"ADIF file": CheckState.GOOD}, "no more to say"
    assert on.reachable == ["home", "hut", "club"], "what waits for them is tried at once"
    assert got == [b"", b""]


async def test_what_does_not_listen_is_told_with_the_reason(tmp_path: Path) -> None:
    port = free_port()
    on = bench(tmp_path, file=False, tcp=[{"name": "hut", "host": "127.0.0.1", "port": port}])
    assert checks(on)["hut"].state is CheckState.WAITING
    found = await tried(on)
    assert found["hut"].state is CheckState.POOR
    assert found["hut"].evidence == f"127.0.0.1 port {port}: {os.strerror(errno.ECONNREFUSED)}"
    assert found["hut"].remedy is not None
    assert on.reachable == []


async def test_a_host_that_has_no_address_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    async def knows_nobody(*_: object, **__: object) -> NoReturn:
        raise socket.gaierror(socket.EAI_NONAME, "nobody knows that name")

    monkeypatch.setattr(asyncio.get_running_loop(), "getaddrinfo", knows_nobody)
    on = bench(tmp_path, file=False, udp=[{"name": "club", "host": "nowhere.invalid", "port": 4000}])
    found = (await tried(on))["club"]
    assert (found.state, found.evidence) == (CheckState.POOR, "nowhere.invalid: nobody knows that name")


async def test_what_comes_within_reach_later_is_said_and_leaves_the_preflight(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reaching, "_AGAIN_S", 0.01)
    port = free_port()
    on = bench(tmp_path, file=False, tcp=[{"name": "hut", "host": "127.0.0.1", "port": port}])
    async with on.running():
        await until(lambda: checks(on)["hut"].state is CheckState.POOR)
        async with await asyncio.start_server(lambda _, writer: writer.close(), "127.0.0.1", port):
            await until(lambda: not checks(on))
    assert on.reachable == ["hut"]


@pytest.mark.parametrize("blocked", [False, True])
def test_the_folder_of_the_adif_file_has_to_take_files(tmp_path: Path, blocked: bool) -> None:
    folder = tmp_path / "there" / "log"
    if blocked:
        folder.parent.write_bytes(b"a file, no folder")
    found = checks(bench(tmp_path, folder=str(folder)))["ADIF file"]
    assert found.state is (CheckState.POOR if blocked else CheckState.GOOD)
