"""How soon it is there, what it holds after a day, and what it costs while nothing happens.

"First accepted datagram" runs from the start of the process until a receipt for an event comes back. A simulated day is
5,760 periods of the contest band, as fast as the watch takes them. Idle is measured on the same watch afterwards.
"""

from __future__ import annotations

import json
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

from watchkeeper.schema.events import stamp

from . import band
from .contacts import seed_log
from .daemon import Daemon, free_port, serving, start
from .figures import Figure, at_most, percentile
from .flood import Course

_HELP_MS = 150.0
_IDLE_PERCENT = 1.0
_RATE = 5_000.0
_PERIODS_A_DAY = 5_760
_TRY_S = 0.01


def measure(place: Path, *, quick: bool) -> list[Figure]:
    """The figures, in one run."""
    times = 5 if quick else 15
    bare = _runs([sys.executable, "-c", "pass"], times)
    shown = _runs([sys.executable, "-m", "watchkeeper", "--help"], times)
    figures = [
        Figure("python -c pass, median", bare, "ms"),
        at_most("watchkeeper --help, median", shown, "ms", _HELP_MS),
    ]
    for size in (0, 20_000) if quick else (0, 1_000_000):
        folder = place / f"start-{size}"
        seed_log(folder, size)
        ready_s = [_first_accepted(folder) for _ in range(3)]
        figures.append(Figure(f"daemon to first accepted datagram, {size:,} contacts", min(ready_s), "s"))
    return figures + _day(place / "day", _PERIODS_A_DAY // (24 if quick else 1), 10 if quick else 60)


def _runs(command: list[str], times: int) -> float:
    """The median of what the command takes, ms."""
    taken = []
    for _ in range(times):
        begun = time.perf_counter()
        subprocess.run(command, check=True, capture_output=True)
        taken.append((time.perf_counter() - begun) * 1000)
    return percentile(taken, 0.5)


def _first_accepted(folder: Path) -> float:
    """Seconds from the start of the process to the first receipt."""
    folder.mkdir(exist_ok=True)
    port = free_port()
    begun = time.perf_counter()
    process = start(folder, port)
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
            sock.connect(("127.0.0.1", port))
            sock.settimeout(_TRY_S)
            while not _receipt(sock):
                assert process.poll() is None, (folder / "serve.log").read_text(encoding="utf-8")
        return time.perf_counter() - begun
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(60)


def _receipt(sock: socket.socket) -> bool:
    """Whether an event that asks for a receipt gets one at once; nobody there, or not yet, is no error."""
    at = stamp(time.time_ns() // 1_000_000)
    asking = {"v": 1, "kind": "farewell", "source": "first", "at": at, "id": "first", "ack": True}
    try:
        sock.send(json.dumps(asking).encode())
        return b"receipt" in sock.recv(4096)
    except TimeoutError:
        return False
    except ConnectionRefusedError:
        time.sleep(_TRY_S)
        return False


def _day(folder: Path, periods: int, idle_s: int) -> list[Figure]:
    """Memory before and after ``periods``, then processor time and wake-ups while nothing comes."""
    seed_log(folder, 1_000)
    with serving(folder) as daemon:
        course = Course()
        course.send(daemon.port, _RATE, 20 * (band.HEARD + 1))
        fresh_mb = daemon.resident_mb()
        for _ in range(periods // 240):
            course.send(daemon.port, _RATE, 240 * (band.HEARD + 1))
            assert daemon.covered(band.SOURCE, band.RUN, course.last_seq, 60), "the watch fell behind"
        later_mb = daemon.resident_mb()
        time.sleep(5)  # until the last period's grace is over
        cpu_percent, wake_ups = _idle(daemon, idle_s)
    hours = periods * band.PERIOD_MS // 3_600_000
    return [
        Figure("memory after 5 simulated minutes", fresh_mb, "MB"),
        Figure(f"memory after {hours} simulated hours", later_mb, "MB"),
        at_most("idle, of one core", cpu_percent, "%", _IDLE_PERCENT),
        Figure("idle, wake-ups of all threads", wake_ups, "a second"),
    ]


def _idle(daemon: Daemon, seconds: int) -> tuple[float, float]:
    """Percent of a core, and wake-ups a second."""
    cpu_s, wake_ups = daemon.cpu_s(), daemon.wake_ups()
    time.sleep(seconds)
    return (daemon.cpu_s() - cpu_s) / seconds * 100, (daemon.wake_ups() - wake_ups) / seconds
