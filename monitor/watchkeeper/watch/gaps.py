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
        self.received = 0
        self.lost = 0
        self.missing: OrderedDict[int, None] = OrderedDict()

    def skip_to(self, seq: int) -> None:
        """Wait for the numbers before ``seq``, for the newest of them at least."""
        self.lost += seq - self.highest - 1
        for number in range(max(self.highest + 1, seq - MOST_MISSING), seq):
            self.missing[number] = None
        while len(self.missing) > MOST_MISSING:
            self.missing.popitem(last=False)


class Gaps:
    """The sources' runs. A new run is no gap; what comes twice counts once."""

    def __init__(self) -> None:
        self._runs: OrderedDict[str, _Run] = OrderedDict()

    def note(self, source: str, run: str | None, seq: int) -> None:
        """Take in the number of one event."""
        known = self._runs.get(source)
        if known is None or known.run != run or seq - known.highest > LONGEST_GAP:
            self._begin(source, _Run(run, seq), known)
        elif seq > known.highest:
            known.received += 1
            if seq > known.highest + 1:
                known.skip_to(seq)
            known.highest = seq
        elif seq in known.missing:
            del known.missing[seq]
            known.received += 1
            known.lost -= 1

    def _begin(self, source: str, run: _Run, before: _Run | None) -> None:
        if before is not None:
            run.received, run.lost = before.received, before.lost
        run.received += 1
        self._runs[source] = run
        self._runs.move_to_end(source)
        if len(self._runs) > MAX_SOURCES:
            self._runs.popitem(last=False)

    def counts(self) -> dict[str, Losses]:
        """What each source lost so far, by its name."""
        return {source: Losses(received=run.received, lost=run.lost) for source, run in self._runs.items()}
