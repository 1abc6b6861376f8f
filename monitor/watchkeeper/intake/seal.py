"""Sealed datagrams: ``WK1 <ms> <nonce> <mac> <body>``, for addresses that others can reach.

The code is HMAC-SHA-256 (RFC 2104, FIPS 180-4) over everything else, so a datagram can neither be altered nor,
within the time window, be played back. The body stays readable: a seal proves origin, it hides nothing.
"""

from __future__ import annotations

import hashlib
import hmac
import os
import re
import secrets
from collections import OrderedDict
from collections.abc import Callable, Mapping
from pathlib import Path

from ..schema.wire import Reason

MARK = b"WK1"
#: both ways: clocks of a portable station drift, and datagrams do not travel for minutes
WINDOW_MS = 30_000
#: a full memory refuses instead of forgetting: forgetting a nonce would let its datagram in again
MAX_NONCES = 100_000
MIN_KEY_BYTES = 16

_SEALED = re.compile(rb"WK1 (\d{1,15}) ([0-9a-f]{32}) ([0-9a-f]{64}) ", re.ASCII)


class SealError(Exception):
    """A datagram whose seal does not hold, and which counter it goes to."""

    def __init__(self, reason: Reason, why: str) -> None:
        super().__init__(why)
        self.reason = reason


class SealKeyError(Exception):
    """The key cannot be used; the text says why and never holds the key."""


class Seal:
    """Closes and opens sealed datagrams with one shared key, and remembers which it has opened."""

    def __init__(self, key: bytes, *, nonce: Callable[[], str] = lambda: secrets.token_hex(16)) -> None:
        if len(key) < MIN_KEY_BYTES:
            raise SealKeyError(f"the key has {len(key)} bytes; it needs at least {MIN_KEY_BYTES}")
        self._key = key
        self._nonce = nonce
        self._opened: OrderedDict[bytes, int] = OrderedDict()

    def close(self, body: bytes, now_ms: int) -> bytes:
        """Seal ``body``, with a nonce of its own each time."""
        head = b"%s %d %s " % (MARK, now_ms, self._nonce().encode())
        return head + self._code(head, body) + b" " + body

    def open(self, datagram: bytes, now_ms: int) -> bytes:
        """The body of a sealed datagram. Raises SealError where the seal does not hold or held once already."""
        sealed = _SEALED.match(datagram)
        if sealed is None:
            raise SealError(Reason.UNSEALED, "not sealed")
        stamp, nonce, code = sealed.groups()
        body = datagram[sealed.end() :]
        if not hmac.compare_digest(self._code(datagram[: sealed.start(3)], body), code):
            raise SealError(Reason.BAD_SEAL, "the seal does not fit the key or the content")
        sealed_ms = int(stamp)
        if abs(now_ms - sealed_ms) > WINDOW_MS:
            raise SealError(Reason.SEAL_TIME, f"sealed {(now_ms - sealed_ms) / 1000:+.0f} s from this host's clock")
        self._remember(nonce, sealed_ms, now_ms)
        return body

    def _code(self, head: bytes, body: bytes) -> bytes:
        return hmac.new(self._key, head + body, hashlib.sha256).hexdigest().encode()

    def _remember(self, nonce: bytes, sealed_ms: int, now_ms: int) -> None:
        opened = self._opened
        while opened and next(iter(opened.values())) < now_ms - WINDOW_MS:
            opened.popitem(last=False)
        if nonce in opened:
            raise SealError(Reason.SEAL_REPEATED, "this datagram came before")
        if len(opened) >= MAX_NONCES:
            raise SealError(Reason.SEAL_BUSY, f"more than {MAX_NONCES} sealed datagrams in {2 * WINDOW_MS // 1000} s")
        opened[nonce] = sealed_ms


def load_key(file: Path | None = None, variable: str | None = None, environ: Mapping[str, str] = os.environ) -> bytes:
    """The shared key from a file or, without one, an environment variable; line breaks at its ends do not count."""
    if file is not None:
        try:
            return file.read_bytes().strip()
        except OSError as error:
            raise SealKeyError(f"cannot read the key file {file}: {error.strerror}") from error
    if variable is not None:
        if variable not in environ:
            raise SealKeyError(f"the environment variable {variable} for the key is not set")
        return environ[variable].strip().encode()
    raise SealKeyError("no key: name a file or an environment variable")
