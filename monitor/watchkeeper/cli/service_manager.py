"""Tells the service manager how the daemon stands, by the notification protocol of sd_notify(3).

``NOTIFY_SOCKET`` names a datagram socket, by path or (after ``@``) in the abstract name space. Whoever is not run by a
service manager has no such variable, and nothing is told.
"""

from __future__ import annotations

import os
import socket
import time
from collections.abc import Mapping


class ServiceManager:
    """Where to tell it, and how often it wants a sign of life (``watchdog_s``; None: it wants none)."""

    def __init__(self, address: str | None, watchdog_s: float | None = None) -> None:
        self.address = address
        self.watchdog_s = watchdog_s

    @classmethod
    def of(cls, environ: Mapping[str, str]) -> ServiceManager:
        """The one that started this process."""
        wanted_us = environ.get("WATCHDOG_USEC", "")
        for_us = environ.get("WATCHDOG_PID", "") in ("", str(os.getpid()))
        watchdog_s = int(wanted_us) / 1e6 if wanted_us.isdigit() and int(wanted_us) > 0 and for_us else None
        return cls(environ.get("NOTIFY_SOCKET") or None, watchdog_s)

    def ready(self) -> None:
        """The watch stands, or has gone over to another configuration."""
        self._tell("READY=1")

    def reloading(self) -> None:
        """The configuration is being read again; the time stamp is CLOCK_MONOTONIC's, as the protocol wants it."""
        self._tell("RELOADING=1", f"MONOTONIC_USEC={time.clock_gettime_ns(time.CLOCK_MONOTONIC) // 1000}")

    def stopping(self) -> None:
        """The watch works through what has arrived, and ends."""
        self._tell("STOPPING=1")

    def status(self, words: str) -> None:
        """One line for ``systemctl status``."""
        self._tell(f"STATUS={' '.join(words.split())}")

    def alive(self) -> None:
        """A sign of life for its watchdog."""
        self._tell("WATCHDOG=1")

    def _tell(self, *lines: str) -> None:
        if self.address is None:
            return
        address = "\0" + self.address[1:] if self.address.startswith("@") else self.address
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as sock:
                sock.setblocking(False)
                sock.sendto("\n".join(lines).encode(), address)
        except OSError:
            return  # it is not there to be told; the watch stands all the same
