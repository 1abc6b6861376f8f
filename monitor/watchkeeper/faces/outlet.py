"""Writing to a terminal or pipe that may stop reading, without ever holding up the event loop.

A terminal stopped with a key, a pager or a dead connection blocks whoever writes to it. So one thread writes, and
what it has not come to yet is bounded: of frames only the newest waits, of lines a limited number.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from typing import Generic, TypeVar

T = TypeVar("T")

#: how long a closing outlet waits for a reader that does not read
CLOSING_S = 1.0


class Outlet(Generic[T]):
    """Hands items to ``write`` in a thread of its own, the oldest first; beyond ``bound`` the oldest are dropped."""

    def __init__(self, write: Callable[[T], None], bound: int) -> None:
        self._write = write
        self._items: deque[T] = deque(maxlen=bound)
        self._ready = threading.Condition()
        self._open = True
        self.dropped = 0
        self._thread = threading.Thread(target=self._work, name="watchkeeper-outlet", daemon=True)
        self._thread.start()

    def put(self, item: T) -> None:
        """Queue ``item``; never blocks."""
        with self._ready:
            if len(self._items) == self._items.maxlen:
                self.dropped += 1
            self._items.append(item)
            self._ready.notify()

    def close(self) -> None:
        """Write what waits and end, within a second even when nobody reads."""
        with self._ready:
            self._open = False
            self._ready.notify()
        self._thread.join(CLOSING_S)

    def _work(self) -> None:
        while True:
            with self._ready:
                while self._open and not self._items:
                    self._ready.wait()
                if not self._items:
                    return
                item = self._items.popleft()
            try:
                self._write(item)
            except (OSError, ValueError):  # the reader is gone; there is nobody left to tell
                return
