"""What a contact itself says that it counts for, in one short text beside its row.

The worked index is built from call, band, mode and this text, so that building it need not take every contact apart.
"""

from __future__ import annotations

from ..model import Contact
from .worked import Dimension, Facts, facts

_BETWEEN = "|"


def told_by(contact: Contact) -> str:
    """The text for a contact: locator, state, entity code, CQ zone, ITU zone, continent, and whether confirmed."""
    values = (
        contact.locator,
        contact.state,
        contact.entity_code,
        contact.cq_zone,
        contact.itu_zone,
        contact.continent,
        "C" if contact.confirmed else "",
    )
    return told(*("" if value is None else str(value) for value in values))


def told(locator: str, state: str, entity: str, cq_zone: str, itu_zone: str, continent: str, confirmed: str) -> str:
    """The text for the given values; an empty one is not told."""
    parts = (locator[:4], state, entity, cq_zone, itu_zone, continent, confirmed)
    return _BETWEEN.join(part.replace(_BETWEEN, " ") for part in parts).rstrip(_BETWEEN)


def facts_of(call: str, text: str) -> tuple[Facts, bool]:
    """What a contact counts for, and whether it is confirmed: as told, and by its call where it tells nothing."""
    parts = text.split(_BETWEEN) if text else []
    locator, state, entity, cq_zone, itu_zone, continent, confirmed = parts + [""] * (7 - len(parts))
    found = facts(call, locator)
    values = found.values
    for dimension, value in (
        (Dimension.ENTITY, entity),
        (Dimension.CQ_ZONE, cq_zone),
        (Dimension.ITU_ZONE, itu_zone),
        (Dimension.CONTINENT, continent),
    ):
        if value:
            values[dimension] = value
    if state and Dimension.ENTITY in values:
        values[Dimension.STATE] = f"{values[Dimension.ENTITY]} {state.upper()}"
    return found, confirmed == "C"
