"""The operator of the own station: whom to call, what to say next, when to give up, what to log.

Reads only what the own decoder shows and, when following advice, what the watch's lookout panel says: never the truth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from watchkeeper.radio.message import read
from watchkeeper.radio.reading import Step
from watchkeeper.rehearsal import rng
from watchkeeper.rehearsal.air import Air, Transmission
from watchkeeper.rehearsal.exchange import Exchange
from watchkeeper.rehearsal.lookout import Advice
from watchkeeper.rehearsal.receiver import Copy
from watchkeeper.rehearsal.scenario import Own
from watchkeeper.rehearsal.station import clear_offset
from watchkeeper.rehearsal.words import Line, Say

_SAYS: dict[Step, Say] = {
    "calling": Say.CALL,
    "answering": Say.ANSWER,
    "report": Say.REPORT,
    "roger_report": Say.ROGER_REPORT,
    "roger": Say.ROGER_FAREWELL,
    "roger_farewell": Say.ROGER_FAREWELL,
    "farewell": Say.FAREWELL,
}
#: what one says that is in the midst of an exchange
_BUSY = frozenset[Step]({"answering", "report", "roger_report"})
#: a caller that was not answered is remembered this long
_CALLERS_KEPT_MS = 120_000
#: advice that changes is followed after this many calls in vain
_FAIR_TRIES = 2
#: after so many periods without anybody to call, a hunting operator calls by itself for a while
_IDLE_BEFORE_CALLING = 4
_CALLS_IN_A_ROW = 6


class Policy(StrEnum):
    """Whom the operator calls."""

    ADVICE = "advice"
    STRONGEST = "strongest"
    RANDOM = "random"


@dataclass(frozen=True, slots=True)
class Call:
    """One station that could be called, as heard."""

    call: str
    say: Say
    to_own: bool
    line: Line
    snr_db: int
    offset_hz: float
    parity: int
    at_ms: int


@dataclass(frozen=True, slots=True)
class Logged:
    """One contact for the log."""

    call: str
    started_ms: int
    ended_ms: int
    exchange: Exchange


class Operator:
    """Plays the own station on one band at a time."""

    def __init__(self, seed: int, policy: Policy, own: Own, air: Air, *, contest: bool) -> None:
        self.air = air
        self.parity = 0
        self.offset_hz = 1500.0
        self.active: Exchange | None = None
        self.to_log: list[Logged] = []
        self.worked: set[str] = set()
        self._policy = policy
        self._own = own
        self._contest = contest
        self._random = rng.stream(seed, "operator")
        self._recent: list[Exchange] = []
        self._callers: dict[str, Call] = {}
        self._idle = 0
        self._calls_left = 0

    @property
    def calling(self) -> str | None:
        """Whom it calls or works."""
        return self.active.call if self.active else None

    def move(self, air: Air, *, contest: bool) -> None:
        """Change to another band: what was going on is left."""
        self.air, self._contest = air, contest
        self.active = None
        self._recent.clear()
        self._callers.clear()
        self.worked.clear()

    def transmission(self, at_ms: int) -> Transmission | None:
        """Return what the own station sends in the period that begins at ``at_ms``, or None when it listens."""
        if self.air.parity(at_ms) != self.parity:
            return None
        own = self.air.own
        if self.active is not None:
            line = self.active.line(own)
            self.active.said()
            sent = Transmission(own, line, self.offset_hz, (self.active,))
            if not self.active.due:
                self._finish(self.active, at_ms)
            return sent
        if self._own.style == "run" or self._calls_left > 0:
            self._calls_left = max(0, self._calls_left - 1)
            word = "TEST" if self._contest else None
            return Transmission(own, Line(Say.CALL, own.call, own.locator, word=word), self.offset_hz)
        return None

    def learn(self, at_ms: int, copies: Sequence[Copy], advice: Sequence[Advice]) -> None:
        """Take in a period that was listened to, and decide on the next one."""
        heard = [call for call in (self._heard(copy, at_ms) for copy in copies) if call is not None]
        self._advance(heard, at_ms)
        for call in heard:
            if call.to_own and call.say in (Say.ANSWER, Say.REPORT) and call.call != self.calling:
                self._callers[call.call] = call
        self._callers = {
            name: call for name, call in self._callers.items()
            if at_ms - call.at_ms <= _CALLERS_KEPT_MS and name not in self.worked
        }  # fmt: skip
        self._give_up(at_ms, advice)
        self._make_way(copies)
        if self.active is None:
            self._choose(heard, advice, at_ms)

    def _heard(self, copy: Copy, at_ms: int) -> Call | None:
        reading = read(copy.text)
        to_own = reading.addressee == self._own.call
        if reading.sender is None or reading.step not in _SAYS or not (to_own or reading.is_call_to_all):
            return None
        line = Line(
            _SAYS[reading.step], reading.sender, reading.locator or "", reading.addressee, reading.report_db or 0,
            reading.directed_to,
        )  # fmt: skip
        if self._contest and reading.step == "roger_report" and reading.locator:
            line = Line(Say.ROGER_LOCATOR, reading.sender, reading.locator, reading.addressee)
        return Call(reading.sender, line.say, to_own, line, copy.snr_db, copy.offset_hz, self.air.parity(at_ms), at_ms)

    def _advance(self, heard: Sequence[Call], at_ms: int) -> None:
        """Carry on the present exchange, or an earlier one whose partner did not copy the end."""
        for call in heard:
            if not call.to_own:
                continue
            if self.active is not None and call.call == self.active.call:
                self.active.heard(call.line, call.snr_db)
                if not self.active.due:
                    self._finish(self.active, at_ms)
            elif self.active is None or self.active.say in (Say.ANSWER, Say.REPORT):
                self._come_back(call)

    def _come_back(self, call: Call) -> None:
        for exchange in self._recent:
            if exchange.call == call.call and call.say in (Say.ROGER_REPORT, Say.ROGER_LOCATOR, Say.ROGER_FAREWELL):
                if exchange.tries <= self._own.patience:
                    exchange.heard(call.line, call.snr_db)
                    if exchange.due and self.active is None:
                        self.active = exchange
                return

    def _finish(self, exchange: Exchange, at_ms: int) -> None:
        """Log a complete exchange, once, and keep it in mind for a partner that repeats itself."""
        if exchange.complete and not exchange.logged:
            exchange.logged = True
            self.worked.add(exchange.call)
            self.to_log.append(Logged(exchange.call, exchange.started_ms, at_ms, exchange))
        if exchange not in self._recent:
            self._recent = [*self._recent, exchange][-4:]
        self.active = None

    def _give_up(self, at_ms: int, advice: Sequence[Advice]) -> None:
        active = self.active
        if active is None:
            return
        if active.tries >= self._own.patience:
            if active.complete:
                self._finish(active, at_ms)
            self.active = None
        elif active.say is Say.ANSWER and active.tries >= _FAIR_TRIES and self._beaten(active, advice):
            self.active = None

    def _make_way(self, copies: Sequence[Copy]) -> None:
        """Call nobody who is heard to have taken another: that takes a minute, and others are free."""
        active = self.active
        if active is None or active.say is not Say.ANSWER or active.tries == 0:
            return
        for copy in copies:
            reading = read(copy.text)
            if reading.sender == active.call and reading.step in _BUSY and reading.addressee != self._own.call:
                self.active = None
                return

    def _beaten(self, active: Exchange, advice: Sequence[Advice]) -> bool:
        """Whether somebody else is advised by now."""
        return self._policy is Policy.ADVICE and bool(advice) and advice[0].get("call") != active.call

    def _choose(self, heard: Sequence[Call], advice: Sequence[Advice], at_ms: int) -> None:
        chosen = self._caller(advice) or self._called(heard, advice, at_ms)
        if chosen is None:
            self._wait(heard)
            return
        self._idle = self._calls_left = 0
        partner = self.air.find(chosen.call)
        self.active = Exchange(chosen.call, partner, Say.ANSWER, at_ms, self._contest)
        self.active.locator = chosen.line.locator or None
        if chosen.to_own:
            self._callers.pop(chosen.call, None)
            self.active.say = Say.CALL
            self.active.heard(chosen.line, chosen.snr_db)
        else:
            self._clear_offset(heard)
        self.parity = 1 - chosen.parity

    def _caller(self, advice: Sequence[Advice]) -> Call | None:
        """Return whom of the callers to answer: the one the advice puts first, else the strongest."""
        if not self._callers:
            return None
        if self._policy is Policy.ADVICE:
            for row in advice:
                found = self._callers.get(str(row["call"]))
                if found is not None:
                    return found
        return max(self._callers.values(), key=lambda call: (call.snr_db, call.call))

    def _called(self, heard: Sequence[Call], advice: Sequence[Advice], at_ms: int) -> Call | None:
        """Return whom to call."""
        if self._own.style == "run" and self._policy is not Policy.ADVICE:
            return None
        if self._policy is Policy.ADVICE:
            return self._advised(heard, advice, at_ms)
        calls = [call for call in heard if call.say is Say.CALL and not call.to_own]
        if self._policy is Policy.RANDOM:
            return self._random.choice(calls) if calls else None
        fresh = [call for call in calls if call.call not in self.worked]
        return max(fresh, key=lambda call: (call.snr_db, call.call), default=None)

    def _advised(self, heard: Sequence[Call], advice: Sequence[Advice], at_ms: int) -> Call | None:
        if not advice:
            return None
        row = advice[0]
        name = str(row["call"])
        known = next((call for call in heard if call.call == name), None)
        if known is not None:
            return known
        parity, offset_hz, snr_db = row.get("parity"), row.get("offset_hz"), row.get("snr_db")
        return Call(
            name,
            Say.CALL,
            to_own=False,
            line=Line(Say.CALL, name, ""),
            snr_db=round(snr_db) if isinstance(snr_db, int | float) else 0,
            offset_hz=float(offset_hz) if isinstance(offset_hz, int | float) else 1500.0,
            parity=parity if parity in (0, 1) else self.air.parity(at_ms),
            at_ms=at_ms,
        )

    def _wait(self, heard: Sequence[Call]) -> None:
        if self._own.style == "run":
            return
        self._idle += 1
        if self._idle >= _IDLE_BEFORE_CALLING and self._calls_left == 0:
            self._idle = 0
            self._calls_left = _CALLS_IN_A_ROW
            self._clear_offset(heard)

    def _clear_offset(self, heard: Sequence[Call]) -> None:
        taken = sorted(call.offset_hz for call in heard)
        self.offset_hz = clear_offset(self._random, taken, self.air.mode.bandwidth_hz)
