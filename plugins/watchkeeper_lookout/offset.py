"""Where to send: the offsets that were clear in the last periods of our parity that we listened to.

While one sends, one hears nothing of one's own parity, so every answer has an age. Clear here is not clear there: who
calls us may hear stations that we do not.
"""

from __future__ import annotations

from collections import OrderedDict, deque
from math import inf
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


class Heard(NamedTuple):
    """One period that was listened to."""

    start_ms: int
    signals: tuple[Signal, ...]


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
    """One parity worked out: what each offset costs, which was chosen, and the gaps."""

    offsets: range
    costs: tuple[float, ...]
    chosen_hz: int
    gaps: tuple[tuple[int, int], ...]


class Spectrum:
    """What was heard on each band in each parity."""

    def __init__(self) -> None:
        self._heard: OrderedDict[tuple[str | None, str, int], deque[Heard]] = OrderedDict()
        self._filter: tuple[float, float] | None = None
        self._advised: dict[tuple[str | None, str, int], int] = {}
        #: what was made of it, until more is heard
        self._views: dict[tuple[str | None, str, int], View] = {}

    def tuned(self, event: Tuning) -> None:
        """The receiver's search range, else its filter, bounds where we send."""
        low_hz = event.search_low_hz if event.search_low_hz is not None else event.filter_low_hz
        high_hz = event.search_high_hz if event.search_high_hz is not None else event.filter_high_hz
        if low_hz is not None and high_hz is not None and high_hz - low_hz >= 2 * _WIDE_HZ:
            self._filter = float(low_hz), float(high_hz)
            self._views.clear()

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
                self._heard.popitem(last=False)
        if trail and trail[-1].start_ms == period.start_ms:  # another receiver on the same band
            signals += trail.pop().signals
        trail.append(Heard(period.start_ms, tuple(signals + seen)))
        self._views.clear()

    def advise(
        self, band: str | None, mode_name: str, parity: int, now_ms: int, length_ms: int, used_hz: float | None = None
    ) -> Clear:
        """Where to send in periods of ``parity``; ``used_hz`` is where we do now."""
        low_hz, high_hz = self._filter or (_LOW_HZ, _HIGH_HZ)
        width_hz = _width_of(mode_name)
        key = (band, mode_name, parity)
        trail = self._heard.get(key)
        if not trail:
            inside = low_hz <= CUSTOMARY_HZ <= high_hz - width_hz
            offset_hz = CUSTOMARY_HZ if inside else round((low_hz + high_hz - width_hz) / 2)
            return Clear(offset_hz, None, stale=True, is_clear=True, taken=False, gaps=())
        view = self._views.get(key)
        if view is None:
            offsets = range(round(low_hz), round(high_hz - width_hz) + 1, _STEP_HZ)
            costs = _costs(trail, offsets, width_hz)
            view = self._views[key] = View(
                offsets, costs, self._choose(key, offsets, costs), _gaps(offsets, costs, width_hz)
            )
        age_ms = max(0, now_ms - trail[-1].start_ms - length_ms)
        return Clear(
            offset_hz=view.chosen_hz,
            age_ms=age_ms,
            stale=age_ms > STALE_PERIODS * length_ms,
            is_clear=_cost_at(view.offsets, view.costs, view.chosen_hz) < CLEAR_COST,
            # of what lies outside the filter nobody can say who sends there
            taken=used_hz is not None and _TAKEN_COST <= _cost_at(view.offsets, view.costs, used_hz) < inf,
            gaps=view.gaps,
        )

    def _choose(self, key: tuple[str | None, str, int], offsets: range, costs: tuple[float, ...]) -> int:
        """The customary one while clear, else the one advised last while it is, else the middle of the best gap."""
        if _cost_at(offsets, costs, CUSTOMARY_HZ) < CLEAR_COST:
            return CUSTOMARY_HZ
        before = self._advised.get(key)
        if before is not None and _cost_at(offsets, costs, before) < CLEAR_COST:
            return before
        least = min(costs)
        best = max(
            _runs(costs, least + CLEAR_COST),
            # the widest; of equals the one whose harmonics the filter takes away, then the lower
            key=lambda run: (min(run[1] - run[0], 20), offsets[run[0]] >= CUSTOMARY_HZ, run[1] - run[0], -run[0]),
        )
        found = offsets[(best[0] + best[1]) // 2]
        self._advised[key] = found
        return found


def _width_of(mode_name: str) -> float:
    found = timed(mode_name)
    return found.bandwidth_hz if found is not None else _WIDE_HZ


def _costs(trail: deque[Heard], offsets: range, width_hz: float) -> tuple[float, ...]:
    costs = [0.0] * len(offsets)
    for back, heard in enumerate(reversed(trail)):
        weight = _FADES**back
        for signal in heard.signals:
            _add(costs, offsets, signal, width_hz, weight)
    return tuple(costs)


def _add(costs: list[float], offsets: range, signal: Signal, width_hz: float, weight: float) -> None:
    """Make offsets dear that would overlap the signal, strong neighbours with more distance."""
    level_db = signal.snr_db
    guard_hz = 0.0 if level_db is None else next(guard for least_db, guard in _GUARDS if level_db >= least_db)
    low_hz, high_hz = signal.low_hz - width_hz - guard_hz, signal.high_hz + guard_hz
    first = max(0, -int(-(low_hz - offsets.start) // _STEP_HZ))
    last = min(len(costs) - 1, int((high_hz - offsets.start) // _STEP_HZ))
    for at in range(first, last + 1):
        within = offsets[at] + width_hz > signal.low_hz and offsets[at] < signal.high_hz
        costs[at] += weight * (1.0 if within else 0.3)


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
