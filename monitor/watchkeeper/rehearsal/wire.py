"""The way from the decoder to the watch, on which datagrams are lost, doubled, reordered or spoilt if told so."""

from __future__ import annotations

import zlib
from collections import Counter
from collections.abc import Callable
from random import Random
from typing import Any

from watchkeeper.rehearsal import rng
from watchkeeper.rehearsal.faults import WireFaults

Address = tuple[str, int]
SendTo = Callable[[bytes, Address], Any]
_TOO_LARGE = 9000


class FaultyWire:
    """Stands between a sender and its socket. What happens to a datagram follows from what it holds."""

    def __init__(self, seed: int, faults: WireFaults) -> None:
        self.counts: Counter[str] = Counter()
        self.lossy = 0.0  # share lost by the source itself, switched by the timeline
        self._seed = seed
        self._faults = faults
        self._sendto: SendTo | None = None
        self._held: tuple[bytes, Address] | None = None
        self._seen: Counter[int] = Counter()

    def wrap(self, sendto: SendTo) -> SendTo:
        """Take the place of ``sendto``."""
        self._sendto = sendto
        return self.send

    def send(self, body: bytes, address: Address) -> None:
        """Send a datagram over the faulty way: counted as sent whatever becomes of it, as passed if it gets through."""
        self.counts["sent"] += 1
        if self._faults.any:
            self._send(body, address)
        else:
            self._send_or_lose(body, address)

    def flush(self) -> None:
        """Let go of a datagram that was held back to come late."""
        held, self._held = self._held, None
        if held is not None:
            self._put(*held)

    def _send_or_lose(self, body: bytes, address: Address) -> None:
        if self.lossy > 0 and self._fate(body).random() < self.lossy:
            self.counts["lost"] += 1
            return
        self._put(body, address)

    def _send(self, body: bytes, address: Address) -> None:
        fate, faults = self._fate(body), self._faults
        if fate.random() < max(faults.loss, self.lossy):
            self.counts["lost"] += 1
            return
        if fate.random() < faults.corrupt:
            self.counts["corrupted"] += 1
            body = _spoilt(body, fate)
        if fate.random() < faults.oversize:
            self.counts["oversized"] += 1
            self._put(b"[" + b" " * _TOO_LARGE + b"]", address)
        if fate.random() < faults.unknown:
            self.counts["unknown"] += 1
            self._put(b'{"v":1,"kind":"weather","source":"rehearsal","at":"2025-01-01T00:00:00.000Z"}', address)
        if self._held is None and fate.random() < faults.reorder:
            self.counts["reordered"] += 1
            self._held = body, address
            return
        self._put(body, address)
        if fate.random() < faults.double:
            self.counts["doubled"] += 1
            self._put(body, address)
        self.flush()

    def _put(self, body: bytes, address: Address) -> None:
        assert self._sendto is not None
        self._sendto(body, address)
        self.counts["passed"] += 1

    def _fate(self, body: bytes) -> Random:
        """Return the random stream of a datagram; a repeat gets another one, or it would be lost for ever."""
        digest = zlib.crc32(body)
        self._seen[digest] += 1
        times = self._seen[digest]
        if len(self._seen) > 4096:
            self._seen = Counter({digest: times})
        return rng.stream(self._seed, "wire", digest, times)


def _spoilt(body: bytes, fate: Random) -> bytes:
    """Return a body cut short, or whose first byte is one that UTF-8 never has.

    The system's own checksum catches other damage: what comes through it and looks whole is no fault of the wire.
    """
    return body[: fate.randrange(1, len(body))] if fate.random() < 0.5 else b"\xff" + body[1:]
