"""Goals: what the operator is after today, beside what is new."""

from __future__ import annotations

from typing import Annotated

import msgspec
from msgspec import Meta

from watchkeeper.api import Dimension, Need
from watchkeeper_worked import WorkedNote

#: how much more a contact counts towards a goal
_CHASED = 2.0
_MISSING = 3.0


class GoalsConfig(msgspec.Struct, frozen=True, kw_only=True):
    """An award to chase. Activations need no setting here: Worked counts for them, and says who does."""

    chase: Annotated[
        tuple[Dimension, ...],
        Meta(description="dimensions of an award that is chased: a need in one of them counts double"),
    ] = ()

    def factor(self, needs: tuple[Need, ...], note: WorkedNote) -> float:
        """By how much a contact counts more than its needs say: threefold for an activation that still lacks some."""
        found = 1.0
        if self.chase and any(need.dimension in self.chase for need in needs):
            found *= _CHASED
        if note.counts_for:
            found *= _MISSING
        return found
