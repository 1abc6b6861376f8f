"""The exchange tracker: what each station does, from its own messages and its partner's.

An exchange runs: call to all, answer, report, report with roger, roger (with or without farewell), farewell. Stations
repeat, fall silent, change their minds and are answered by several at once, so nothing here expects the next step: each
message says by itself where its sender stands, and the partner's row follows where that is certain.
"""

from __future__ import annotations

import msgspec

from ..model import Doing, Hearing, OnAir
from ..radio.message import Reading, matches_own
from ..radio.reading import Part
from .stations import Stations

_DOING: dict[str | None, Doing] = {
    "calling": Doing.CALLING,
    "answering": Doing.ANSWERING,
    "report": Doing.REPORTING,
    "roger_report": Doing.REPORTING,
    "roger": Doing.CLOSING,
    # whoever says goodbye is free from then on, unless the partner's repeat brings it back
    "roger_farewell": Doing.FREE,
    "farewell": Doing.FREE,
}

#: partners whose exchange with us is remembered
MAX_PARTNERS = 500
#: after this much silence a station that calls again begins a new exchange
STALE_MS = 10 * 60_000

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
    offset_hz: float | None = None
    dial_hz: int | None = None
    mode: str | None = None
    band: str | None = None

    @property
    def lacks(self) -> tuple[str, ...]:
        """What is missing until both sides have report and roger, in the order in which it comes."""
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
        """Both reports and both rogers have passed."""
        return not self.lacks


class ExchangeTracker:
    """Updates the rows of the stations on the air, and keeps the exchanges with us."""

    def __init__(self, stations: Stations) -> None:
        self._stations = stations
        self._with_us: dict[str, WithUs] = {}

    def with_us(self, call: str) -> WithUs | None:
        """The exchange of ``call`` with us, or None."""
        return self._with_us.get(call)

    def heard(self, row: OnAir, hearing: Hearing, own_call: str | None) -> None:
        """Enter what the station of ``row`` said. Late hearings of an older period change nothing."""
        if hearing.period_ms < row.last_ms:
            return
        reading = hearing.reading
        # in the two-addressee form the second half is what the station goes on with
        part = reading.all_parts[-1] if reading.all_parts else None
        doing = _DOING.get(reading.step if part is None else part.step, Doing.UNKNOWN)
        partner = None if part is None else part.addressee
        if (doing, partner) != (row.doing, row.partner):
            row.since_ms = hearing.period_ms
        row.doing, row.partner = doing, partner
        row.directed_to = reading.directed_to
        row.text = reading.text
        row.to_me = hearing.to_me
        self._partner_follows(row.call, reading, hearing.period_ms)
        if hearing.to_me and own_call is not None:
            for said in reading.all_parts:
                if matches_own(own_call, said.addressee):
                    self._they_said(row, said, reading, hearing)

    def _partner_follows(self, call: str, reading: Reading, period_ms: int) -> None:
        """A station whose partner says goodbye has nothing left to wait for."""
        for part in reading.all_parts:
            if part.step != "farewell" or part.addressee is None:
                continue
            partner = self._stations.get(part.addressee)
            if partner is not None and partner.partner == call and partner.doing is Doing.CLOSING:
                partner.doing, partner.since_ms = Doing.FREE, period_ms

    def _they_said(self, row: OnAir, said: Part, reading: Reading, hearing: Hearing) -> None:
        ours = self._exchange(row.call, hearing.period_ms)
        ours.offset_hz, ours.dial_hz = hearing.offset_hz, hearing.dial_hz
        ours.mode, ours.band = hearing.mode, hearing.band
        if said.step in ("report", "roger_report"):
            ours.their_report = _report_text(said, reading) or ours.their_report
        if said.step in ("roger_report", "roger", "roger_farewell"):
            ours.their_roger = True
        if said.step == "farewell" and ours.our_report is not None and ours.their_report is not None:
            ours.their_roger = True
        if said.step == "answering" and ours.complete:
            self._with_us[row.call] = ours = WithUs(row.call, hearing.period_ms, hearing.period_ms)
        row.lacks = ours.lacks
        if row.waited_since_ms is None and not ours.complete:
            row.waited_since_ms = hearing.period_ms

    def sent(self, reading: Reading, period_ms: int) -> None:
        """Enter one own transmission."""
        for part in reading.all_parts:
            if part.addressee is None:
                continue
            ours = self._exchange(part.addressee, period_ms)
            if part.step in ("report", "roger_report"):
                ours.our_report = _report_text(part, reading) or ours.our_report
            if part.step in ("roger_report", "roger", "roger_farewell"):
                ours.our_roger = True
            if part.step == "farewell" and ours.our_report is not None and ours.their_report is not None:
                ours.our_roger = True
            row = self._stations.get(part.addressee)
            if row is not None:
                row.waited_since_ms = None
                row.lacks = ours.lacks

    def _exchange(self, call: str, period_ms: int) -> WithUs:
        ours = self._with_us.pop(call, None)
        if ours is None or ours.last_ms < period_ms - STALE_MS:
            ours = WithUs(call, period_ms, period_ms)
        self._with_us[call] = ours  # newest last
        ours.last_ms = max(ours.last_ms, period_ms)
        if len(self._with_us) > MAX_PARTNERS:
            del self._with_us[next(iter(self._with_us))]
        return ours


def _report_text(part: Part, reading: Reading) -> str | None:
    """The report as a log keeps it: ``-08``, or the RS(T) report that begins a contest exchange."""
    if part.report_db is not None:
        return f"{part.report_db:+03d}"
    if reading.exchange is not None:
        first = reading.exchange.split()[0]
        return first[:3] if first[:2].isdigit() else None
    return None
