"""Telling a change from chance: a latch with hysteresis, and a one-sided cumulative sum."""

from __future__ import annotations

from collections import deque
from statistics import median


class Latch:
    """Goes on after ``up`` poor readings in a row and off after ``down`` good ones."""

    __slots__ = ("_down", "_run", "_up", "on")

    def __init__(self, up: int = 2, down: int = 3) -> None:
        self._up = up
        self._down = down
        self._run = 0
        self.on = False

    def update(self, *, poor: bool, good: bool) -> bool:
        """Take in one reading; one that is neither poor nor good leaves things as they are."""
        against = good if self.on else poor
        self._run = self._run + 1 if against else 0
        if self._run >= (self._down if self.on else self._up):
            self.on = not self.on
            self._run = 0
        return self.on


class Cusum:
    """A cumulative sum of readings in units of their standard deviation.

    It goes on when the sum of what exceeds ``slack`` passes ``limit``. For independent normal readings with slack 1 and
    limit 8 the mean time between false alarms is above 10⁷ readings (Siegmund's approximation, e^(2·1·9.166)/2·1²,
    textbook, from memory); a shift of three standard deviations is found in five readings.
    """

    __slots__ = ("_limit", "_slack", "total")

    def __init__(self, slack: float = 1.0, limit: float = 8.0) -> None:
        self._slack = slack
        self._limit = limit
        self.total = 0.0

    def update(self, deviation: float) -> bool:
        """Take in one reading as its deviation from the usual in standard deviations."""
        # bounded above, so that it also goes off again soon
        self.total = min(2 * self._limit, max(0.0, self.total + deviation - self._slack))
        return self.total > self._limit


class Usual:
    """What a reading usually is: the median of its last good values, and a spread that is never too trusting."""

    __slots__ = ("_values", "floor", "value")

    def __init__(self, floor: float, keep: int = 41) -> None:
        self._values: deque[float] = deque(maxlen=keep)
        self.floor = floor
        self.value: float | None = None

    def learn(self, value: float) -> None:
        """Take in a value that is not suspected."""
        self._values.append(value)
        self.value = median(self._values) if len(self._values) >= 4 else None


def crowding(offsets_hz: list[float], width_hz: float) -> tuple[float, float]:
    """Return (span in Hz, chance) of the stations' offsets lying so close by accident.

    For n offsets spread evenly over ``width_hz`` the chance that all of them lie within some window of w is at most
    n·(w/width)^(n−1). From 12 on one of them may stray (a phantom, a signal that is strong enough to pass a filter's
    skirt): n·(n−1) times the chance of the rest.
    """
    count = len(offsets_hz)
    if count < 2:
        return width_hz, 1.0
    ordered = sorted(offsets_hz)
    span_hz = ordered[-1] - ordered[0]
    chance = count * min(1.0, span_hz / width_hz) ** (count - 1)
    if count >= 12:
        shorter_hz = min(ordered[-1] - ordered[1], ordered[-2] - ordered[0])
        one_strays = count * (count - 1) * min(1.0, shorter_hz / width_hz) ** (count - 2)
        if one_strays < chance:
            return shorter_hz, one_strays
    return span_hz, min(1.0, chance)
