"""Where to send: the offsets that were clear in the last periods of our parity that we listened to.

While one sends, one hears nothing of one's own parity, so every answer has an age. Clear here is not clear there: who
calls us may hear stations that we do not.
"""

from __future__ import annotations

from collections import OrderedDict, deque
from itertools import accumulate
from math import ceil, floor, inf
from typing import NamedTuple

from watchkeeper.api import Period, Tuning
from watchkeeper.radio.mode import timed

#: periods of a parity that are looked back on, and what each further one back counts
_KEPT = 6
_FADES = 0.7
MOST_STREAMS = 64
#: the customary offset: above it audio harmonics fall outside the transmit filter, below it they may not (common
#: practice, no source)
CUSTOMARY_HZ = 1500
#: where nobody told how wide the filter is (common practice, no source)
_LOW_HZ, _HIGH_HZ = 300, 2700
_STEP_HZ = 5
#: a mode that is not known takes as much as speech data does at most (common practice, no source)
_WIDE_HZ = 200.0
#: distance to a neighbour's edge: weak, strong and very strong ones (common practice, no source)
_GUARDS = ((10.0, 40.0), (0.0, 20.0), (-99.0, 5.0))
#: what an offset on a signal costs, and one beside it (common practice, no source)
_WHOLE, _BESIDE = 10, 3
#: costs are summed in whole numbers, which come to nothing again where a signal ends: what one of the last period is
_UNITS = 1_000_000
#: evidence older than so many periods is stale
STALE_PERIODS = 8
#: below this cost an offset counts as clear
CLEAR_COST = 0.05
#: above this cost somebody sends where we do: heard in the last period or in several before
_TAKEN_COST = 0.5
_GAPS = 3


class Signal(NamedTuple):
    """A stretch that was occupied, in Hz of audio, and how strong; None where only energy was seen."""

    low_hz: float
    high_hz: float
    snr_db: float | None


class Heard:
    """One period that was listened to."""

    def __init__(self, start_ms: int, signals: tuple[Signal, ...]) -> None:
        self.start_ms = start_ms
        self.signals = signals
        self._steps: tuple[range, float, list[int]] | None = None

    def steps(self, offsets: range, width_hz: float) -> list[int]:
        """What each offset costs more than the one before it, in parts of :data:`_WHOLE`; worked out once a filter."""
        known = self._steps
        if known is None or known[:2] != (offsets, width_hz):
            steps = [0] * (len(offsets) + 1)
            for signal in self.signals:
                _add(steps, offsets, signal, width_hz)
            known = self._steps = offsets, width_hz, steps
        return known[2]


class Clear(NamedTuple):
    """The advice: where to send, how old its evidence is in ms (None: there is none), and further gaps.

    ``taken`` says that what is used now is occupied.
    """

    offset_hz: int
    age_ms: int | None
    stale: bool
    is_clear: bool
    taken: bool
    gaps: tuple[tuple[int, int], ...]


class View(NamedTuple):
    """One parity worked out: what each offset costs, which was chosen, and the gaps.

    ``apart_hz`` was chosen last when the customary one was taken; it stays so while it is clear.
    """

    offsets: range
    costs: tuple[float, ...]
    chosen_hz: int
    apart_hz: int | None
    gaps: tuple[tuple[int, int], ...]


class Spectrum:
    """What was heard on each band in each parity."""

    def __init__(self) -> None:
        self._heard: OrderedDict[tuple[str | None, str, int], deque[Heard]] = OrderedDict()
        self._filter: tuple[float, float] = _LOW_HZ, _HIGH_HZ
        #: what was made of it: at once, so that it does not hang on who looks when
        self._views: dict[tuple[str | None, str, int], View] = {}

    def tuned(self, event: Tuning) -> None:
        """The receiver's search range, else its filter, bounds where we send."""
        low_hz = event.search_low_hz if event.search_low_hz is not None else event.filter_low_hz
        high_hz = event.search_high_hz if event.search_high_hz is not None else event.filter_high_hz
        if low_hz is not None and high_hz is not None and high_hz - low_hz >= 2 * _WIDE_HZ:
            self._filter = float(low_hz), float(high_hz)
            for key in self._heard:
                self._work_out(key)

    def closed(self, period: Period) -> None:
        """Enter a period, unless we sent in it or hardly listened."""
        if period.sent or (period.listened_s is not None and period.listened_s < period.length_ms / 2000):
            return
        width_hz = _width_of(period.mode)
        signals = [
            Signal(hearing.offset_hz, hearing.offset_hz + width_hz, hearing.snr_db) for hearing in period.hearings
        ]
        seen = [Signal(low_hz, high_hz, None) for low_hz, high_hz in period.occupied or ()]
        key = (period.band, period.mode, period.parity)
        trail = self._heard.get(key)
        if trail is None:
            trail = self._heard[key] = deque(maxlen=_KEPT)
            if len(self._heard) > MOST_STREAMS:
                oldest, _ = self._heard.popitem(last=False)
                del self._views[oldest]
        else:
            self._heard.move_to_end(key)
        if trail and trail[-1].start_ms == period.start_ms:  # another receiver on the same band
            signals += trail.pop().signals
        trail.append(Heard(period.start_ms, tuple(signals + seen)))
        self._work_out(key)

    def _work_out(self, key: tuple[str | None, str, int]) -> None:
        low_hz, high_hz = self._filter
        width_hz = _width_of(key[1])
        offsets = range(round(low_hz), round(high_hz - width_hz) + 1, _STEP_HZ)
        costs = _costs(self._heard[key], offsets, width_hz)
        before = self._views.get(key)
        apart_hz = None if before is None else before.apart_hz
        chosen_hz = _choose(offsets, costs, apart_hz)
        if chosen_hz != CUSTOMARY_HZ:
            apart_hz = chosen_hz
        self._views[key] = View(offsets, costs, chosen_hz, apart_hz, _gaps(offsets, costs, width_hz))

    def advise(
        self, band: str | None, mode_name: str, parity: int, now_ms: int, length_ms: int, used_hz: float | None = None
    ) -> Clear:
        """Where to send in periods of ``parity``; ``used_hz`` is where we do now."""
        key = (band, mode_name, parity)
        view = self._views.get(key)
        if view is None:
            low_hz, high_hz = self._filter
            last_hz = high_hz - _width_of(mode_name)
            offset_hz = CUSTOMARY_HZ if low_hz <= CUSTOMARY_HZ <= last_hz else round((low_hz + last_hz) / 2)
            return Clear(offset_hz, None, stale=True, is_clear=True, taken=False, gaps=())
        age_ms = max(0, now_ms - self._heard[key][-1].start_ms - length_ms)
        return Clear(
            offset_hz=view.chosen_hz,
            age_ms=age_ms,
            stale=age_ms > STALE_PERIODS * length_ms,
            is_clear=_cost_at(view.offsets, view.costs, view.chosen_hz) < CLEAR_COST,
            # of what lies outside the filter nobody can say who sends there
            taken=used_hz is not None and _TAKEN_COST <= _cost_at(view.offsets, view.costs, used_hz) < inf,
            gaps=view.gaps,
        )


def _choose(offsets: range, costs: tuple[float, ...], before_hz: int | None) -> int:
    """The customary one while clear, else the one advised before while it is, else the middle of the best gap."""
    for known_hz in (CUSTOMARY_HZ, before_hz):
        if known_hz is not None and _cost_at(offsets, costs, known_hz) < CLEAR_COST:
            return known_hz
    least = min(costs)
    best = max(
        _runs(costs, least + CLEAR_COST),
        # the widest; of equals the one whose harmonics the filter takes away, then the lower
        key=lambda run: (min(run[1] - run[0], 20), offsets[run[0]] >= CUSTOMARY_HZ, run[1] - run[0], -run[0]),
    )
    return offsets[(best[0] + best[1]) // 2]


def _width_of(mode_name: str) -> float:
    found = timed(mode_name)
    return found.bandwidth_hz if found is not None else _WIDE_HZ


def _costs(trail: deque[Heard], offsets: range, width_hz: float) -> tuple[float, ...]:
    """What each offset costs: the sum over all signals, those of periods further back for less."""
    steps = [0] * (len(offsets) + 1)
    for back, heard in enumerate(reversed(trail)):
        weight = round(_UNITS * _FADES**back)
        steps = [step + weight * more for step, more in zip(steps, heard.steps(offsets, width_hz), strict=True)]
    whole = _WHOLE * _UNITS
    return tuple([units / whole for units in accumulate(steps[:-1])])


def _add(steps: list[int], offsets: range, signal: Signal, width_hz: float) -> None:
    """Make offsets dear that would overlap the signal, and those beside it, of strong ones at more distance."""
    level_db = signal.snr_db
    guard_hz = 0.0 if level_db is None else next(guard for least_db, guard in _GUARDS if level_db >= least_db)
    low_hz, high_hz = signal.low_hz - width_hz, signal.high_hz
    steps[_from(offsets, low_hz - guard_hz)] += _BESIDE
    steps[_after(offsets, low_hz)] += _WHOLE - _BESIDE
    steps[_from(offsets, high_hz)] -= _WHOLE - _BESIDE
    steps[_after(offsets, high_hz + guard_hz)] -= _BESIDE


def _from(offsets: range, at_hz: float) -> int:
    """The index of the first offset that is not below ``at_hz``."""
    return min(len(offsets), max(0, ceil((at_hz - offsets.start) / _STEP_HZ)))


def _after(offsets: range, at_hz: float) -> int:
    """The index of the first offset above ``at_hz``."""
    return min(len(offsets), max(0, floor((at_hz - offsets.start) / _STEP_HZ) + 1))


def _cost_at(offsets: range, costs: tuple[float, ...], offset_hz: float) -> float:
    at = round((offset_hz - offsets.start) / _STEP_HZ)
    return costs[at] if 0 <= at < len(costs) else inf


def _runs(costs: tuple[float, ...], most: float) -> list[tuple[int, int]]:
    """Stretches (first, last) of indices whose cost is at most ``most``."""
    found: list[tuple[int, int]] = []
    begin: int | None = None
    for at, cost in enumerate((*costs, inf)):
        if cost <= most and begin is None:
            begin = at
        elif cost > most and begin is not None:
            found.append((begin, at - 1))
            begin = None
    return found


def _gaps(offsets: range, costs: tuple[float, ...], width_hz: float) -> tuple[tuple[int, int], ...]:
    """The widest clear stretches in Hz, each with room for our signal."""
    runs = sorted(_runs(costs, CLEAR_COST), key=lambda run: (run[0] - run[1], run[0]))
    return tuple((offsets[first], round(offsets[last] + width_hz)) for first, last in runs[:_GAPS])
