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


class WithUs(msgspec.Struct, eq=False):
    """How far one station's exchange with us has come. Reports are text, as a log keeps them."""

    call: str
    first_ms: int
    last_ms: int
    our_report: str | None = None
    their_report: str | None = None
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
    def lacks(self) -> tuple[str, ...]:
        """What is missing until both sides have report and roger, in the order in which it comes."""
        if self.logged_ms is not None:
            return ()
        missing = []
        if self.our_report is None:
            missing.append(REPORT_TO_THEM)
        if self.their_report is None:
            missing.append(REPORT_FROM_THEM)
        if not self.their_roger:
            missing.append(ROGER_FROM_THEM)
        if not self.our_roger:
            missing.append(ROGER_TO_THEM)
        return tuple(missing)

    @property
    def complete(self) -> bool:
        """Both reports and both rogers have passed, or the contact is in the log."""
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
            ours.their_report = _report_text(said, reading) or ours.their_report
            if ours.complete and ours.logged_ms is None:
                ours.our_roger = False  # they repeat themselves: our last word was not copied
        if said.step in ("roger_report", "roger", "roger_farewell"):
            ours.their_roger = True
        if said.step == "farewell" and ours.our_report is not None and ours.their_report is not None:
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
            ours.our_report = _report_text(said, reading) or ours.our_report
        if said.step in ("roger_report", "roger", "roger_farewell"):
            ours.our_roger = True
        if said.step == "farewell" and ours.our_report is not None and ours.their_report is not None:
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


def _report_text(part: Part, reading: Reading) -> str | None:
    """The report as a log keeps it: ``-08``, or the RS(T) report that begins a contest exchange."""
    if part.report_db is not None:
        return f"{part.report_db:+03d}"
    if reading.exchange is not None:
        first = reading.exchange.split()[0]
        return first[:3] if first[:2].isdigit() else None
    return None
