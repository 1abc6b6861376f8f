"""What several sources heard of the same: the core joins copies of a text, and the first source has the hearing."""

from __future__ import annotations

from collections import OrderedDict

from watchkeeper.api import Hearing, Period

#: periods that are remembered: hearings come a little late, not more
_KEPT = 4


class Shared:
    """The hearings of the last periods, whoever had them first."""

    def __init__(self) -> None:
        self._slots: OrderedDict[int, list[Hearing]] = OrderedDict()

    def add(self, hearing: Hearing) -> None:
        """Remember a new hearing: further sources join it in place."""
        slot = self._slots.get(hearing.period_ms)
        if slot is None:
            slot = self._slots[hearing.period_ms] = []
            if len(self._slots) > _KEPT:
                del self._slots[min(self._slots)]
        slot.append(hearing)

    def of(self, period: Period) -> list[Hearing]:
        """The hearings of a period that its source had as well, but not first."""
        slot = self._slots.get(period.start_ms, ())
        return [one for one in slot if one.source != period.source and _has(one, period)]


def _has(hearing: Hearing, period: Period) -> bool:
    same_air = hearing.mode == period.mode and hearing.band == period.band
    source = period.source
    return same_air and any(each == source or each.startswith(f"{source}/") for each in hearing.receivers)
