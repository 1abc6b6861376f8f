"""From lines to the watch: reads them by a pattern, sends them, and keeps account."""

from __future__ import annotations

import signal
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any

from ..schema.events import stamp
from ..sender import Sender
from .lines import LineEvent, LineReader, Skipped, Unread

#: unread lines shown with their reason; more would bury the first
MAX_EXAMPLES = 10
#: so many events go out before the watch must have confirmed the last of them
WINDOW = 256
#: a receipt that has not come by then does not come, and a line that old needs no repeating
RECEIPT_WAIT_S = 2.0
#: who did not answer is asked again after this time
ASK_AGAIN_S = 10.0
#: a regular expression that takes longer over one line is stopped
LINE_LIMIT_S = 0.25


class LineFeed:
    """Sends what lines say, never more than a window ahead of the watch, and without waiting once nobody answers."""

    def __init__(
        self, reader: LineReader, sender: Sender, *, live: bool = True, elapsed: Callable[[], float] = time.monotonic
    ) -> None:
        """``elapsed`` gives seconds that only ever grow."""
        self.lines = 0
        self.matched = 0
        self.skipped = 0
        self.sent = 0
        self.refused = 0
        self.examples: list[dict[str, Any]] = []
        self._reader = reader
        self._sender = sender
        self._envelope = {} if live else {"live": False}
        self._elapsed = elapsed
        self._ahead = 0  # events sent since the last receipt
        self._answers = True
        self._asked_s = elapsed()

    @property
    def unmatched(self) -> int:
        """Lines that could not be read."""
        return self.lines - self.matched - self.skipped

    @property
    def confirmed(self) -> bool:
        """Whether the watch has said that it has the last event that asked."""
        return self.sent > 0 and self._answers and not self._sender.pending()

    def feed(self, lines: Iterable[bytes]) -> None:
        """Read and send some lines, at most a window of them; they travel together as far as they fit."""
        events = [event for event in map(self._read, lines) if event is not None]
        asks = self._answers or self._elapsed() - self._asked_s >= ASK_AGAIN_S
        with self._sender.batch():
            for event in events:
                # the last one stands for all: datagrams on one way keep their order
                self._send(event, ack=asks and event is events[-1])
        if events and asks:
            self._asked_s = self._elapsed()
        self.pump(wait=self._answers and self._ahead >= WINDOW)

    def pump(self, *, wait: bool = False) -> None:
        """Take receipts, those that came while sending too; ``wait`` for what is pending as long as makes sense."""
        self._sender.pump(RECEIPT_WAIT_S if wait else 0.0)
        while self._sender.receipts:
            self._answers = True
            self._ahead = 0
            self.refused += self._sender.receipts.popleft()["status"] == "refused"
        if self._sender.pending() and self._elapsed() - self._asked_s >= RECEIPT_WAIT_S:
            self._answers = False
            for asked in self._sender.pending():
                self._sender.forget(asked)

    def summary(self) -> dict[str, Any]:
        """The account, as plain values."""
        return {
            "lines": self.lines,
            "matched": self.matched,
            "skipped": self.skipped,
            "unmatched": self.unmatched,
            "sent": self.sent,
            "refused": self.refused,
            "confirmed": self.confirmed,
            "examples": self.examples,
        }

    def _read(self, line: bytes) -> LineEvent | None:
        self.lines += 1
        try:
            with time_limit(LINE_LIMIT_S):
                outcome = self._reader.read(line)
        except TimeoutError:
            outcome = Unread(f"the pattern took longer than {LINE_LIMIT_S:g} s over it")
        if isinstance(outcome, LineEvent):
            self.matched += 1
            return outcome
        if isinstance(outcome, Skipped):
            self.skipped += 1
        elif len(self.examples) < MAX_EXAMPLES:
            self.examples.append(
                {"line": self.lines, "why": outcome.why, "text": line[:200].decode("utf-8", "replace")}
            )
        return None

    def _send(self, event: LineEvent, *, ack: bool) -> None:
        self._sender.send(event.kind, at=stamp(event.at_ms), ack=ack or None, **event.fields, **self._envelope)
        self.sent += 1
        self._ahead += 1


@contextmanager
def time_limit(seconds: float) -> Iterator[None]:
    """Raise TimeoutError in here after ``seconds``, even out of a regular expression. Main thread only."""

    def stop(*_: object) -> None:
        raise TimeoutError

    before = signal.signal(signal.SIGALRM, stop)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)
