"""Sends prepared traffic at a steady rate, and the bare counter that the watch is measured against.

``python -m tests.benchmarks.flood send …`` and ``… count`` are the two processes; :class:`Course` and :class:`Bare`
run them. Both sides of a comparison get the same datagrams from the same sender.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import socket
import subprocess
import sys
import time
from types import TracebackType
from typing import NamedTuple

from . import band

#: datagrams that leave together: a sender that keeps each to its microsecond would need a core for its clock alone
SLICE_S = 0.001
BUFFER_BYTES = 4 * 1024 * 1024
_DAY_MS = 86_400_000


class Sent(NamedTuple):
    """What a sender sent, and how long it took."""

    events: int
    datagrams: int
    seconds: float


def send(port: int, rate: float, count: int, each: int, start_ms: int, first_seq: int) -> Sent:
    """Send ``count`` events, ``each`` to a datagram, ``rate`` events a second."""
    datagrams = band.datagrams(band.events(count, start_ms, first_seq), each)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.connect(("127.0.0.1", port))
        per_s = rate / each
        begun = time.perf_counter()
        sent = 0
        while sent < len(datagrams):
            due = min(len(datagrams), int((time.perf_counter() - begun) * per_s) + 1)
            for datagram in datagrams[sent:due]:
                sock.send(datagram)
            sent = due
            time.sleep(SLICE_S)
        seconds = time.perf_counter() - begun
    return Sent(count, len(datagrams), seconds)


class Course:
    """The traffic of one session: each part goes on, in time and number, where the one before ended."""

    def __init__(self) -> None:
        self._start_ms = (time.time_ns() // 1_000_000 - 90 * _DAY_MS) // 30_000 * 30_000
        self._seq = 1

    @property
    def last_seq(self) -> int:
        """The number of the last event that was sent."""
        return self._seq - 1

    def events(self, count: int) -> list[bytes]:
        """The next events, to be sent by the caller."""
        made = band.events(count, self._start_ms, self._seq)
        self._passed(count)
        return made

    def send(self, port: int, rate: float, count: int, each: int = 1) -> Sent:
        """Have a process of its own send the next ``count`` events."""
        given = [str(one) for one in (port, rate, count, each, self._start_ms, self._seq)]
        command = [sys.executable, "-m", "tests.benchmarks.flood", "send", *given]
        told = json.loads(subprocess.run(command, check=True, capture_output=True).stdout)
        self._passed(count)
        return Sent(*told)

    def _passed(self, count: int) -> None:
        periods = -(-count // (band.HEARD + 1))
        self._start_ms += (periods + periods % 2) * band.PERIOD_MS
        self._seq += count


class _Counter(asyncio.DatagramProtocol):
    """Does nothing but count."""

    def __init__(self) -> None:
        self.count = 0

    def datagram_received(self, data: bytes, addr: object) -> None:
        self.count += 1


async def _count() -> None:
    """Count datagrams; say the count for each line on the standard input, and end with it."""
    loop = asyncio.get_running_loop()
    transport, counter = await loop.create_datagram_endpoint(_Counter, local_addr=("127.0.0.1", 0))
    transport.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, BUFFER_BYTES)
    print(transport.get_extra_info("sockname")[1], flush=True)
    asked = asyncio.StreamReader()
    await loop.connect_read_pipe(lambda: asyncio.StreamReaderProtocol(asked), sys.stdin)
    while await asked.readline():
        print(counter.count, flush=True)
    transport.close()


class Bare:
    """The bare counter in a process of its own."""

    def __init__(self) -> None:
        command = [sys.executable, "-m", "tests.benchmarks.flood", "count"]
        self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        self.port = self._line()

    def count(self) -> int:
        """Datagrams that came so far."""
        assert self._process.stdin is not None
        self._process.stdin.write("\n")
        self._process.stdin.flush()
        return self._line()

    def _line(self) -> int:
        assert self._process.stdout is not None
        return int(self._process.stdout.readline())

    def __enter__(self) -> Bare:
        return self

    def __exit__(self, kind: type[BaseException] | None, value: BaseException | None, at: TracebackType | None) -> None:
        self._process.communicate()


def main() -> None:
    """One of the two processes."""
    options = argparse.ArgumentParser(description=__doc__)
    roles = options.add_subparsers(dest="role", required=True)
    roles.add_parser("count")
    sender = roles.add_parser("send")
    sender.add_argument("port", type=int)
    sender.add_argument("rate", type=float)
    for name in ("count", "each", "start_ms", "first_seq"):
        sender.add_argument(name, type=int)
    asked = options.parse_args()
    if asked.role == "count":
        asyncio.run(_count())
    else:
        print(json.dumps(send(asked.port, asked.rate, asked.count, asked.each, asked.start_ms, asked.first_seq)))


if __name__ == "__main__":
    main()
