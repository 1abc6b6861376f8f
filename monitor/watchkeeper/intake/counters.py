"""What came in, what was refused and what never came: counted per source, in bounded memory."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterable
from datetime import datetime
from typing import Any

from ..schema.events import AnyEvent, to_ms
from ..schema.wire import Reason, Refusal

#: sources beyond these share one entry, so that inventing names grows nothing
MAX_SOURCES = 64
MAX_RUNS = 8
#: its brackets are not allowed in a source's name, so nobody can claim it
OTHERS = "(others)"
#: how far back a late event is told from a doubled one
WINDOW = 1024
#: a longer jump is a sender that renumbers, not a loss
MAX_GAP = 1_000_000

_MASK = (1 << WINDOW) - 1


class Sequence:
    """The numbers of one run: how many are missing, how many came twice. Order does not matter within the window."""

    __slots__ = ("_first", "_highest", "_seen", "doubled", "lost")

    def __init__(self) -> None:
        self.lost = 0
        self.doubled = 0
        self._first = -1
        self._highest = -1
        self._seen = 0  # bit n: the number `highest - n` was seen

    @property
    def highest(self) -> int:
        """The highest number seen, or -1."""
        return self._highest

    def note(self, number: int) -> bool:
        """One event of that number came; whether it is known to have come before."""
        ahead = number - self._highest
        if self._highest < 0 or ahead > MAX_GAP:
            self._first = self._highest = number
            self._seen = 1
        elif ahead > 0:
            self.lost += ahead - 1
            self._seen = ((self._seen << ahead) | 1) & _MASK if ahead < WINDOW else 1
            self._highest = number
        elif -ahead < WINDOW:
            return self._note_late(number, 1 << -ahead)
        return False

    def _note_late(self, number: int, bit: int) -> bool:
        if self._seen & bit:
            self.doubled += 1
            return True
        self._seen |= bit
        if number > self._first:  # one before the first was never counted as missing
            self.lost -= 1
        return False


class SourceCounters:
    """The counters of one source."""

    def __init__(self) -> None:
        self.accepted = 0
        self.shed = 0
        self.rejected: dict[str, int] = dict.fromkeys(Reason, 0)
        self.last_at: datetime | None = None
        self._runs: OrderedDict[str | None, Sequence] = OrderedDict()
        self._past_lost = 0
        self._past_doubled = 0

    @property
    def received(self) -> int:
        """Events that came, valid or not."""
        return self.accepted + sum(self.rejected.values())

    @property
    def lost(self) -> int:
        """Numbers that never came, over all runs."""
        return self._past_lost + sum(run.lost for run in self._runs.values())

    @property
    def doubled(self) -> int:
        """Numbers that came more than once, over all runs."""
        return self._past_doubled + sum(run.doubled for run in self._runs.values())

    def note_number(self, run: str | None, number: int | None) -> bool:
        """Account for a sequence number; whether the event is known to have come before.

        An event without a number says nothing, and one without a run may be of a sender that began anew.
        """
        if number is None:
            return False
        sequence = self._runs.get(run)
        if sequence is None:
            sequence = self._open(run)
        return sequence.note(number) and run is not None

    def _open(self, run: str | None) -> Sequence:
        if len(self._runs) >= MAX_RUNS:
            _, oldest = self._runs.popitem(last=False)
            self._past_lost += oldest.lost
            self._past_doubled += oldest.doubled
        return self._runs.setdefault(run, Sequence())

    def as_dict(self) -> dict[str, Any]:
        """For the status: plain values."""
        return {
            "received": self.received,
            "accepted": self.accepted,
            "rejected": {str(reason): count for reason, count in self.rejected.items()},
            "lost": self.lost,
            "doubled": self.doubled,
            "shed": self.shed,
            "last_at_ms": None if self.last_at is None else to_ms(self.last_at),
        }


class Counters:
    """All sources together. ``datagrams`` counts packets, everything else counts events."""

    def __init__(self) -> None:
        self.datagrams = 0
        self.refused_datagrams = 0  # those of which nothing at all was accepted
        self.sources: dict[str, SourceCounters] = {}
        self.unattributed = SourceCounters()

    def accept(self, events: Iterable[AnyEvent]) -> list[AnyEvent]:
        """Count valid events and their sequence numbers; those of them that came before."""
        came_before = []
        for event in events:
            counters = self.of(event.source)
            counters.accepted += 1
            counters.last_at = event.at
            if counters.note_number(event.run, event.seq):
                came_before.append(event)
        return came_before

    def reject(self, refusals: Iterable[Refusal]) -> None:
        """Count refusals; one whose number could be read is refused, not lost."""
        for refusal in refusals:
            # a refusal never opens a source: only valid events tell a name from noise
            counters = self.sources.get(refusal.source or "", self.unattributed)
            counters.rejected[refusal.reason] += 1
            if counters is not self.unattributed:
                counters.note_number(refusal.run, refusal.seq)

    def shed(self, event: AnyEvent) -> None:
        """Count an accepted event that the full queue dropped."""
        self.of(event.source).shed += 1

    def of(self, source: str) -> SourceCounters:
        """The counters of a source, opened at its first event while there is room."""
        found = self.sources.get(source)
        if found is None:
            name = source if len(self.sources) < MAX_SOURCES else OTHERS
            found = self.sources.setdefault(name, SourceCounters())
        return found

    @property
    def accepted(self) -> int:
        """Events that were taken, of all sources."""
        return sum(one.accepted for one in self.sources.values())

    @property
    def lost(self) -> int:
        """Numbers that never came, of all sources."""
        return sum(one.lost for one in self.sources.values())

    def as_dict(self) -> dict[str, Any]:
        """The totals for the status: plain values, every reason present from the start."""
        everyone = [*self.sources.values(), self.unattributed]
        return {
            "datagrams": self.datagrams,
            "refused_datagrams": self.refused_datagrams,
            "received": sum(one.received for one in everyone),
            "accepted": self.accepted,
            "rejected": {str(reason): sum(one.rejected[reason] for one in everyone) for reason in Reason},
            "lost": self.lost,
            "doubled": sum(one.doubled for one in everyone),
            "shed": sum(one.shed for one in everyone),
        }
