"""How long an operator waits: a full burst until the list and the hails are there, a contact until its receipt.

The burst is 200 hearings and their marker; the clock runs from the first datagram until the HTTP interface has answered
with a snapshot that covers them. A contact is measured from its datagram to the receipt that says ``stored``, and
between any two of them one bare write and fsync of 4 KiB on the same file system.
"""

from __future__ import annotations

import json
import os
import socket
import time
from pathlib import Path

from watchkeeper.schema.events import stamp

from . import band
from .contacts import seed_log
from .daemon import Daemon, serving
from .figures import Figure, at_most, percentile
from .flood import Course

#: two periods of the contest band
_BURST = 2 * (band.HEARD + 1)


def measure(place: Path, *, quick: bool) -> list[Figure]:
    """The figures, in one run."""
    folder = place / "latency"
    seed_log(folder, 1_000)
    with serving(folder) as daemon, socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.connect(("127.0.0.1", daemon.port))
        sock.settimeout(10)
        bursts = _bursts(daemon, sock, 30 if quick else 200)
        receipts, fsyncs = _receipts(sock, folder, 100 if quick else 1_000)
    figures = [
        Figure("burst of 200 hearings to list and hail, p50", percentile(bursts, 0.5), "ms"),
        Figure("burst of 200 hearings to list and hail, p99", percentile(bursts, 0.99), "ms"),
    ]
    for share in (0.5, 0.99):
        name = f"p{round(share * 100)}"
        figures.append(Figure(f"contact to receipt, {name}", percentile(receipts, share), "ms"))
        figures.append(Figure(f"one bare fsync, {name}", percentile(fsyncs, share), "ms"))
    ratio = percentile(receipts, 0.99) / percentile(fsyncs, 0.99)
    return [*figures, at_most("contact to receipt, p99 to p99", ratio, "fsyncs", 5.0)]


def _bursts(daemon: Daemon, sock: socket.socket, count: int) -> list[float]:
    """Milliseconds, burst by burst."""
    course = Course()
    taken = []
    for _ in range(count):
        burst = course.events(_BURST)
        begun = time.perf_counter()
        for event in burst:
            sock.send(event)
        assert daemon.covered(band.SOURCE, band.RUN, course.last_seq, 10), "a burst was lost"
        taken.append((time.perf_counter() - begun) * 1000)
    return taken


def _receipts(sock: socket.socket, folder: Path, count: int) -> tuple[list[float], list[float]]:
    """Milliseconds of contacts and of fsyncs, one of each in turn."""
    receipts, fsyncs = [], []
    with (folder / "bare").open("wb", buffering=0) as file:
        for number in range(count):
            contact = _contact(number)
            begun = time.perf_counter()
            sock.send(contact)
            receipt = json.loads(sock.recv(4096))
            receipts.append((time.perf_counter() - begun) * 1000)
            assert receipt["of"] == f"c{number}", receipt
            assert receipt["status"] == "stored", receipt
            begun = time.perf_counter()
            file.write(bytes(4096))
            os.fsync(file.fileno())
            fsyncs.append((time.perf_counter() - begun) * 1000)
    return receipts, fsyncs


def _contact(number: int) -> bytes:
    at_ms = time.time_ns() // 1_000_000 - 60_000
    call = f"W{number % 10}Q{'RSTU'[number // 10 % 4]}{band.LETTERS[number // 40 % 26]}"
    fields = {
        "v": 1, "kind": "contact", "source": "bench-log", "at": stamp(at_ms), "id": f"c{number}", "ack": True,
        "call": call, "started_at": stamp(at_ms - 60_000), "ended_at": stamp(at_ms), "dial_hz": band.DIAL_HZ,
        "mode": "FT8", "report_sent": "-10", "report_received": "-12", "locator": "FN42",
    }  # fmt: skip
    return json.dumps(fields).encode()
