"""The line feed keeps in step with the watch, and with a watch that is not there."""

from __future__ import annotations

import json
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from watchkeeper.intake.line_feed import ASK_AGAIN_S, RECEIPT_WAIT_S, WINDOW, LineFeed
from watchkeeper.intake.lines import LineReader
from watchkeeper.intake.pattern import load
from watchkeeper.sender import Sender

PATTERN = load(Path(__file__).parents[3] / "configs" / "patterns" / "keyvalue.toml")
LINE = b'at=2026-05-01T12:00:15Z dial=14.074 off=1520 snr=-12 mode=FT8 msg="CQ DL5QRM JO62"'


class Bench:
    """A feed whose clock stands still unless moved, and the socket that it sends to."""

    def __init__(self) -> None:
        self.now = 100.0
        self.watch = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.watch.bind(("127.0.0.1", 0))
        self.watch.setblocking(False)
        self.sender = Sender("bench", self.watch.getsockname(), elapsed=lambda: self.now)
        self.feed = LineFeed(LineReader(PATTERN, lambda: 0), self.sender, elapsed=lambda: self.now)

    def asked(self) -> list[str]:
        """The ids of the events that came and ask for a receipt; each is answered by ``answer`` when told."""
        found: list[str] = []
        while True:
            try:
                datagram, self.peer = self.watch.recvfrom(10_000)
            except BlockingIOError:
                return found
            value: Any = json.loads(datagram)
            found += [event["id"] for event in (value if isinstance(value, list) else [value]) if event.get("ack")]

    def answer(self, of: str) -> None:
        receipt = {"v": 1, "kind": "receipt", "source": "bench", "of": of, "status": "stored"}
        self.watch.sendto(json.dumps(receipt).encode(), self.peer)
        self.feed.pump()


@pytest.fixture
def bench() -> Iterator[Bench]:
    bench = Bench()
    yield bench
    bench.sender.close()
    bench.watch.close()


def test_the_last_line_of_a_batch_asks_for_all(bench: Bench) -> None:
    bench.feed.feed([LINE] * 3)
    assert bench.asked() == [f"{bench.sender.run}-3"]
    assert not bench.feed.confirmed
    bench.answer(f"{bench.sender.run}-3")
    assert bench.feed.confirmed


def test_who_does_not_answer_is_left_alone_for_a_while(bench: Bench) -> None:
    bench.feed.feed([LINE])
    assert len(bench.asked()) == 1
    bench.now += RECEIPT_WAIT_S
    bench.feed.pump()
    assert bench.sender.pending() == []
    assert not bench.feed.confirmed
    bench.asked()  # what was repeated meanwhile
    bench.feed.feed([LINE])
    assert bench.asked() == []
    bench.now += ASK_AGAIN_S
    bench.feed.feed([LINE])
    (asked,) = bench.asked()
    bench.answer(asked)
    assert bench.feed.confirmed


def test_nothing_is_waited_for_before_a_window_is_full(bench: Bench) -> None:
    # with a clock that stands still, waiting would never end
    bench.feed.feed([LINE] * (WINDOW - 1))
    assert bench.feed.sent == WINDOW - 1


def test_lines_that_say_nothing_send_nothing(bench: Bench) -> None:
    bench.feed.feed([b"", b"# remark", b"nonsense"])
    assert bench.asked() == []
    assert (bench.feed.lines, bench.feed.skipped, bench.feed.unmatched, bench.feed.sent) == (3, 2, 1, 0)
    assert not bench.feed.confirmed
