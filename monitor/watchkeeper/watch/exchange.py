"""The exchange tracker: what each station does, from its own messages and its partner's.

An exchange runs: call to all, answer, report, report with roger, roger (with or without farewell), farewell. Stations
repeat, fall silent, change their minds and are answered by several at once, so nothing here expects the next step: each
message says by itself where its sender stands, and the partner's row follows where that is certain.
"""

from __future__ import annotations

from ..model import Doing, Hearing, OnAir, Period
from ..radio.message import Reading, matches_own
from ..radio.reading import Part
from .stations import Stations
from .with_us import WithUs, WithUsBook

#: by the step of a message that has a sender
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
_OPEN = frozenset({Doing.CALLING, Doing.FREE})
_BUSY = frozenset({Doing.ANSWERING, Doing.REPORTING, Doing.CLOSING})
#: who says one of these to others has time for nobody else: a farewell may end what came before
_BEGUN = frozenset({"calling", "answering", "report", "roger_report"})
#: of several messages of one station in one period, the one that says most of whether it takes calls
_RANK = {
    doing: rank
    for rank, doing in enumerate(
        (Doing.UNKNOWN, Doing.ANSWERING, Doing.CLOSING, Doing.REPORTING, Doing.FREE, Doing.CALLING)
    )
}

#: turns in which neither a busy station nor its partner was heard, though we listened: their exchange is over
VANISHED_TURNS = 3
#: turns in which a caller was silent though we listened: it has given up
CALLER_TURNS = 4
#: silence after which nothing is known of an exchange any more, heard or not
FORGOTTEN_MS = 4 * 60_000
#: who was heard to call a station is remembered for so many names
MAX_RIVALS = 6
#: a station that was called, but not for this long, is called anew
TRIES_KEPT_MS = 10 * 60_000


class ExchangeTracker:
    """Updates the rows of the stations on the air, and keeps the exchanges with us."""

    def __init__(self, stations: Stations) -> None:
        self._stations = stations
        self._ours = WithUsBook()

    def with_us(self, call: str) -> WithUs | None:
        """The exchange of ``call`` with us, or None."""
        return self._ours.get(call)

    @property
    def ours(self) -> WithUsBook:
        """All exchanges with us."""
        return self._ours

    # -- what others say ----------------------------------------------------------------------------------------------

    def heard(self, row: OnAir, hearing: Hearing, own_call: str | None) -> None:
        """Enter what the station of ``row`` said. Late hearings of an older period change nothing but the rivals."""
        reading = hearing.reading
        if hearing.period_ms >= row.last_ms:
            self._row_follows(row, hearing)
            self._turns_away(row, hearing)
        self._partner_follows(row, reading, hearing.period_ms)
        if own_call is None or not hearing.to_me:
            return
        for said in reading.all_parts:
            if matches_own(own_call, said.addressee):
                self._they_said(row, said, reading, hearing)

    def _row_follows(self, row: OnAir, hearing: Hearing) -> None:
        reading = hearing.reading
        # in the two-addressee form the second half is what the station goes on with
        part = reading.all_parts[-1]
        doing, partner = _DOING[part.step], part.addressee
        if _outranked(row, hearing, doing):
            return
        if (doing, partner) != (row.doing, row.partner):
            row.since_ms = hearing.period_ms
        row.doing, row.partner, row.missed = doing, partner, 0
        row.text, row.said_ms = reading.text, hearing.period_ms
        row.to_me = hearing.to_me
        # it tells two stations something at once: it works several, and takes further calls
        self._is_open(row, hearing.period_ms, doing in _OPEN or len(reading.all_parts) > 1)
        if doing is Doing.CALLING:
            row.calls_in_vain += row.called_ms != hearing.period_ms
            row.called_ms = hearing.period_ms
            row.directed_to = reading.directed_to
        else:
            row.calls_in_vain = 0
        row.leaving = doing is Doing.FREE and reading.step == "farewell" and row.called_ms is None

    @staticmethod
    def _is_open(row: OnAir, period_ms: int, is_open: bool) -> None:
        if not is_open:
            row.free_since_ms = None
        elif row.free_since_ms is None:
            row.free_since_ms = period_ms

    def _turns_away(self, row: OnAir, hearing: Hearing) -> None:
        """Who called us, and now calls all or has begun with another, waits for us no more."""
        if not row.calls_me or hearing.to_me:
            return
        ours = self._ours.get(row.call)
        if ours is not None and hearing.period_ms <= ours.last_ms:
            return  # it sends several messages at once, one of them to us
        if any(part.step in _BEGUN for part in hearing.reading.all_parts):
            row.calls_me, row.waited_since_ms = False, None

    def _partner_follows(self, row: OnAir, reading: Reading, period_ms: int) -> None:
        """What one side says tells of the other, above all when the other was not copied."""
        for part in reading.all_parts:
            partner = None if part.addressee is None else self._stations.get(part.addressee)
            if partner is None or partner is row:
                continue
            if part.step in ("answering", "report"):
                _add_rival(partner, row.call, period_ms)
            if period_ms <= partner.last_ms:
                continue  # its own message is as new: it says more, and while it sent it copied nothing
            if part.step == "roger_report" and partner.doing in _OPEN:
                # it acknowledges a report that we did not copy
                partner.doing, partner.partner, partner.since_ms = Doing.REPORTING, row.call, period_ms
                self._is_open(partner, period_ms, False)
            elif partner.partner != row.call or partner.doing not in _BUSY:
                continue
            elif part.step == "farewell":
                partner.doing, partner.since_ms = Doing.FREE, period_ms
                self._is_open(partner, period_ms, True)
            elif part.step in ("roger", "roger_farewell") and partner.doing is not Doing.CLOSING:
                partner.doing, partner.since_ms = Doing.CLOSING, period_ms

    # -- exchanges with us --------------------------------------------------------------------------------------------

    def _they_said(self, row: OnAir, said: Part, reading: Reading, hearing: Hearing) -> None:
        if not hearing.credibility.credible and row.tries == 0:
            return  # a phantom of our own call is no caller; an answer to our call may be weak
        begins = said.step in ("answering", "report")
        ours = self._ours.they_said(row.call, said, reading, hearing.period_ms)
        ours.offset_hz, ours.dial_hz = hearing.offset_hz, hearing.dial_hz
        ours.mode, ours.band = hearing.mode, hearing.band
        row.tries = 0
        row.lacks = ours.lacks
        if hearing.period_ms < row.last_ms:
            return
        row.calls_me = ours.wanted and (begins or said.step == "roger_report")
        if row.calls_me and row.waited_since_ms is None:
            row.waited_since_ms = hearing.period_ms

    def sent(self, reading: Reading, period_ms: int) -> None:
        """Enter one own transmission."""
        for part in reading.all_parts:
            if part.addressee is None:
                continue
            ours = self._ours.we_said(part.addressee, part, reading, period_ms)
            row = self._stations.get(part.addressee)
            if row is None:
                continue
            row.waited_since_ms = None
            row.lacks = ours.lacks
            row.calls_me = row.calls_me and ours.wanted
            if part.step in ("answering", "report"):
                row.tries += 1
                row.tried_ms = period_ms

    def logged(self, call: str, at_ms: int) -> None:
        """The contact with ``call`` is in the log: nothing is wanted any more."""
        self._ours.logged(call, at_ms)
        row = self._stations.get(call)
        if row is not None:
            row.calls_me = False
            row.waited_since_ms = None
            row.lacks = ()

    # -- silence ------------------------------------------------------------------------------------------------------

    def closed(self, period: Period, now_ms: int) -> None:
        """A period is over: who was silent in it though it was its turn, and whose exchange has come to nothing."""
        listened = not period.sent and (period.listened_s is None or period.listened_s >= period.length_ms / 2000)
        for row in self._stations.newest_first():
            here = row.mode == period.mode and row.band == period.band
            if here and listened and row.parity == period.parity and row.last_ms < period.start_ms:
                row.missed += 1
            if row.calls_me or row.tried_ms is not None or row.rivals:
                self._forget_callers(row, now_ms)  # also on a band that was left: no period closes there
            if not here:
                continue
            # not before a station was silent for a while: nearly all were heard just now
            if row.doing in _BUSY and (row.missed >= VANISHED_TURNS or now_ms - row.last_ms > FORGOTTEN_MS):
                self._settle(row, now_ms)

    @staticmethod
    def _forget_callers(row: OnAir, now_ms: int) -> None:
        """Who called it, or was called by it, too long ago."""
        if row.calls_me and (row.missed >= CALLER_TURNS or now_ms - row.last_ms > FORGOTTEN_MS):
            row.calls_me, row.waited_since_ms = False, None
        if row.tried_ms is not None and now_ms - row.tried_ms > TRIES_KEPT_MS:
            row.tries, row.tried_ms = 0, None
        if row.rivals and row.rivals[0][1] < now_ms - FORGOTTEN_MS:
            row.rivals = tuple([rival for rival in row.rivals if rival[1] >= now_ms - FORGOTTEN_MS])

    def _settle(self, row: OnAir, now_ms: int) -> None:
        """A busy station was silent: its exchange has come to nothing where its partner was silent too."""
        partner = self._stations.get(row.partner or "")
        spoke_ms = partner.last_ms if partner is not None and partner.partner == row.call else 0
        silent_ms = now_ms - max(row.last_ms, spoke_ms)
        if (row.missed >= VANISHED_TURNS and silent_ms > 60_000) or silent_ms > FORGOTTEN_MS:
            row.doing, row.since_ms = Doing.FREE, now_ms
            self._is_open(row, now_ms, True)


def _outranked(row: OnAir, hearing: Hearing, doing: Doing) -> bool:
    """Whether another message of the same period says more: whatever their order, the same one stands."""
    if row.said_ms != hearing.period_ms or row.text == hearing.text:
        return False
    mine = (hearing.to_me, _RANK[doing], hearing.text)
    return mine < (row.to_me, _RANK[row.doing], row.text)


def _add_rival(row: OnAir, call: str, period_ms: int) -> None:
    others = [rival for rival in row.rivals if rival[0] != call]
    row.rivals = tuple([*others, (call, period_ms)][-MAX_RIVALS:])
    row.calls_in_vain = 0
