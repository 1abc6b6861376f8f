"""Which time a face shows. Live it is the computer's; in a rehearsal or a replay it runs on from the event clock."""

from __future__ import annotations

import time
from collections.abc import Callable

from .shown import Snapshot

#: an event clock this close to the computer's belongs to the present
NEAR_MS = 60_000


class FaceClock:
    """Follows the event clock of the snapshots that it is shown."""

    def __init__(self, wall: Callable[[], float] = time.time, monotonic: Callable[[], float] = time.monotonic) -> None:
        """``wall`` gives seconds since 1970-01-01 UTC, ``monotonic`` seconds that only count up."""
        self._wall = wall
        self._monotonic = monotonic
        self._event_ms: int | None = None
        self._since = monotonic()
        self._live = True

    def __call__(self, snapshot: Snapshot) -> int:
        """The time to show with ``snapshot``, in ms since 1970-01-01 UTC."""
        wall_ms = round(self._wall() * 1000)
        event_ms = snapshot.now_ms
        if event_ms is None:
            return wall_ms
        if event_ms != self._event_ms:
            self._event_ms = event_ms
            self._since = self._monotonic()
            # a source that has been silent for long stays live, and the face says how long it has been silent
            self._live = abs(event_ms - wall_ms) <= NEAR_MS
        return wall_ms if self._live else event_ms + round((self._monotonic() - self._since) * 1000)
