"""What the daemon tells its service manager (sd_notify(3)), and a watchdog that tells a hanging writer."""

from __future__ import annotations

import asyncio
import os
import re
import shutil
import socket
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from watchkeeper.cli.service import mind
from watchkeeper.cli.service_manager import ServiceManager
from watchkeeper.cli.standing import stand
from watchkeeper.config import Config, PluginSettings

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


async def test_signs_of_life_stop_while_the_writer_hangs(tmp_path: Path, manager: tuple[Manager, str]) -> None:
    other, path = manager
    hanging = threading.Event()
    async with stand(CONFIG, tmp_path / "data", port=0) as standing:
        minding = asyncio.create_task(mind(ServiceManager(path, 0.06), standing))

        async def told_within(seconds: float) -> list[str]:
            found: list[str] = []
            async with asyncio.timeout(seconds):
                while "WATCHDOG=1" not in found:
                    await asyncio.sleep(0.005)
                    found += other.told()
            return found

        first = await told_within(5)
        assert first[0].startswith("STATUS=127.0.0.1:")
        assert "0 contacts this session, 0 to forward" in first[0]
        stuck = asyncio.ensure_future(standing.store.change(lambda _db: hanging.wait()))
        await asyncio.sleep(0.1)
        other.told()
        with pytest.raises(TimeoutError):
            await told_within(0.5)
        hanging.set()
        await stuck
        await told_within(5)
        minding.cancel()


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
