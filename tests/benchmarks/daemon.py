"""A watch as its operator runs it: ``watchkeeper serve`` in a process of its own, on a free port, in its own folder."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from watchkeeper.faces.source import NoDaemonError, ask

#: a machine that others share stalls now and then; that is no reason to rest a plugin while it is measured
CONFIG = """
[station]
call = "DL5QRM"
locator = "JO62qm"

[plugins]
budget_ms = 2000
burst_budget_ms = 5000
"""
_STARTS_WITHIN_S = 120.0
#: clock ticks of /proc/PID/stat in a second
_TICKS = os.sysconf("SC_CLK_TCK")


class Daemon:
    """A running ``watchkeeper serve``. ``port`` is where it takes events."""

    def __init__(self, process: subprocess.Popen[bytes], folder: Path, port: int) -> None:
        self.process = process
        self.folder = folder
        self.port = port

    def ask(self, target: str) -> dict[str, Any]:
        """One answer of its HTTP interface."""
        return ask(self.folder / "watch.sock", target, timeout_s=60)

    def covered(self, source: str, run: str, seq: int, wait_s: float) -> bool:
        """Whether the watch has worked through event ``seq`` within ``wait_s``."""
        snapshot = self.ask(f"/api/snapshot?source={source}&run={run}&seq={seq}&wait={wait_s}")
        cover = snapshot["covers"].get(source)
        return cover is not None and cover["run"] == run and int(cover["seq"]) >= seq

    def cpu_s(self) -> float:
        """Processor time used so far by all its threads, seconds."""
        fields = Path(f"/proc/{self.process.pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / _TICKS

    def wake_ups(self) -> int:
        """How often its threads went to sleep, and so were woken, so far."""
        return sum(
            int(_field(task / "status", "voluntary_ctxt_switches"))
            for task in Path(f"/proc/{self.process.pid}/task").iterdir()
        )

    def resident_mb(self) -> float:
        """Memory that it holds now, MB."""
        return int(_field(Path(f"/proc/{self.process.pid}/status"), "VmRSS")) / 1024


def _field(path: Path, name: str) -> str:
    found = re.search(rf"^{name}:\s*(\d+)", path.read_text(encoding="ascii"), re.MULTILINE)
    assert found is not None, f"{path} has no {name}"
    return found[1]


@contextlib.contextmanager
def serving(folder: Path, *arguments: str) -> Iterator[Daemon]:
    """A daemon on ``folder`` that is ready; it is told to stop at the end, and has to end in good order."""
    config = folder / "benchmark.toml"
    folder.mkdir(parents=True, exist_ok=True)
    config.write_text(CONFIG, encoding="utf-8")
    port = free_port()
    process = start(folder, port, "--config", str(config), *arguments)
    try:
        daemon = Daemon(process, folder, port)
        ready(daemon)
        yield daemon
    finally:
        process.send_signal(signal.SIGTERM)
        try:
            status = process.wait(60)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
            raise
    assert status == 0, f"the watch ended with {status}"


def start(folder: Path, port: int, *arguments: str) -> subprocess.Popen[bytes]:
    """Begin a daemon, and wait for nothing."""
    command = [sys.executable, "-m", "watchkeeper", "serve", "--data", str(folder), "--port", str(port), *arguments]
    log = (folder / "serve.log").open("wb")
    with log:
        return subprocess.Popen(command, stdout=log, stderr=log)


def free_port() -> int:
    """A UDP port that nobody holds now."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    return port


def ready(daemon: Daemon) -> None:
    """Wait until it stands."""
    end = time.monotonic() + _STARTS_WITHIN_S
    while time.monotonic() < end:
        if daemon.process.poll() is not None:
            break
        with contextlib.suppress(NoDaemonError):
            daemon.ask("/api/status")
            return
        time.sleep(0.05)
    raise RuntimeError("the watch does not stand:\n" + (daemon.folder / "serve.log").read_text(encoding="utf-8"))
