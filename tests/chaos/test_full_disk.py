"""A disk that fills up under a real daemon: a small tmpfs. Mounting one takes the rights that .ci/run has."""

from __future__ import annotations

import subprocess
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from tests.benchmarks.daemon import serving
from tests.chaos.test_kill_loop import call_of, in_store

from watchkeeper.sender import Sender

pytestmark = pytest.mark.long

#: the write-ahead log alone may take 8 MB before it is moved into the database
SIZE_KB = 32_000
#: what is left when the disk is nearly full
LEFT_KB = 100
#: the sender's clock runs faster than ours, so that its repeats come soon
HASTE = 8.0
PATIENCE_S = 30.0


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """A folder on a disk of its own."""
    place = tmp_path / "disk"
    place.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={SIZE_KB}k", "tmpfs", str(place)], check=True)
    try:
        yield place
    finally:
        subprocess.run(["umount", str(place)], check=True)


def acknowledged(sender: Sender) -> set[str]:
    """The ids whose receipts came by now."""
    sender.pump()
    return {receipt["of"] for receipt in sender.receipts if receipt["status"] in ("stored", "repeated")}


def test_a_full_disk_is_told_and_nothing_acknowledged_is_lost(disk: Path) -> None:
    folder, ballast = disk / "data", disk / "ballast"
    with serving(folder) as daemon:
        sender = Sender("shack", ("127.0.0.1", daemon.port), run="one", elapsed=lambda: time.monotonic() * HASTE)
        free_kb = int(subprocess.run(["df", "--output=avail", "-k", disk], capture_output=True, check=True)
                      .stdout.split()[-1])  # fmt: skip
        ballast.write_bytes(bytes((free_kb - LEFT_KB) * 1024))
        now = time.time()
        for number in range(300):
            sender.send(
                "contact", id=f"c{number}", call=call_of(number), mode="FT8", dial_hz=14_074_000, comment="x" * 200,
                started_at=datetime.fromtimestamp(now - 60, UTC), ended_at=datetime.fromtimestamp(now, UTC),
            )  # fmt: skip
            time.sleep(0.002)

        def notices() -> list[str]:
            return [notice for notice in daemon.ask("/api/status")["notices"] if "no room left" in notice]

        end = time.monotonic() + PATIENCE_S
        while not notices() and time.monotonic() < end:
            time.sleep(0.05)
        assert notices()
        before = acknowledged(sender)
        assert sender.pending(), "the disk was not full"
        assert before <= in_store(folder).keys()
        ballast.unlink()
        end = time.monotonic() + PATIENCE_S
        while sender.pending() and time.monotonic() < end:
            sender.pump()
            time.sleep(0.01)
        assert acknowledged(sender) == {f"c{number}" for number in range(300)}
        assert not sender.close()
        while notices() and time.monotonic() < end:
            time.sleep(0.05)
        assert not notices()
    assert in_store(folder) == {f"c{number}": 1 for number in range(300)}
