"""Single keys from a terminal, without echo, and the terminal as it was afterwards."""

from __future__ import annotations

import asyncio
import os
import termios
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress

#: what the arrow keys send (ECMA-48 cursor sequences, and their application form)
_NAMES = {b"\x1b[A": "up", b"\x1b[B": "down", b"\x1bOA": "up", b"\x1bOB": "down", b"\x04": "q"}


@contextmanager
def keys(descriptor: int, pressed: Callable[[str], None]) -> Iterator[None]:
    """Call ``pressed`` on the running loop with each key from the terminal ``descriptor``.

    Interrupt and suspend keys keep their meaning. Where ``descriptor`` is no terminal, nothing is read.
    """
    if not os.isatty(descriptor):
        yield
        return
    loop = asyncio.get_running_loop()
    before = termios.tcgetattr(descriptor)
    tty.setcbreak(descriptor, termios.TCSANOW)
    loop.add_reader(descriptor, _read, descriptor, pressed, loop)
    try:
        yield
    finally:
        loop.remove_reader(descriptor)
        with suppress(termios.error):  # a terminal that is gone needs no restoring
            termios.tcsetattr(descriptor, termios.TCSADRAIN, before)


def _read(descriptor: int, pressed: Callable[[str], None], loop: asyncio.AbstractEventLoop) -> None:
    try:
        data = os.read(descriptor, 256)
    except OSError:
        data = b""
    if not data:  # the terminal is gone
        loop.remove_reader(descriptor)
        return
    for key in named(data):
        pressed(key)


def named(data: bytes) -> list[str]:
    """The keys in ``data``: single characters, ``up`` and ``down``; other escape sequences are no keys."""
    found = []
    while data:
        known = next((sequence for sequence in _NAMES if data.startswith(sequence)), None)
        if known is not None:
            found.append(_NAMES[known])
            data = data[len(known) :]
        elif data[0] == 0x1B:
            break
        else:
            if 0x20 <= data[0] < 0x7F:
                found.append(chr(data[0]))
            data = data[1:]
    return found
