"""What a contact is worth: the weights of the needs, and what is still needed by the log of this moment."""

from __future__ import annotations

from typing import Annotated

import msgspec
from msgspec import Meta

from watchkeeper.api import Dimension, Need, Scope, WorkedIndex
from watchkeeper_worked import WorkedNote

Weight = Annotated[float, Meta(ge=0, le=10)]

#: of what a station that adds nothing is worth: somebody to talk to
NOTHING_NEW = 0.02
#: further needs of one station add so much of their worth
_FURTHER = 0.1


class Weights(msgspec.Struct, frozen=True, kw_only=True):
    """How much each kind of need counts, and how sharply chance and readiness do.

    Our own choice (common practice has none): what is new for good counts most, and what is rare before what is common.
    """

    entity: Annotated[Weight, Meta(description="a new entity")] = 1.0
    continent: Annotated[Weight, Meta(description="a new continent")] = 0.9
    cq_zone: Annotated[Weight, Meta(description="a new CQ zone")] = 0.7
    state: Annotated[Weight, Meta(description="a new state or province")] = 0.6
    itu_zone: Annotated[Weight, Meta(description="a new ITU zone")] = 0.5
    locator: Annotated[Weight, Meta(description="a new locator")] = 0.3
    prefix: Annotated[Weight, Meta(description="a new prefix")] = 0.25
    base: Annotated[Weight, Meta(description="a new station")] = 0.12
    call: Annotated[Weight, Meta(description="a new call sign of a known station")] = 0.08
    ever: Annotated[Weight, Meta(description="factor of what is new for good")] = 1.0
    band: Annotated[Weight, Meta(description="factor of what is new on the band")] = 0.5
    mode: Annotated[Weight, Meta(description="factor of what is new in the mode")] = 0.35
    band_mode: Annotated[Weight, Meta(description="factor of what is new on the band in the mode")] = 0.25
    unconfirmed: Annotated[Weight, Meta(description="factor of what is worked and not confirmed")] = 0.15
    chance: Annotated[Weight, Meta(description="how sharply the chance counts: 0 not at all, 1 in proportion")] = 1.0
    readiness: Annotated[Weight, Meta(description="how sharply it counts whether the station takes a call now")] = 1.0

    def of(self, need: Need) -> float:
        """The worth of one need."""
        return float(getattr(self, need.dimension.value) * getattr(self, _SCOPES[need.scope]))


_SCOPES = {
    Scope.EVER: "ever",
    Scope.BAND: "band",
    Scope.MODE: "mode",
    Scope.BAND_MODE: "band_mode",
    Scope.UNCONFIRMED: "unconfirmed",
}


def worth(needs: tuple[Need, ...], weights: Weights) -> tuple[float, Need | None]:
    """What a contact would be worth, and the need that makes most of it."""
    values = [(weights.of(need), need) for need in needs]
    if not values:
        return NOTHING_NEW, None
    best, need = max(values, key=lambda each: each[0])
    return best + _FURTHER * (sum(value for value, _ in values) - best), need


def still_needed(note: WorkedNote, worked: WorkedIndex, band: str | None, mode: str) -> tuple[Need, ...]:
    """The needs of a note that was made before the log last grew, less those that the log has met since."""
    return tuple(need for need in note.needs if not _met(need, worked, band, mode))


def _met(need: Need, worked: WorkedIndex, band: str | None, mode: str) -> bool:
    if need.scope is Scope.UNCONFIRMED:
        return False
    on_band = band if need.scope in (Scope.BAND, Scope.BAND_MODE) else None
    in_mode = mode if need.scope in (Scope.MODE, Scope.BAND_MODE) else None
    return worked.is_worked(need.dimension, need.value, on_band, in_mode)


def is_base_worked(note: WorkedNote, worked: WorkedIndex, call: str, band: str | None, mode: str) -> bool:
    """Whether the station itself came into the log since its note was made."""
    return note.duplicate or worked.is_worked(Dimension.CALL, call, band, mode)
