"""Goals: what the operator is after today, beside what is new."""

from __future__ import annotations

from typing import Annotated

import msgspec
from msgspec import Meta

from watchkeeper.api import Context, Dimension, Need

_DAY_MS = 86_400_000
#: how much more a contact counts towards a goal
_CHASED = 2.0
_MISSING = 3.0


class GoalsConfig(msgspec.Struct, frozen=True, kw_only=True):
    """An award to chase, and an activation to complete."""

    chase: Annotated[
        tuple[Dimension, ...],
        Meta(description="dimensions of an award that is chased: a need in one of them counts double"),
    ] = ()
    activation_contacts: Annotated[
        int,
        Meta(ge=0, le=10_000, description="contacts that an activation needs in one UTC day, 0 for none: until then "
             "anybody not worked today counts threefold"),
    ] = 0  # fmt: skip


class Goals:
    """How far the goals are reached, and what a contact would add."""

    def __init__(self, config: GoalsConfig, context: Context) -> None:
        self._config = config
        self._context = context
        self._day = -1
        self._calls: set[str] = set()

    def logged(self, call: str, ended_ms: int) -> None:
        """Count a contact: each call once in a UTC day."""
        day = ended_ms // _DAY_MS
        if day > self._day:
            self._day = day
            self._calls.clear()
        if day == self._day:
            self._calls.add(call)

    @property
    def missing(self) -> int:
        """Contacts that the activation still needs in this UTC day."""
        made = len(self._calls) if self._context.now_ms // _DAY_MS == self._day else 0
        return max(0, self._config.activation_contacts - made)

    def counts_again(self, call: str) -> bool:
        """Whether a station worked on an earlier day counts for the activation today."""
        return self.missing > 0 and call not in self._calls

    def factor(self, needs: tuple[Need, ...], call: str) -> float:
        """By how much a contact counts more than its needs say."""
        found = 1.0
        if self._config.chase and any(need.dimension in self._config.chase for need in needs):
            found *= _CHASED
        if self.counts_again(call):
            found *= _MISSING
        return found

    def words(self) -> str | None:
        """How the activation stands; None without one."""
        wanted = self._config.activation_contacts
        if not wanted:
            return None
        missing = self.missing
        if not missing:
            return f"activation complete: {wanted} contacts and more in this UTC day"
        return f"{wanted - missing} of {wanted} contacts for the activation in this UTC day, {missing} to go"
