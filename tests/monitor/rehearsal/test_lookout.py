"""The operator's view of a running watch: snapshots over a local socket."""

from __future__ import annotations

import json
import socketserver
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler
from pathlib import Path
from threading import Thread
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest

from watchkeeper.rehearsal.lookout import Dashboard, WatchGoneError, advice

_VIEWS = [
    {"form": "series", "panel": "openings", "name": "openings"},
    {
        "form": "table",
        "panel": "lookout",
        "rows": [{"key": "1", "cells": []}, {"key": "2", "data": {"call": "W1QSB", "parity": 1, "offset_hz": 900}}],
    },
]


class Watch(socketserver.ThreadingUnixStreamServer):
    """Answers as the watch does, having seen everything up to ``seen``."""

    daemon_threads = True
    seen = 7
    asked: list[dict[str, list[str]]]


@pytest.fixture
def watch(tmp_path: Path) -> Iterator[Watch]:
    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_GET(self) -> None:
            server.asked.append(parse_qs(urlsplit(self.path).query))
            body = json.dumps({"covers": {"decoder": {"run": "r1", "seq": server.seen}}, "views": _VIEWS}).encode()
            self.send_response(200)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def address_string(self) -> str:
            return "local"

        def log_message(self, format: str, *args: object) -> None:  # noqa: A002
            pass

    server = Watch(str(tmp_path / "watch.sock"), Handler)
    server.asked = []
    thread = Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    yield server
    server.shutdown()
    server.server_close()
    thread.join()


def test_a_snapshot_counts_when_it_covers_what_was_sent(watch: Watch) -> None:
    dashboard = Dashboard(Path(str(watch.server_address)))
    found = dashboard.covering("decoder", "r1", 7, 5.0)
    assert found is not None
    assert dashboard.covering("decoder", "r1", 8, 0.1) is None
    assert dashboard.covering("decoder", "another run", 1, 0.1) is None
    dashboard.close()
    assert watch.asked[0] == {"source": ["decoder"], "run": ["r1"], "seq": ["7"], "wait": ["5.0"]}


def test_advice_is_the_ranked_rows_that_name_a_station(watch: Watch) -> None:
    dashboard = Dashboard(Path(str(watch.server_address)))
    found = dashboard.covering("decoder", "r1", 1, 5.0)
    assert found is not None
    assert advice(found) == [{"call": "W1QSB", "parity": 1, "offset_hz": 900}]
    dashboard.close()


@pytest.mark.parametrize("snapshot", [{}, {"views": []}, {"views": [{"panel": "lookout", "form": "notice"}]}])
def test_no_advice(snapshot: dict[str, Any]) -> None:
    assert advice(snapshot) == ()


def test_a_watch_that_is_not_there_is_told(tmp_path: Path) -> None:
    dashboard = Dashboard(tmp_path / "nobody.sock", patience_s=0.0)
    with pytest.raises(WatchGoneError, match=r"nobody\.sock"):
        dashboard.covering("decoder", "r1", 1, 0.1)
