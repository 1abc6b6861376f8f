"""Our own exchanges: how far each has come, and what it still lacks."""

from __future__ import annotations

import msgspec

from ..radio.message import Reading
from ..radio.reading import Part

#: partners whose exchange with us is remembered
MAX_PARTNERS = 500
#: after this much silence a station that calls again begins a new exchange
STALE_MS = 10 * 60_000
#: this soon after its contact was logged, a station that repeats itself has not copied our last word
REPEATS_MS = 2 * 60_000

REPORT_TO_THEM = "our report to them"
REPORT_FROM_THEM = "their report to us"
ROGER_FROM_THEM = "their roger"
ROGER_TO_THEM = "our roger"

#: digits of the RS(T) report that begins a contest exchange: ``579 MA``, and ``57`` with the serial number ``0007`` in
#: ``570007 JO22DB`` (QEX July/August 2020, "The FT4 and FT8 Communication Protocols", Table 1, types 3 and 5)
_REPORT_DIGITS: dict[str, int] = {"report_and_region": 3, "serial_and_locator": 2}


class WithUs(msgspec.Struct, eq=False):
    """How far one station's exchange with us has come. Reports are text, as a log keeps them.

    A contest exchange stands without its report: ``MA`` of ``579 MA``. Field days exchange no report at all.
    """

    call: str
    first_ms: int
    last_ms: int
    our_report: str | None = None
    their_report: str | None = None
    our_exchange: str | None = None
    their_exchange: str | None = None
    our_roger: bool = False
    their_roger: bool = False
    logged_ms: int | None = None
    completed_ms: int | None = None  # start of the period in which nothing more was lacking
    offered: bool = False  # the operator was told that it looks complete
    offset_hz: float | None = None
    dial_hz: int | None = None
    mode: str | None = None
    band: str | None = None

    @property
    def we_told(self) -> str | None:
        """Our report, our contest exchange, or both; None before either."""
        return _joined(self.our_report, self.our_exchange)

    @property
    def they_told(self) -> str | None:
        """Their report, their contest exchange, or both; None before either."""
        return _joined(self.their_report, self.their_exchange)

    @property
    def lacks(self) -> tuple[str, ...]:
        """What is missing until both sides have report and roger, in the order in which it comes."""
        if self.logged_ms is not None:
            return ()
        missing = []
        if self.we_told is None:
            missing.append(REPORT_TO_THEM)
        if self.they_told is None:
            missing.append(REPORT_FROM_THEM)
        if not self.their_roger:
            missing.append(ROGER_FROM_THEM)
        if not self.our_roger:
            missing.append(ROGER_TO_THEM)
        return tuple(missing)

    @property
    def complete(self) -> bool:
        """Both reports, or contest exchanges, and both rogers have passed, or the contact is in the log."""
        return not self.lacks

    @property
    def wanted(self) -> bool:
        """Whether it is worth anything to answer."""
        return not self.complete


class WithUsBook:
    """The exchanges, the newest last."""

    def __init__(self) -> None:
        self._book: dict[str, WithUs] = {}

    def get(self, call: str) -> WithUs | None:
        """The exchange of ``call`` with us, or None."""
        return self._book.get(call)

    def they_said(self, call: str, said: Part, reading: Reading, period_ms: int) -> WithUs:
        """Enter what a station told us; a complete exchange that begins again is a new one."""
        ours = self._entry(call, period_ms)
        if ours.complete and self._begins_anew(ours, said, period_ms):
            ours = self._book[call] = WithUs(call, period_ms, period_ms)
        if said.step in ("report", "roger_report"):
            report, exchange = _told(said, reading)
            ours.their_report = report or ours.their_report
            ours.their_exchange = exchange or ours.their_exchange
            if ours.complete and ours.logged_ms is None:
                ours.our_roger = False  # they repeat themselves: our last word was not copied
        if said.step in ("roger_report", "roger", "roger_farewell"):
            ours.their_roger = True
        if said.step == "farewell" and ours.we_told is not None and ours.they_told is not None:
            ours.their_roger = True
        return _noted(ours, period_ms)

    @staticmethod
    def _begins_anew(ours: WithUs, said: Part, period_ms: int) -> bool:
        if ours.logged_ms is not None:
            return said.step in ("answering", "report") and period_ms >= ours.logged_ms + REPEATS_MS
        return said.step == "answering"

    def we_said(self, call: str, said: Part, reading: Reading, period_ms: int) -> WithUs:
        """Enter what we told a station."""
        ours = self._entry(call, period_ms)
        if said.step in ("report", "roger_report"):
            report, exchange = _told(said, reading)
            ours.our_report = report or ours.our_report
            ours.our_exchange = exchange or ours.our_exchange
        if said.step in ("roger_report", "roger", "roger_farewell"):
            ours.our_roger = True
        if said.step == "farewell" and ours.we_told is not None and ours.they_told is not None:
            ours.our_roger = True
        return _noted(ours, period_ms)

    def logged(self, call: str, at_ms: int) -> None:
        """The contact is in the log."""
        ours = self._book.get(call)
        if ours is not None:
            ours.logged_ms = at_ms

    def unannounced(self, until_ms: int) -> list[WithUs]:
        """Those that were complete by ``until_ms``, that no source has announced, and that were not offered yet."""
        return [
            ours
            for ours in self._book.values()
            if not ours.offered
            and ours.logged_ms is None
            and ours.completed_ms is not None
            and ours.completed_ms <= until_ms
        ]

    def offered(self) -> list[WithUs]:
        """Those that were offered and are still neither logged nor taken up again."""
        return [ours for ours in self._book.values() if ours.offered and ours.logged_ms is None and ours.complete]

    def _entry(self, call: str, period_ms: int) -> WithUs:
        ours = self._book.pop(call, None)
        if ours is None or ours.last_ms < period_ms - STALE_MS:
            ours = WithUs(call, period_ms, period_ms)
        self._book[call] = ours
        ours.last_ms = max(ours.last_ms, period_ms)
        if len(self._book) > MAX_PARTNERS:
            del self._book[next(iter(self._book))]
        return ours


def _noted(ours: WithUs, period_ms: int) -> WithUs:
    """Note when it became complete; a repeated report opens it again."""
    if not ours.complete:
        ours.completed_ms = None
        ours.offered = False
    elif ours.completed_ms is None:
        ours.completed_ms = period_ms
    return ours


def _told(part: Part, reading: Reading) -> tuple[str | None, str | None]:
    """Take the report, as a log keeps it (``-08``, or RS(T)), and the rest of a contest exchange out of a message."""
    if part.report_db is not None:
        return f"{part.report_db:+03d}", None
    if reading.exchange is None:
        return None, None
    digits = _REPORT_DIGITS.get(reading.type, 0)
    return reading.exchange[:digits] or None, reading.exchange[digits:].strip() or None


def _joined(report: str | None, exchange: str | None) -> str | None:
    return " ".join(part for part in (report, exchange) if part is not None) or None
