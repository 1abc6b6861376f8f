"""Is what feeds the watch in order: losses on the way, silence, two sources that disagree."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping

from watchkeeper.api import Losses
from watchkeeper.view import Urgency

from .detect import Latch
from .settings import VitalsConfig
from .vital import Vital

#: judgements over which losses are counted
_WINDOW = 8
#: fewer than this many lost events are no trouble yet
_LEAST_LOST = 5
#: one source hears this many times as many stations as another on the same band
_DISAGREE = 3.0
_MOST_SOURCES = 64


class Feeding:
    """One source."""

    def __init__(self, config: VitalsConfig) -> None:
        self._config = config
        self._counts: deque[tuple[int, int]] = deque(maxlen=_WINDOW + 1)
        self._losing = Latch(up=1, down=3)
        self._stale = Latch(up=1, down=1)
        self._differs = Latch(up=6, down=3)
        self.last_ms = 0
        self.share = 0.0

    def judge(self, losses: Losses | None, now_ms: int, length_ms: int, *, less: bool) -> tuple[bool, bool, bool]:
        """Return (loses events, is stale, hears far less than another source on the band)."""
        if losses is not None:
            self._counts.append((losses.received, losses.lost))
        lost = self._counts[-1][1] - self._counts[0][1] if self._counts else 0
        came = self._counts[-1][0] - self._counts[0][0] if self._counts else 0
        self.share = lost / (lost + came) if lost > 0 else 0.0
        limit = self._config.loss_share
        poor = lost >= _LEAST_LOST and self.share > limit
        losing = self._losing.update(poor=poor, good=self.share < limit / 2)
        late = now_ms - self.last_ms > self._config.stale_periods * length_ms
        stale = self._stale.update(poor=late, good=not late)
        return losing, stale, self._differs.update(poor=less, good=not less)


class Sources:
    """All sources, in the order in which they first spoke."""

    def __init__(self, config: VitalsConfig) -> None:
        self._config = config
        self._feeding: dict[str, Feeding] = {}

    def spoke(self, source: str, at_ms: int, *, farewell: bool = False) -> None:
        """A source said something; after a farewell its silence is no fault."""
        if farewell:
            self._feeding.pop(source, None)
            return
        known = self._feeding.get(source)
        if known is None:
            if len(self._feeding) >= _MOST_SOURCES:
                del self._feeding[next(iter(self._feeding))]
            known = self._feeding[source] = Feeding(self._config)
        known.last_ms = max(known.last_ms, at_ms)

    def judge(
        self, losses: Mapping[str, Losses], now_ms: int, length_ms: int, heard: Mapping[str, tuple[str, int]]
    ) -> Vital:
        """The worst of what is wrong. ``heard``: (band, stations in the last period) by source."""
        wrong: list[tuple[str, str]] = []
        for name, feeding in self._feeding.items():
            band, count = heard.get(name, ("", 0))
            most = max((many for other, many in heard.values() if other == band and band), default=0)
            # one that hears nothing at all is the receiver's vital
            less = most >= 6 and most > _DISAGREE * count and count > 0
            losing, stale, differs = feeding.judge(losses.get(name), now_ms, length_ms, less=less)
            if losing:
                wrong.append((f"loses {feeding.share:.0%}", f"{name} loses {feeding.share:.0%} of its events"))
            if stale:
                minutes = (now_ms - feeding.last_ms) / 60_000
                wrong.append((f"{name} is silent", f"{name} has said nothing for {minutes:.0f} min"))
            if differs:
                wrong.append((f"{name} hears less", f"{name} hears {count} stations where another source hears {most}"))
        if not wrong:
            names = ", ".join(self._feeding)
            return Vital("sources", "Sources", f"clean: {names}" if names else "none has spoken")
        return Vital(
            "sources",
            "Sources",
            wrong[0][0],
            Urgency.WANTED,
            "; ".join(sentence for _, sentence in wrong) + ".",
            "Look at the way from the decoder to the watch: load of the computer, network, two programs on one port.",
            0.97,
        )
