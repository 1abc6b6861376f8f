"""One vital: how it stands, on what evidence, and what to do."""

from __future__ import annotations

from typing import NamedTuple

from watchkeeper.view import Urgency


class Vital(NamedTuple):
    """``confidence`` (0…1) is how sure the evidence makes it; ``level`` above CALM means something is wrong.

    ``known`` is False while the evidence tells neither way; ``hails`` where the operator sees to it already.
    """

    key: str
    label: str
    text: str
    level: Urgency = Urgency.CALM
    sentence: str | None = None
    remedy: str | None = None
    confidence: float = 0.5
    value: float | None = None
    low: float | None = None
    high: float | None = None
    known: bool = True
    hails: bool = True

    @property
    def wrong(self) -> bool:
        """Whether it wants the operator's eye."""
        return self.level > Urgency.CALM

    @property
    def advice(self) -> str:
        """Why it is wrong, what to do, and how sure that is."""
        return " ".join(filter(None, (self.sentence, self.remedy, f"({self.confidence:.0%} sure)")))
