"""Notices what a plugin's code does on the loop's thread and must not: wait, or compute for long."""

from __future__ import annotations

import asyncio
import socket
import sys
import threading
import time
from types import FrameType
from typing import Any, SupportsIndex

#: processor time between two breaths of the loop that is a stall
MOST_CPU_S = 0.25
_WAITING = {
    "time.sleep",
    "socket.connect",
    "socket.getaddrinfo",
    "socket.gethostbyname",
    "sqlite3.connect",
    "os.system",
}
_WRITING = set("wax+")


class LoopWatcher:
    """Watches this thread for the code of one plugin, to the end of the process. Made before the plugin is imported."""

    def __init__(self) -> None:
        self._package: str | None = None
        self._thread = threading.get_ident()
        self._why: str | None = None
        if sys.version_info < (3, 13):
            _audit_sleep()
        sys.addaudithook(self._audit)

    def watch(self, package: str) -> None:
        """From now on, what code of that top-level package does is noticed."""
        self._package = package

    def why(self) -> str | None:
        """What blocked the loop first, and where."""
        return self._why

    async def breathe(self) -> None:
        """Let the loop run what is due, and see whether it took long."""
        begun_s = time.thread_time()
        for _ in range(5):
            await asyncio.sleep(0.001)
        spent_s = time.thread_time() - begun_s
        if spent_s > MOST_CPU_S and self._why is None:
            self._why = f"its tasks computed for {spent_s:.2f} s without a pause for others"

    def _audit(self, event: str, arguments: tuple[Any, ...]) -> None:
        if (
            self._package is None
            or self._why is not None
            or threading.get_ident() != self._thread
            or not _waits(event, arguments)
        ):
            return
        where = _frame_of(self._package)
        if where is not None:
            code = where.f_code
            self._why = f"{event} on the loop's thread, in {code.co_name} ({code.co_filename}, line {where.f_lineno})"


def _audit_sleep() -> None:
    """Raise the audit event that Python raises by itself from 3.13 on."""
    sleep = time.sleep

    def audited(seconds: float | SupportsIndex) -> None:
        sys.audit("time.sleep", seconds)
        sleep(seconds)

    time.sleep = audited


def threads() -> set[str]:
    """The threads that keep a process alive, but for those of asyncio's own pool, which ends with its loop."""
    return {each.name for each in threading.enumerate() if not each.daemon and not each.name.startswith("asyncio_")}


def _waits(event: str, arguments: tuple[Any, ...]) -> bool:
    if event == "open":
        mode = arguments[1]
        return isinstance(mode, str) and bool(_WRITING & set(mode))
    if event == "socket.connect":
        connecting = arguments[0]
        return isinstance(connecting, socket.socket) and connecting.gettimeout() != 0  # asyncio's never wait
    if event == "sqlite3.connect":
        return bool(arguments[0] != ":memory:")
    return event in _WAITING


def _frame_of(package: str) -> FrameType | None:
    """The innermost frame of the package's code, if it is among the callers."""
    frame: FrameType | None = sys._getframe(2)
    while frame is not None and str(frame.f_globals.get("__name__", "")).partition(".")[0] != package:
        frame = frame.f_back
    return frame
