"""A long day of the simulated band: its process grows no more once the first hours are over."""

from __future__ import annotations

import re
import socket
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import msgspec
import pytest

from watchkeeper.rehearsal import scenario
from watchkeeper.schema import events

HOUR_MS = 3_600_000
START_MS = events.to_ms(scenario.load("contest-hour").start)


def resident_mb(process: subprocess.Popen[bytes]) -> float:
    found = re.search(r"VmRSS:\s*(\d+)", Path(f"/proc/{process.pid}/status").read_text(encoding="ascii"))
    assert found is not None
    return int(found[1]) / 1024


def sizes_mb(process: subprocess.Popen[bytes], taker: socket.socket, marks_ms: list[int]) -> list[float]:
    """Take what the band sends, as a watch does, to its end; its memory whenever its time has come to a mark."""
    found: list[float] = []
    while True:
        body, peer = taker.recvfrom(65_536)
        event: events.AnyEvent = msgspec.json.decode(body, type=events.AnyEvent)
        if isinstance(event, events.Farewell):
            return found
        if event.ack:
            receipt = {"v": 1, "kind": "receipt", "source": event.source, "of": event.id, "status": "stored"}
            taker.sendto(msgspec.json.encode(receipt), peer)
        if isinstance(event, events.Period) and len(found) < len(marks_ms) and event.at_ms >= marks_ms[len(found)]:
            found.append(resident_mb(process))


@pytest.mark.long
def test_the_memory_of_a_full_band_stays_flat(tmp_path: Path) -> None:
    with closing(socket.socket(socket.AF_INET, socket.SOCK_DGRAM)) as taker:
        taker.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 22)
        taker.bind(("127.0.0.1", 0))
        taker.settimeout(60)
        command = [
            sys.executable, "-m", "watchkeeper.rehearsal", "--scenario", "contest-hour", "--seed", "3",
            "--periods", "1450", "--truth", str(tmp_path / "truth.json"), "--to", f"127.0.0.1:{taker.getsockname()[1]}",
        ]  # fmt: skip
        with subprocess.Popen(command, stdout=subprocess.DEVNULL) as process:
            early_mb, late_mb = sizes_mb(process, taker, [START_MS + 2 * HOUR_MS, START_MS + 6 * HOUR_MS])
        assert process.returncode == 0
    assert late_mb < 1.1 * early_mb
