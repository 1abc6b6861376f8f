"""Serving on a Unix socket that only its owner can open."""

from __future__ import annotations

import contextlib
import os
import socket
import stat
from collections.abc import AsyncIterator
from pathlib import Path

from aiohttp import web

from ..source import unix_address

BACKLOG = 128


class SocketTakenError(Exception):
    """Somebody answers on the socket, or something else lies there; the message says which."""


@contextlib.asynccontextmanager
async def serve_unix(app: web.Application, path: Path) -> AsyncIterator[None]:
    """Serve ``app`` on ``path`` (mode 0600) for as long as the context lasts; a socket that nobody serves is replaced.

    Raises SocketTakenError, and OSError when the folder cannot be written.
    """
    listener = _bound(path)
    runner = web.AppRunner(app, access_log=None, handle_signals=False, shutdown_timeout=1.0)
    try:
        await runner.setup()
        await web.SockSite(runner, listener).start()
        yield
    finally:
        await runner.cleanup()
        listener.close()
        _remove(path)


def _remove(path: Path) -> None:
    with contextlib.suppress(OSError):
        path.unlink()


def _bound(path: Path) -> socket.socket:
    _clear(path)
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    listener.setblocking(False)
    before = os.umask(0o177)
    try:
        with unix_address(path) as address:
            listener.bind(address)
        listener.listen(BACKLOG)
    except OSError:
        listener.close()
        raise
    finally:
        os.umask(before)
    return listener


def _clear(path: Path) -> None:
    """Remove a socket whose server is gone."""
    try:
        mode = path.lstat().st_mode
    except FileNotFoundError:
        return
    if not stat.S_ISSOCK(mode):
        raise SocketTakenError(f"{path} is no socket; move it away")
    with unix_address(path) as address, socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
        try:
            probe.connect(address)
        except OSError:
            path.unlink(missing_ok=True)
            return
    raise SocketTakenError(f"another watch serves on {path}")
