"""The HTTP interface under raw bytes: a server on a Unix socket with its loop in a thread, asked from outside."""

from __future__ import annotations

import asyncio
import socket
import tempfile
import threading
from functools import cache
from pathlib import Path
from typing import Any

from watchkeeper.faces.page.app import make_app
from watchkeeper.faces.page.serving import serve_unix
from watchkeeper.faces.source import Changes, LocalSource

#: a request that is cut short leaves the server waiting for the rest; so long is waited for an answer
_PATIENCE_S = 0.02
#: a server that does not answer a good request within this time hangs
_HANGS_S = 10.0


class Server:
    """Serves a watch that shows nothing."""

    def __init__(self) -> None:
        self._path = Path(tempfile.mkdtemp()) / "fuzz.sock"
        self.errors: list[str] = []
        ready = threading.Event()
        self._thread = threading.Thread(target=lambda: asyncio.run(self._serve(ready)), daemon=True)
        self._thread.start()
        ready.wait()

    async def _serve(self, ready: threading.Event) -> None:
        asyncio.get_running_loop().set_exception_handler(self._note)
        plain: dict[str, Any] = {"v": 1, "covers": {}, "hails": [], "views": [], "contacts": 0}
        status: dict[str, Any] = {"v": 1, "sources": {}, "intake": {}, "outbox": {}, "plugins": [], "notices": []}
        source = LocalSource(lambda: plain, lambda: status, Changes(), act=lambda act: {"done": True})
        async with serve_unix(make_app(source), self._path):
            ready.set()
            await asyncio.Event().wait()

    def _note(self, _loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
        self.errors.append(repr(context))

    def feed(self, data: bytes) -> None:
        """Send ``data``: whatever it is, it is no fault of the server's, and the next one is answered."""
        answer = self._ask(data)
        assert not answer.startswith((b"HTTP/1.1 500", b"HTTP/1.0 500")), answer[:400]
        assert not self.errors, self.errors
        alive = self._ask(b"GET /livez HTTP/1.1\r\nHost: watch\r\nConnection: close\r\n\r\n", _HANGS_S)
        assert b" 200 " in alive[:20], alive[:200]

    def _ask(self, data: bytes, patience_s: float = _PATIENCE_S) -> bytes:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as sock:
            sock.settimeout(patience_s)
            sock.connect(str(self._path))
            try:
                sock.sendall(data)
                return sock.recv(65_536)
            except (TimeoutError, ConnectionError):
                return b""


@cache
def server() -> Server:
    """One server for all inputs."""
    return Server()
