"""Send events to a watch: one file, the standard library alone, Python 3.9 or later. Copy it into your program.

    sender = Sender("mydecoder")
    sender.send("heard", at=start, mode="FT8", dial_hz=14074000, offset_hz=1520, snr_db=-12, text="CQ DL5QRM JO62")
    sender.send("contact", id=key, call="JA1QRV", ...)   # repeated until its receipt comes
    ...
    sender.close(wait=3)

Nothing here starts a thread or blocks: ``send`` returns at once whether or not anybody listens. Whatever asked for a
receipt is repeated from within later ``send`` and ``pump`` calls, so call ``pump()`` now and then from your loop.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
import select
import socket
import time
from collections import deque
from contextlib import contextmanager
from datetime import datetime, timezone
from typing import Any, Callable, Iterator, Optional, Union  # noqa: UP035 this file also serves Python 3.9

Address = tuple[str, int]
SendTo = Callable[[bytes, Address], Any]
When = Union[str, float, datetime, None]  # noqa: UP007 evaluated at run time, where Python 3.9 knows no X | Y

DEFAULT_ADDRESS: Address = ("127.0.0.1", 41815)
MAX_DATAGRAM = 8192
#: off this machine, larger datagrams can vanish on the way without a word
MAX_NETWORK_DATAGRAM = 1200
MAX_BATCH = 64
#: seconds from one try to the next; the last one stays
REPEAT_AFTER_S = (0.5, 1.0, 2.0, 4.0, 8.0, 15.0, 30.0)


class Waiting:
    """One event that asked for a receipt and has none yet."""

    def __init__(self, body: bytes, due: float) -> None:
        self.body = body
        self.due = due
        self.tries = 1


class Sender:
    """Numbers events, sends them, and repeats those that asked for a receipt until it comes.

    ``run`` names this start of your program (random when not given); ``key`` seals every datagram; ``wrap`` is given
    the function that sends a datagram and returns the one to use instead.
    """

    def __init__(
        self,
        source: str,
        address: Address = DEFAULT_ADDRESS,
        run: Optional[str] = None,  # noqa: UP045
        key: Optional[bytes] = None,  # noqa: UP045
        *,
        receiver: Optional[str] = None,  # noqa: UP045
        wrap: Optional[Callable[[SendTo], SendTo]] = None,  # noqa: UP045
        clock: Callable[[], float] = time.time,
        elapsed: Callable[[], float] = time.monotonic,
    ) -> None:
        self.source = source
        self.run = run or secrets.token_hex(8)
        self.seq = 0  # the number of the last event
        self.sent = 0  # datagrams handed to the system, repeats included
        self.unsent = 0  # datagrams that the system would not take
        self.receipts: deque[dict[str, Any]] = deque(maxlen=1000)  # the newest; take from it what you have seen
        self._receiver = receiver
        self._key = key
        self._clock = clock
        self._elapsed = elapsed
        places = socket.getaddrinfo(*address, type=socket.SOCK_DGRAM)
        family, _, _, _, found = min(places, key=lambda place: place[0] != socket.AF_INET)
        self.address: Address = (str(found[0]), int(found[1]))
        self._limit = MAX_DATAGRAM if self.address[0].startswith(("127.", "::1")) else MAX_NETWORK_DATAGRAM
        self._socket = socket.socket(family, socket.SOCK_DGRAM)
        self._socket.setblocking(False)
        self._sendto: SendTo = wrap(self._socket.sendto) if wrap else self._socket.sendto
        self._waiting: dict[str, Waiting] = {}
        self._batch: Optional[list[bytes]] = None  # noqa: UP045

    def send(self, kind: str, *, at: When = None, **fields: Any) -> dict[str, Any]:
        """Send one event and return it as sent. Fields that are None are left out.

        ``at`` is RFC 3339 text, an aware datetime or seconds since 1970 UTC; now when not given. A ``contact`` asks for
        a receipt by itself; give it an ``id`` of your own if the same contact may be sent again after a restart.
        Raises ValueError for what JSON cannot carry and for an event that no datagram can hold.
        """
        event: dict[str, Any] = {"v": 1, "kind": kind, "source": self.source, "at": self._moment(at)}
        event.update(run=self.run, seq=self.seq + 1)
        if self._receiver is not None:
            event["receiver"] = self._receiver
        if kind == "contact":
            event["ack"] = True
        event.update((name, self._value(value)) for name, value in fields.items() if value is not None)
        if event.get("ack"):
            event.setdefault("id", f"{self.run}-{event['seq']}")
        body = json.dumps(event, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()
        if len(body) > MAX_DATAGRAM - 2:
            raise ValueError(f"the event has {len(body)} bytes; a datagram holds {MAX_DATAGRAM}")
        self.seq += 1
        if event.get("ack"):
            self._waiting[event["id"]] = Waiting(body, self._elapsed() + REPEAT_AFTER_S[0])
        if self._batch is not None:
            self._batch.append(body)
        else:
            self._put(body)
            self.pump()
        return event

    @contextmanager
    def batch(self) -> Iterator[None]:
        """Events sent inside travel together, as few datagrams as hold them."""
        if self._batch is not None:
            raise RuntimeError("a batch is open already")
        self._batch = []
        try:
            yield
        finally:
            bodies, self._batch = self._batch, None
            for packed in pack(bodies, self._limit):
                self._put(packed)
            self.pump()

    def pending(self) -> list[str]:
        """The ids of events whose receipt has not come."""
        return list(self._waiting)

    def forget(self, event_id: str) -> None:
        """Repeat that event no more, with or without a receipt: it has lost its worth."""
        self._waiting.pop(event_id, None)

    def pump(self, timeout: float = 0.0) -> list[dict[str, Any]]:
        """Read receipts and repeat what is due; wait up to ``timeout`` seconds, or until nothing is pending.

        Returns the receipts that came. A status of ``refused`` is final: ``why`` says what to mend.
        """
        came: list[dict[str, Any]] = []
        until = self._elapsed() + timeout
        while True:
            came += self._read_receipts()
            self._repeat_due()
            left = until - self._elapsed()
            if left <= 0 or not self._waiting:
                break
            due = min(waiting.due for waiting in self._waiting.values()) - self._elapsed()
            select.select([self._socket], [], [], max(0.0, min(left, due)))
        self.receipts += came
        return came

    def close(self, wait: float = 0.0) -> list[str]:
        """Wait up to ``wait`` seconds for receipts, close, and return the ids that are still pending."""
        if wait > 0:
            self.pump(wait)
        self._socket.close()
        return self.pending()

    def _put(self, body: bytes) -> None:
        datagram = body if self._key is None else seal(body, self._key, round(self._clock() * 1000))
        try:
            self._sendto(datagram, self.address)
            self.sent += 1
        except OSError:  # nobody listens, or the system's buffer is full: never the decoder's trouble
            self.unsent += 1

    def _repeat_due(self) -> None:
        now = self._elapsed()
        for waiting in self._waiting.values():
            if waiting.due <= now:
                pause = REPEAT_AFTER_S[min(waiting.tries, len(REPEAT_AFTER_S) - 1)]
                waiting.tries += 1
                waiting.due = now + pause
                self._put(waiting.body)

    def _read_receipts(self) -> list[dict[str, Any]]:
        came: list[dict[str, Any]] = []
        while True:
            try:
                datagram = self._socket.recv(MAX_DATAGRAM)
            except ConnectionError:
                continue  # word that an earlier datagram found nobody
            except OSError:
                return came  # nothing more to read
            receipt = self._receipt(datagram)
            if receipt is not None and self._waiting.pop(receipt["of"], None) is not None:
                came.append(receipt)

    def _receipt(self, datagram: bytes) -> Optional[dict[str, Any]]:  # noqa: UP045
        if self._key is not None:
            opened = unseal(datagram, self._key)
            if opened is None:
                return None
            datagram = opened
        try:
            receipt = json.loads(datagram)
        except (ValueError, RecursionError):
            return None
        if not isinstance(receipt, dict) or receipt.get("kind") != "receipt" or receipt.get("source") != self.source:
            return None
        is_whole = isinstance(receipt.get("of"), str) and isinstance(receipt.get("status"), str)
        return receipt if is_whole else None

    def _moment(self, at: When) -> str:
        return at if isinstance(at, str) else moment(self._clock() if at is None else at)

    def _value(self, value: Any) -> Any:
        return moment(value) if isinstance(value, datetime) else value


def moment(at: Union[float, datetime]) -> str:  # noqa: UP007
    """RFC 3339 text in UTC, to the millisecond, of an aware datetime or of seconds since 1970 UTC."""
    if isinstance(at, datetime):
        if at.tzinfo is None:
            raise ValueError("a datetime needs a time zone")
        at = at.timestamp()
    milliseconds = round(at * 1000)
    whole = datetime.fromtimestamp(milliseconds // 1000, timezone.utc)  # noqa: UP017
    return f"{whole:%Y-%m-%dT%H:%M:%S}.{milliseconds % 1000:03d}Z"


def pack(bodies: list[bytes], limit: int) -> Iterator[bytes]:
    """Join encoded events to arrays of at most ``limit`` bytes and MAX_BATCH events; a lone event stays an object."""
    group: list[bytes] = []
    size = 1
    for body in bodies:
        if group and (size + len(body) + 1 > limit or len(group) == MAX_BATCH):
            yield _joined(group)
            group, size = [], 1
        group.append(body)
        size += len(body) + 1
    if group:
        yield _joined(group)


def _joined(group: list[bytes]) -> bytes:
    return group[0] if len(group) == 1 else b"[" + b",".join(group) + b"]"


def seal(body: bytes, key: bytes, now_ms: int) -> bytes:
    """``WK1 <ms> <nonce> <mac> <body>``; a repeat is sealed anew, for a nonce is good for once."""
    head = b"WK1 %d %s " % (now_ms, secrets.token_hex(16).encode())
    return head + _mac(key, head, body) + b" " + body


def unseal(datagram: bytes, key: bytes) -> Optional[bytes]:  # noqa: UP045
    """The body, or None where the seal does not hold."""
    parts = datagram.split(b" ", 4)
    if len(parts) != 5 or parts[0] != b"WK1":
        return None
    head = b" ".join(parts[:3]) + b" "
    return parts[4] if hmac.compare_digest(_mac(key, head, parts[4]), parts[3]) else None


def _mac(key: bytes, head: bytes, body: bytes) -> bytes:
    return hmac.new(key, head + body, hashlib.sha256).hexdigest().encode()
