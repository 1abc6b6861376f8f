"""The computer's own battery: how long it lasts at the rate at which it fell."""

from __future__ import annotations

from collections import deque

#: the rate is that of so long, and known after so long or so much of a fall
_LOOK_BACK_MS = 3_600_000
_LEAST_MS = 600_000
_LEAST_FALL = 0.02
_HOUR_MS = 3_600_000


class HostBattery:
    """``fraction`` is the charge as last told (0…1), None where nobody told."""

    def __init__(self) -> None:
        self._told: deque[tuple[int, float]] = deque()
        self.fraction: float | None = None

    def take(self, at_ms: int, fraction: float) -> None:
        """Take in the charge at an event time; one that rises is being charged, and the rate begins anew."""
        if self.fraction is not None and fraction > self.fraction:
            self._told.clear()
        if self.fraction != fraction or not self._told:
            self._told.append((at_ms, fraction))
        self.fraction = fraction
        while len(self._told) > 2 and self._told[0][0] < at_ms - _LOOK_BACK_MS:
            self._told.popleft()

    def left_h(self) -> float | None:
        """Hours left at the rate of the last hour; None while nobody can tell."""
        if len(self._told) < 2:
            return None
        (began_ms, high), (now_ms, low) = self._told[0], self._told[-1]
        if now_ms - began_ms < _LEAST_MS or high - low < _LEAST_FALL:
            return None
        return low * (now_ms - began_ms) / _HOUR_MS / (high - low)
