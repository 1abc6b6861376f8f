"""A real daemon in a process of its own, and a real HTTP log, for the tests of this folder."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from watchkeeper.faces.source import NoDaemonError, ask

#: a loaded machine may take its time; what is waited for is asked for again and again, never slept for blindly
PATIENCE_S = 20.0


def run(*arguments: str, given: bytes = b"", code: int = 0) -> bytes:
    """The command's output in a process of its own; its exit code is checked."""
    done = subprocess.run(
        [sys.executable, "-m", "watchkeeper", *arguments], input=given, capture_output=True, check=False
    )
    assert done.returncode == code, (done.returncode, done.stdout[-2000:], done.stderr[-2000:])
    return done.stdout


def complaint(*arguments: str) -> str:
    """What the command says on standard error when it fails."""
    done = subprocess.run(
        [sys.executable, "-m", "watchkeeper", *arguments], capture_output=True, text=True, check=False
    )
    assert done.returncode != 0
    return done.stderr


def last_json(output: bytes) -> dict[str, Any]:
    """The JSON object on the last line."""
    found: dict[str, Any] = json.loads(output.splitlines()[-1])
    return found


def until(condition: Callable[[], Any], what: str) -> Any:
    """Ask until ``condition`` holds; what it gave."""
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        found = condition()
        if found:
            return found
        threading.Event().wait(0.02)
    raise AssertionError(f"never came true: {what}")


def line_with(words: str, *arguments: str, python: str = sys.executable) -> str:
    """The first line with those words from a command that goes on by itself and is then ended."""
    command = [python, "-u", "-m", "watchkeeper", *arguments]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        patience = threading.Timer(PATIENCE_S, process.kill)
        patience.start()
        lines: list[str] = []
        for line in iter(process.stdout.readline, ""):
            lines.append(line)
            if words in line:
                break
        patience.cancel()
        process.terminate()
    assert lines, "it said nothing"
    assert words in lines[-1], lines
    return lines[-1]


def free_port() -> int:
    """A TCP port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    return port


class Daemon:
    """``watchkeeper serve`` on a data folder, run by that Python."""

    def __init__(self, folder: Path, config: str = "", more: Sequence[str] = (), python: str = sys.executable) -> None:
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        self._config = folder / "test.toml"
        self._config.write_text(config, encoding="utf-8")
        self._log = (folder / "serve.txt").open("ab")
        self.process = subprocess.Popen(
            [python, "-m", "watchkeeper", "serve", "--data", str(folder), "--port", "0",
             "--config", str(self._config), *more],
            stdout=self._log, stderr=self._log, env={**os.environ, "PYTHONUNBUFFERED": "1"},
        )  # fmt: skip
        status = until(self._ready, "the daemon is ready")
        host, port = status["listening"].rsplit(":", 1)
        self.address = (host, int(port))

    def _ready(self) -> dict[str, Any] | None:
        assert self.process.poll() is None, (self.folder / "serve.txt").read_text()
        try:
            return self.ask("/api/status")
        except NoDaemonError:
            return None

    def ask(self, target: str) -> dict[str, Any]:
        """One question on the socket."""
        return ask(self.folder / "watch.sock", target)

    def kill(self) -> None:
        """Pull the plug."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def stop(self) -> int:
        """End it in good order; its exit code."""
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(timeout=PATIENCE_S)

    def close(self) -> None:
        """End it whatever its state."""
        if self.process.poll() is None:
            self.kill()
        self._log.close()


@contextmanager
def daemon(folder: Path, config: str = "", more: Sequence[str] = (), python: str = sys.executable) -> Iterator[Daemon]:
    """A daemon that is ended when the test is over."""
    made = Daemon(folder, config, more, python)
    try:
        yield made
    finally:
        made.close()


class HttpLog:
    """Takes contacts by HTTP and remembers every request."""

    def __init__(self, port: int) -> None:
        self.got: list[tuple[str, bytes]] = []
        log = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                log.got.append((self.headers["Idempotency-Key"], body))
                self.send_response(201)
                self.end_headers()

            def log_message(self, format: str, *args: Any) -> None:  # noqa: A002 the library's name
                """Stay silent."""

        self._server = ThreadingHTTPServer(("127.0.0.1", port), Handler)
        self._thread = threading.Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.02})
        self._thread.start()

    def close(self) -> None:
        """Stop answering."""
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()
