"""A small real log on the web, on loopback: takes contacts by HTTP, each key once, and can be told to be in trouble."""

from __future__ import annotations

import hashlib
import json
from enum import IntEnum
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Event, Lock, Thread

_MOST_BYTES = 1_000_000
_STALL_S = 30.0


class Trouble(IntEnum):
    """What the log does instead of its work."""

    NONE = 0
    FAILS = 1  # 503, come again
    STALLS = 2  # takes the request and does not answer
    CLOSES = 3  # closes the connection before the answer


class HttpLog:
    """The log's server, in a thread of its own. ``POST`` with ``Idempotency-Key``: 201 the first time, 409 when the key
    is there with the same body, 422 when it is there with another, 400 without a key."""

    def __init__(self, port: int) -> None:
        self.trouble = Trouble.NONE
        self.requests = 0
        self._lock = Lock()
        self._kept: dict[str, bytes] = {}
        self._stopped = Event()
        self._server = ThreadingHTTPServer(("127.0.0.1", port), self._handler())
        self._server.daemon_threads = True
        self._thread = Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True)

    @property
    def port(self) -> int:
        """The port it listens on."""
        return int(self._server.server_address[1])

    @property
    def received(self) -> int:
        """How many distinct keys it got."""
        with self._lock:
            return len(self._kept)

    def start(self) -> None:
        """Begin to answer."""
        self._thread.start()

    def stop(self) -> None:
        """Stop answering and let go of stalled requests."""
        self._stopped.set()
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()

    def take(self, key: str | None, body: bytes) -> HTTPStatus:
        """Keep a body under its key and say how that went."""
        if not key:
            return HTTPStatus.BAD_REQUEST
        digest = hashlib.sha256(body).digest()
        with self._lock:
            known = self._kept.setdefault(key, digest)
            fresh = known is digest
        if fresh:
            return HTTPStatus.CREATED
        return HTTPStatus.CONFLICT if known == digest else HTTPStatus.UNPROCESSABLE_ENTITY

    def stall(self) -> None:
        """Do nothing until the log is stopped or half a minute is over."""
        self._stopped.wait(_STALL_S)

    def _handler(self) -> type[BaseHTTPRequestHandler]:
        log = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_POST(self) -> None:
                log.requests += 1
                body = self.rfile.read(min(_MOST_BYTES, int(self.headers.get("Content-Length", "0"))))
                match log.trouble:
                    case Trouble.FAILS:
                        self._answer(HTTPStatus.SERVICE_UNAVAILABLE)
                    case Trouble.STALLS:
                        log.stall()
                        self.close_connection = True
                    case Trouble.CLOSES:
                        self.close_connection = True
                    case _:
                        self._answer(log.take(self.headers.get("Idempotency-Key"), body))

            def _answer(self, status: HTTPStatus) -> None:
                body = json.dumps({"status": status.phrase}).encode()
                self.send_response(status)
                self.send_header("Content-Type", "application/json")
                self.send_header("Content-Length", str(len(body)))
                if status is HTTPStatus.SERVICE_UNAVAILABLE:
                    self.send_header("Retry-After", "1")
                self.end_headers()
                self.wfile.write(body)

            def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - the base class names it so
                """Say nothing: the rehearsal's own output is one line."""

        return Handler
