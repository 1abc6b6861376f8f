"""An HTTP log that fails, stalls, closes early and answers twice, and takes each contact once by its key."""

from __future__ import annotations

import threading
from collections import Counter
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from random import Random
from typing import Any

#: how often which fault, of a thousand requests; what is left is answered well. Any but the last makes the daemon wait
#: longer than most of its lives, so there is about one in a life
FAULTS = {"fails": 10, "stalls": 10, "closes unread": 10, "closes early": 10, "breaks off": 10, "answers twice": 50}
STALL_S = 1.0


class FaultyLog:
    """Listens from the start until :meth:`close`. ``taken``: what it took first under each key."""

    def __init__(self, seed: int) -> None:
        self.taken: dict[str, bytes] = {}
        #: keys that came again with other bytes
        self.changed: list[str] = []
        #: what it did, how often
        self.did: Counter[str] = Counter()
        self._dice = Random(seed)
        self._lock = threading.Lock()
        self._healthy = False
        self._over = threading.Event()
        log = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_POST(self) -> None:
                log.handle(self)

            def log_message(self, format: str, *args: Any) -> None:  # noqa: A002 the library's name
                """Stay silent."""

        self._server = _Server(("127.0.0.1", 0), Handler)
        self._thread = threading.Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.02})
        self._thread.start()

    @property
    def url(self) -> str:
        """Where it listens."""
        return f"http://127.0.0.1:{self._server.server_address[1]}/contacts"

    def heal(self) -> None:
        """Fail no more."""
        self._healthy = True

    def close(self) -> None:
        """Stop answering."""
        self._over.set()
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()

    def handle(self, request: BaseHTTPRequestHandler) -> None:
        """Answer one POST, well or badly."""
        fault = self._draw()
        if fault == "closes unread":
            request.close_connection = True
            return
        body = request.rfile.read(int(request.headers["Content-Length"]))
        if fault == "fails":
            _answer(request, b"503 Service Unavailable")
            return
        known = self._take(request.headers["Idempotency-Key"], body)
        if fault == "stalls":  # it has the contact, and says so too late
            self._over.wait(STALL_S)
        if fault == "closes early":
            request.close_connection = True
        elif fault == "breaks off":
            request.wfile.write(b"HTTP/1.1 20")
            request.close_connection = True
        else:
            _answer(request, b"409 Conflict" if known else b"201 Created")
            if fault == "answers twice":
                _answer(request, b"500 Internal Server Error")

    def _draw(self) -> str:
        with self._lock:
            names = [*FAULTS, "answers"]
            weights = [*FAULTS.values(), 1000 - sum(FAULTS.values())]
            fault = "answers" if self._healthy else self._dice.choices(names, weights)[0]
            self.did[fault] += 1
        return fault

    def _take(self, key: str, body: bytes) -> bool:
        """Whether it had that key already."""
        with self._lock:
            known = key in self.taken
            if self.taken.setdefault(key, body) != body:
                self.changed.append(key)
            if known:
                self.did["met again"] += 1
        return known


class _Server(ThreadingHTTPServer):
    daemon_threads = True

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A client that was killed is no news here."""


def _answer(request: BaseHTTPRequestHandler, status: bytes) -> None:
    request.wfile.write(b"HTTP/1.1 " + status + b"\r\nContent-Length: 0\r\n\r\n")
