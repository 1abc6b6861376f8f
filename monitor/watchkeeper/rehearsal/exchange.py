"""One exchange between two stations, seen from one side: what was heard, what is to be said, how often it was said."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from watchkeeper.rehearsal.words import CONTEST_REPLY, REPLY, Line, Say, report_text

if TYPE_CHECKING:
    from watchkeeper.rehearsal.station import Station

_LAST_WORDS = (Say.ROGER_FAREWELL, Say.FAREWELL)


@dataclass(slots=True, eq=False)
class Exchange:
    """What one station holds of its exchange with ``call``.

    ``partner`` is None where nobody has that call (a phantom was called). ``due``: something is to be said in the next
    period; what is not acknowledged stays due. ``complete``: this side has all it needs.
    """

    call: str
    partner: Station | None
    say: Say
    started_ms: int
    contest: bool = False
    due: bool = True
    tries: int = 0
    complete: bool = False
    over: bool = False
    logged: bool = False
    report_sent_db: int | None = None
    report_received: str | None = None
    locator: str | None = None
    fade_db: float = 0.0

    def heard(self, line: Line, snr_db: int) -> None:
        """Take in what the partner said, received at ``snr_db``."""
        if line.say is Say.ANSWER or line.say is Say.ROGER_LOCATOR:
            self.locator = line.locator
        if line.say in (Say.REPORT, Say.ROGER_REPORT):
            self.report_received = report_text(line.report_db)
        if line.say in _LAST_WORDS:
            self.complete = True
        # a contest does without the last 73
        if line.say is Say.FAREWELL or (self.contest and line.say is Say.ROGER_FAREWELL):
            self.due, self.over = False, True
            return
        reply = (CONTEST_REPLY if self.contest else REPLY).get(line.say)
        if reply is None:
            return
        if reply is not self.say:
            self.say, self.tries = reply, 0
        if self.report_sent_db is None and reply in (Say.REPORT, Say.ROGER_REPORT):
            self.report_sent_db = snr_db
        self.due = True

    def said(self) -> None:
        """Take note that ``say`` went out: a farewell is said once, and again only when the partner repeats itself."""
        self.tries += 1
        if self.say in _LAST_WORDS:
            self.complete, self.due = True, False

    def line(self, sender: Station, report_db: int = 0) -> Line:
        """Return the message that is due, sent by ``sender``."""
        report = self.report_sent_db if self.report_sent_db is not None else report_db
        return Line(self.say, sender.call, sender.locator, self.call, report)
