"""What a contact itself says that it counts for, in one short text beside its row.

The worked index is built from call, band, mode and this text, so that building it need not take every contact apart.
"""

from __future__ import annotations

from functools import lru_cache

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


def is_confirmed(text: str) -> bool:
    """Whether the text says that the contact is confirmed: the seventh of its parts."""
    return text.endswith("|C") and text.count(_BETWEEN) == 6


def facts_of(call: str, text: str) -> tuple[Facts, bool]:
    """What a contact counts for, and whether it is confirmed: as told, and by its call where it tells nothing."""
    locator, state, others, confirmed = _parts(text)
    found = facts(call, locator)
    found.values.update(others)
    if state and Dimension.ENTITY in found.values:
        found.values[Dimension.STATE] = f"{found.values[Dimension.ENTITY]} {state.upper()}"
    return found, confirmed


@lru_cache(maxsize=4096)
def _parts(text: str) -> tuple[str, str, tuple[tuple[Dimension, str], ...], bool]:
    parts = text.split(_BETWEEN)
    locator, state, entity, cq_zone, itu_zone, continent, confirmed = parts + [""] * (7 - len(parts))
    others = (
        (Dimension.ENTITY, entity),
        (Dimension.CQ_ZONE, cq_zone),
        (Dimension.ITU_ZONE, itu_zone),
        (Dimension.CONTINENT, continent),
    )
    return locator, state, tuple(pair for pair in others if pair[1]), confirmed == "C"
