"""The event clock: the monotone maximum of what the sources' events reach.

Nothing downstream of the journal asks the computer's clock; it asks this one, so a replay at any pace sees the same
time.
"""

from __future__ import annotations

from functools import lru_cache

from ..radio.mode import timed
from ..schema import events

#: a mode without fixed periods is judged in slices of this length
SLICE_MS = 15_000
_OF_A_PERIOD = (events.Heard, events.Period)


@lru_cache(maxsize=256)
def period_ms(mode: str) -> int:
    """Length of a period of ``mode`` in milliseconds; :data:`SLICE_MS` for a mode that has none."""
    found = timed(mode)
    return SLICE_MS if found is None else round(found.period_s * 1000)


def watermark_ms(event: events.Event) -> int:
    """How far ``event`` says that time has come: its period's end for ``heard`` and ``period``, else its ``at``."""
    if isinstance(event, _OF_A_PERIOD):
        return event.at_ms + period_ms(event.mode)
    return event.at_ms


class EventClock:
    """Milliseconds since 1970-01-01 UTC, as far as any event has reached; 0 before the first."""

    def __init__(self) -> None:
        self.now_ms = 0

    def reach(self, at_ms: int) -> None:
        """Advance to ``at_ms``; never back."""
        if at_ms > self.now_ms:
            self.now_ms = at_ms
