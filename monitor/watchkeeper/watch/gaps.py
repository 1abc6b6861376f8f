"""Counts what a source lost on its way: gaps in the numbers of its run, filled again by what only came late."""

from __future__ import annotations

from collections import OrderedDict

from ..model import Losses

#: numbers that are waited for, per source; older ones stay lost
MOST_MISSING = 1024
MAX_SOURCES = 64
#: a longer jump is a sender that renumbers, not a loss
LONGEST_GAP = 1_000_000


class _Run:
    def __init__(self, run: str | None, seq: int) -> None:
        self.run = run
        self.highest = seq
        self.missing: OrderedDict[int, None] = OrderedDict()


class Gaps:
    """The sources' runs. A new run is no gap; what comes twice counts once."""

    def __init__(self) -> None:
        self._runs: OrderedDict[str, _Run] = OrderedDict()
        self._counts: dict[str, Losses] = {}

    def note(self, source: str, run: str | None, seq: int) -> None:
        """Take in the number of one event."""
        known = self._runs.get(source)
        lost, received = self._counts.get(source, Losses(received=0, lost=0)), 1
        more = 0
        if known is None or known.run != run or seq - known.highest > LONGEST_GAP:
            self._runs[source] = _Run(run, seq)
            self._runs.move_to_end(source)
            if len(self._runs) > MAX_SOURCES:
                gone, _ = self._runs.popitem(last=False)
                self._counts.pop(gone, None)
        elif seq > known.highest:
            more = seq - known.highest - 1
            for number in range(max(known.highest + 1, seq - MOST_MISSING), seq):
                known.missing[number] = None
            while len(known.missing) > MOST_MISSING:
                known.missing.popitem(last=False)
            known.highest = seq
        elif seq in known.missing:
            del known.missing[seq]
            more = -1
        else:
            received = 0
        self._counts[source] = Losses(received=lost.received + received, lost=lost.lost + more)

    def counts(self) -> dict[str, Losses]:
        """What each source lost so far, by its name."""
        return self._counts
