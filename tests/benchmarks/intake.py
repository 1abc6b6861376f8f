"""How fast the ways in are, on this machine: ``python tests/benchmarks/intake.py``.

Prints what decoding costs, and what a datagram costs on its way from the kernel's buffer to the watch's queue.
"""

from __future__ import annotations

import asyncio
import platform
import socket
import time
import timeit

from watchkeeper.intake.arrival import Arrival
from watchkeeper.intake.udp import UdpIntake
from watchkeeper.schema.wire import decode

ROUNDS = 20
#: fewer than what the smallest usual receive buffer holds
EACH = 150
HEARD = (
    b'{"v":1,"kind":"heard","source":"bench","at":"2026-05-01T12:00:15.000Z","run":"r1","seq":%d,"mode":"FT8",'
    b'"dial_hz":14074000,"offset_hz":1520.5,"snr_db":-12,"text":"CQ DL5QRM JO62","late_s":0.2,"pass":1}'
)


def preloaded(rounds: int, each: int) -> tuple[float, int]:
    """Microseconds a datagram that waits in the kernel's buffer costs, and how many were taken."""
    taken = 0
    seconds = 0.0

    def deliver(arrivals: list[Arrival]) -> None:
        nonlocal taken
        taken += len(arrivals)

    loop = asyncio.new_event_loop()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        for _ in range(rounds):
            intake = UdpIntake(loop, "127.0.0.1", 0, deliver, lambda: time.time_ns() // 1_000_000)
            intake.start()
            for number in range(each):
                sender.sendto(HEARD % number, intake.address)
            start = time.perf_counter()
            intake.stop()  # takes all that waits
            seconds += time.perf_counter() - start
    loop.close()
    return seconds / taken * 1e6, taken


def main() -> None:
    """Measure and print."""
    print(f"{platform.python_implementation()} {platform.python_version()}, {platform.machine()}")
    single = HEARD % 1
    seconds = timeit.timeit(lambda: decode(single), number=200_000)
    print(f"decode, one event: {seconds / 0.2:.2f} us")
    batch = b"[" + b",".join(HEARD % number for number in range(30)) + b"]"
    seconds = timeit.timeit(lambda: decode(batch), number=2_000)
    print(f"decode, 30 events in an array: {seconds / 2_000 / 30 * 1e6:.2f} us an event")
    cost, taken = preloaded(ROUNDS, EACH)
    print(f"off a socket, decoded, counted, delivered: {cost:.2f} us a datagram ({taken} of {ROUNDS * EACH} taken)")


if __name__ == "__main__":
    main()
