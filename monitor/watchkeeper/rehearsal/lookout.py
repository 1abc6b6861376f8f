"""The operator's look at the dashboard: snapshots of the running watch over its local socket."""

from __future__ import annotations

import http.client
import json
import socket
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

_TIMEOUT_S = 30.0
_PAUSE_S = 0.2

Advice = Mapping[str, Any]


class WatchGoneError(Exception):
    """The watch cannot be reached."""


class _LocalConnection(http.client.HTTPConnection):
    """HTTP over a Unix socket."""

    def __init__(self, path: Path) -> None:
        super().__init__("watch", timeout=_TIMEOUT_S)
        self._path = path

    def connect(self) -> None:
        self.sock = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.sock.settimeout(self.timeout)
        self.sock.connect(str(self._path))


class Dashboard:
    """Reads snapshots. A watch that restarts is waited for up to ``patience_s``; after that WatchGoneError."""

    def __init__(self, path: Path, patience_s: float = 30.0) -> None:
        self._path = path
        self._patience_s = patience_s
        self._connection: _LocalConnection | None = None

    def covering(self, source: str, run: str, seq: int, wait_s: float) -> Mapping[str, Any] | None:
        """Return the snapshot that covers event ``seq`` of a source's run, or None if it does not within ``wait_s``."""
        query = urlencode({"source": source, "run": run, "seq": seq, "wait": wait_s})
        found = self._get(f"/api/snapshot?{query}")
        covers = found.get("covers", {}).get(source, {})
        return found if covers.get("run") == run and covers.get("seq", -1) >= seq else None

    def close(self) -> None:
        """Let the connection go."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    def _get(self, target: str) -> Mapping[str, Any]:
        until = time.monotonic() + self._patience_s
        while True:
            try:
                return self._try(target)
            except (OSError, http.client.HTTPException, ValueError) as error:
                self.close()
                if time.monotonic() >= until:
                    raise WatchGoneError(f"the watch at {self._path} does not answer: {error}") from error
                time.sleep(_PAUSE_S)

    def _try(self, target: str) -> Mapping[str, Any]:
        if self._connection is None:
            self._connection = _LocalConnection(self._path)
        self._connection.request("GET", target)
        answer = self._connection.getresponse()
        body = answer.read()
        if answer.status != http.client.OK:
            raise ValueError(f"status {answer.status}")
        found = json.loads(body)
        if not isinstance(found, dict):
            raise ValueError("no object")  # noqa: TRY004 - caught with what else can be wrong with an answer
        return found


def advice(snapshot: Mapping[str, Any]) -> Sequence[Advice]:
    """Return the data of the ranked rows of the lookout panel, the best first."""
    for view in snapshot.get("views", ()):
        if view.get("panel") == "lookout" and view.get("form") == "table":
            return [row["data"] for row in view.get("rows", ()) if row.get("data", {}).get("call")]
    return ()
