"""What the daemon tells its service manager (sd_notify(3)), and a watchdog that tells a hanging writer."""

from __future__ import annotations

import asyncio
import os
import re
import shutil
import socket
import sqlite3
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from watchkeeper.cli.service import mind
from watchkeeper.cli.service_manager import ServiceManager
from watchkeeper.cli.standing import stand
from watchkeeper.config import Config, PluginSettings
from watchkeeper.store.errors import BrokenOffError
from watchkeeper.store.store import Store

UNIT = Path(__file__).parents[3] / "configs" / "watchkeeper.service"
CONFIG = Config(plugins=PluginSettings(allow=()))


class Manager:
    """The other end: a datagram socket that keeps what it is told."""

    def __init__(self, address: str) -> None:
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.socket.bind(address)
        self.socket.setblocking(False)

    def told(self) -> list[str]:
        messages = []
        while True:
            try:
                messages.append(self.socket.recv(4096).decode())
            except BlockingIOError:
                return messages


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[tuple[Manager, str]]:
    path = str(tmp_path / "notify")
    made = Manager(path)
    yield made, path
    made.socket.close()


def test_it_tells_a_socket_by_path(manager: tuple[Manager, str]) -> None:
    other, path = manager
    service = ServiceManager.of({"NOTIFY_SOCKET": path})
    service.ready()
    service.status("3 contacts\nREADY=0")
    before_us = time.clock_gettime_ns(time.CLOCK_MONOTONIC) // 1000
    service.reloading()
    service.stopping()
    service.alive()
    ready, status, reloading, stopping, alive = other.told()
    assert (ready, stopping, alive) == ("READY=1", "STOPPING=1", "WATCHDOG=1")
    assert status == "STATUS=3 contacts READY=0", "one line, whatever the words hold"
    first, _, stamp = reloading.partition("\nMONOTONIC_USEC=")
    assert first == "RELOADING=1"
    assert 0 <= int(stamp) - before_us < 10_000_000


def test_it_tells_a_socket_in_the_abstract_name_space() -> None:
    name = f"watchkeeper-test-{os.getpid()}"
    other = Manager(f"\0{name}")
    ServiceManager.of({"NOTIFY_SOCKET": f"@{name}"}).ready()
    assert other.told() == ["READY=1"]
    other.socket.close()


def test_nobody_to_tell_is_no_trouble(tmp_path: Path) -> None:
    ServiceManager.of({}).ready()
    ServiceManager(str(tmp_path / "gone")).ready()


@pytest.mark.parametrize(
    ("environ", "seconds"),
    [
        ({"WATCHDOG_USEC": "30000000"}, 30.0),
        ({"WATCHDOG_USEC": "30000000", "WATCHDOG_PID": str(os.getpid())}, 30.0),
        ({"WATCHDOG_USEC": "30000000", "WATCHDOG_PID": "1"}, None),
        ({"WATCHDOG_USEC": "soon"}, None),
        ({}, None),
    ],
)
def test_the_watchdog_is_for_this_process_alone(environ: dict[str, str], seconds: float | None) -> None:
    assert ServiceManager.of(environ).watchdog_s == seconds


async def told_within(manager: Manager, seconds: float) -> list[str]:
    """What the manager is told up to a sign of life. Raises TimeoutError where none comes."""
    found: list[str] = []
    async with asyncio.timeout(seconds):
        while "WATCHDOG=1" not in found:
            await asyncio.sleep(0.005)
            found += manager.told()
        return found


async def test_signs_of_life_stop_while_the_writer_hangs(tmp_path: Path, manager: tuple[Manager, str]) -> None:
    other, path = manager
    hanging = threading.Event()
    async with stand(CONFIG, tmp_path / "data", port=0) as standing:
        minding = asyncio.create_task(mind(ServiceManager(path, 0.06), standing))
        first = await told_within(other, 5)
        assert first[0].startswith("STATUS=127.0.0.1:")
        assert "0 contacts this session, 0 to forward" in first[0]
        stuck = asyncio.ensure_future(standing.store.change(lambda _db: hanging.wait()))
        await asyncio.sleep(0.1)
        other.told()
        with pytest.raises(TimeoutError):
            await told_within(other, 0.5)
        hanging.set()
        await stuck
        await told_within(other, 5)
        minding.cancel()


class Import:
    """An import that waits at each of its steps until it may go on."""

    def __init__(self, folder: Path, store: Store) -> None:
        file = folder / "old.adi"
        file.write_bytes(b"<CALL:5>W1QSB <QSO_DATE:8>20260501 <TIME_ON:4>2115 <BAND:3>20m <MODE:3>FT8 <EOR>")
        self._begun = threading.Event()
        self._free = threading.Semaphore(0)
        self.done = asyncio.ensure_future(asyncio.to_thread(store.import_adif, file, "old", self._step, shared=True))

    def _step(self, _done: float) -> None:
        self._begun.set()
        self._free.acquire()

    async def begun(self) -> None:
        assert await asyncio.to_thread(self._begun.wait, 20)

    def go_on(self, steps: int = 1) -> None:
        self._free.release(steps)


async def test_each_step_of_an_import_is_a_sign_of_life(tmp_path: Path, manager: tuple[Manager, str]) -> None:
    other, path = manager
    async with stand(CONFIG, tmp_path / "data", port=0) as standing:
        importing = Import(tmp_path, standing.store)
        await importing.begun()
        minding = asyncio.create_task(mind(ServiceManager(path, 0.06), standing))
        with pytest.raises(TimeoutError):
            await told_within(other, 0.5)
        importing.go_on()
        await told_within(other, 5)
        assert not importing.done.done()
        with pytest.raises(TimeoutError):
            await told_within(other, 0.5)
        importing.go_on(9)
        assert (await importing.done).summary.new == 1
        await told_within(other, 5)
        minding.cancel()


async def test_a_log_that_another_program_keeps_locked_ends_no_daemon(
    tmp_path: Path, manager: tuple[Manager, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    other, path = manager
    async with stand(CONFIG, tmp_path / "data", port=0) as standing:
        monkeypatch.setattr("watchkeeper.store.database.connect_reader", locked)
        minding = asyncio.create_task(mind(ServiceManager(path, 0.06), standing))
        assert any("another program keeps the log" in line for line in await told_within(other, 5))
        monkeypatch.undo()
        minding.cancel()


def locked(_path: Path) -> Any:
    fault = sqlite3.OperationalError("database is locked")
    fault.sqlite_errorcode = sqlite3.SQLITE_BUSY
    raise fault


async def test_a_stop_breaks_an_import_off(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    async with stand(CONFIG, tmp_path / "data", port=0) as standing:
        importing = Import(tmp_path, standing.store)
        await importing.begun()
        break_off = standing.store.break_off_imports

        def break_off_and_go_on() -> None:
            break_off()
            importing.go_on(9)

        monkeypatch.setattr(standing.store, "break_off_imports", break_off_and_go_on)
    with pytest.raises(BrokenOffError):
        await importing.done


@pytest.mark.long
def test_the_unit_is_well_hardened() -> None:
    analyze = shutil.which("systemd-analyze")
    assert analyze is not None, "Debian's package systemd has it"
    ran = subprocess.run([analyze, "security", "--offline=yes", str(UNIT)], capture_output=True, text=True, check=True)
    found = re.search(r"exposure level for watchkeeper\.service: ([\d.]+)", ran.stdout)
    assert found is not None
    assert float(found[1]) <= 2.0
    assert f"an exposure level of {found[1]}" in UNIT.read_text(), "its comment says the same"


def test_the_unit_uses_what_the_daemon_offers() -> None:
    unit = UNIT.read_text().splitlines()
    assert {"Type=notify", "ExecReload=kill -HUP $MAINPID", "RestartPreventExitStatus=2 3 4"} <= set(unit)
