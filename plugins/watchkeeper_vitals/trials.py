"""The operator's matching trials: a short carrier at low power, its SWR read, then the next one, better or worse."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from typing import NamedTuple

_MOST = 20
#: a smaller change of the SWR is no change
_STEP = 0.1
#: a carrier of less than this share of the usual power is a trial even before the first message
_LOW_POWER = 0.6
#: clocks of gauges and decoder may be so far apart
_SLACK_MS = 1_000


class Trial(NamedTuple):
    """One short carrier: its best reading, and how it compares with the one before."""

    number: int
    swr: float
    forward_w: float | None
    word: str


class _Carrier:
    """A carrier that is not known to belong to a message."""

    def __init__(self, at_ms: int) -> None:
        self.at_ms = at_ms
        self.readings: list[tuple[float, float | None]] = []


class Trials:
    """Numbers the trials. A transmission may be told before or after its readings: then it was none."""

    def __init__(self) -> None:
        self._done: deque[tuple[_Carrier, Trial]] = deque(maxlen=_MOST)
        self._carrier: _Carrier | None = None
        self._message = False
        self._message_until_ms = 0
        self._tells_messages = False
        self._count = 0

    def sent(self, at_ms: int, length_ms: int) -> Sequence[float]:
        """A message went out then. Returns the SWR readings that were taken for a trial's until now, oldest first."""
        self._message = self._tells_messages = True
        self._message_until_ms = at_ms + length_ms
        wrongly: list[float] = []
        while self._done and self._belongs(self._done[-1][0], at_ms):
            carrier, _ = self._done.pop()
            self._count -= 1
            wrongly = [swr for swr, _ in carrier.readings] + wrongly
        if self._carrier is not None and self._belongs(self._carrier, at_ms):
            wrongly += [swr for swr, _ in self._carrier.readings]
            self._carrier = None
        return wrongly

    def _belongs(self, carrier: _Carrier, at_ms: int) -> bool:
        return at_ms - _SLACK_MS <= carrier.at_ms <= self._message_until_ms + _SLACK_MS

    def read(self, at_ms: int, swr: float, forward_w: float | None, usual_w: float | None) -> bool:
        """Take in a reading while sending; whether it counts as a trial's, so that it hails nothing."""
        if self._message or at_ms <= self._message_until_ms:
            return False
        if self._carrier is None:
            self._carrier = _Carrier(at_ms)
        self._carrier.readings.append((swr, forward_w))
        del self._carrier.readings[:-_MOST]
        low_power = forward_w is not None and usual_w is not None and forward_w < _LOW_POWER * usual_w
        return self._tells_messages or low_power

    def carrier_off(self) -> None:
        """The carrier went off: number the trial and compare it with the one before."""
        self._message = False
        carrier, self._carrier = self._carrier, None
        if carrier is None:
            return
        swr, forward_w = min(carrier.readings, key=lambda reading: reading[0])
        self._count += 1
        word = "first"
        if self._done:
            before = self._done[-1][1].swr
            word = "better" if swr < before - _STEP else "worse" if swr > before + _STEP else "the same"
        self._done.append((carrier, Trial(self._count, swr, forward_w, word)))

    @property
    def all(self) -> tuple[Trial, ...]:
        """The last trials, oldest first."""
        return tuple(trial for _, trial in self._done)

    @property
    def best(self) -> Trial | None:
        """The trial with the lowest SWR, the first of equals."""
        return min(self.all, key=lambda trial: (trial.swr, trial.number), default=None)
