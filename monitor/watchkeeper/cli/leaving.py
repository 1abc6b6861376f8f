"""The end of the process: what a plugin left running in a thread must not hold it up."""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

#: what the loop's own threads may take to end
CLOSE_S = 0.5


@contextmanager
def in_time(code: int) -> Iterator[None]:
    """End the process with ``code`` where the block takes longer than it may: all that matters is written by then."""
    late = threading.Timer(CLOSE_S, _end, [code])
    late.daemon = True
    late.start()
    try:
        yield
    finally:
        late.cancel()


def leave(code: object) -> None:
    """End the process as ``sys.exit(code)`` would, but at once, where a thread that was left running keeps it."""
    if any(not each.daemon and each is not threading.main_thread() for each in threading.enumerate()):
        _end(code if isinstance(code, int) else int(code is not None))


def _end(code: int) -> None:
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError):  # whoever read it is gone, or it is closed: the end comes all the same
            stream.flush()
    os._exit(code)
