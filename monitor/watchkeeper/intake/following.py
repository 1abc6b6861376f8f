"""Decoders' own logs as a way in: each followed file is looked at every second, and what is new joins the queue.

A file is read again after every start. What the log has already is not announced again, so a contact that was written
while no watch stood is taken once, and a restart adds nothing to the journal.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable, Sequence
from itertools import count

from ..config import FollowedLog
from ..schema.events import Contact
from .adif_follower import AdifFollower
from .arrival import Arrival

_log = logging.getLogger(__name__)
#: seconds between two looks at a file that has nothing new
LOOK_S = 1.0
#: seconds after which a contact that did not reach the log is announced again: the disk was full, say
REPEAT_S = 30.0
HOUR_MS = 3_600_000
#: so many problems of one file are logged; then it is no ADIF file, or not for us
_TOLD = 20


class Following:
    """Follows files from :meth:`start` to :meth:`stop`. Belongs to one event loop."""

    def __init__(
        self,
        take: Callable[[list[Arrival]], None],
        is_logged: Callable[[Contact], bool],
        clock_ms: Callable[[], int],
    ) -> None:
        """``take`` is handed what is new, ``is_logged`` says whether the log has it, ``clock_ms`` is the host's."""
        self._take = take
        self._is_logged = is_logged
        self._clock_ms = clock_ms
        self._tasks: dict[FollowedLog, asyncio.Task[None]] = {}
        self._troubles: dict[FollowedLog, str] = {}

    @property
    def notices(self) -> list[str]:
        """What keeps a file from being followed, in words."""
        return list(self._troubles.values())

    def follow(self, logs: Sequence[FollowedLog]) -> None:
        """Follow these from now on, and no others; what is followed already goes on."""
        for log in self._tasks.keys() - set(logs):
            self._tasks.pop(log).cancel()
            self._troubles.pop(log, None)
        for log in logs:
            if log not in self._tasks:
                self._tasks[log] = asyncio.create_task(self._follow(log), name=f"follow {log.path}")

    async def stop(self) -> None:
        """Look no more."""
        tasks = list(self._tasks.values())
        self.follow(())
        await asyncio.gather(*tasks, return_exceptions=True)

    async def _follow(self, log: FollowedLog) -> None:
        since_ms = self._clock_ms() - round(log.reach_back_h * HOUR_MS)
        follower: AdifFollower | None = None
        told = count()
        unsettled: dict[str, Arrival] = {}
        try:
            while True:
                more = False
                try:
                    if follower is None:
                        follower = AdifFollower(log.path, log.source, since_ms, self._clock_ms)
                    # in a thread: a long log costs many milliseconds, and the loop has datagrams to take
                    found = await asyncio.to_thread(follower.poll)
                except OSError as error:
                    self._trouble(log, f"{log.path} cannot be followed: {error.strerror or error}")
                else:
                    self._troubles.pop(log, None)
                    more = found.more
                    for problem in found.problems:
                        if next(told) < _TOLD:
                            _log.warning("%s", problem)
                    self._announce(found.arrivals, unsettled)
                self._repeat(unsettled)
                await asyncio.sleep(0 if more else LOOK_S)
        finally:
            if follower is not None:
                follower.close()

    def _trouble(self, log: FollowedLog, words: str) -> None:
        if self._troubles.get(log) != words:
            _log.warning("%s", words)
        self._troubles[log] = words

    def _announce(self, arrivals: Sequence[Arrival], unsettled: dict[str, Arrival]) -> None:
        fresh = []
        for arrival in arrivals:
            if isinstance(arrival.event, Contact) and not self._is_logged(arrival.event):
                fresh.append(arrival)
                unsettled[arrival.event.id] = arrival
        if fresh:
            self._take(fresh)

    def _repeat(self, unsettled: dict[str, Arrival]) -> None:
        """There is no receipt to wait for: ask the log, and announce again what it could not take."""
        now_ms = self._clock_ms()
        for identity, arrival in list(unsettled.items()):
            event = arrival.event
            if not isinstance(event, Contact) or now_ms - arrival.arrived_ms < REPEAT_S * 1000:
                continue
            if self._is_logged(event):
                del unsettled[identity]
            else:
                unsettled[identity] = Arrival(event, None, now_ms)
                self._take([unsettled[identity]])
