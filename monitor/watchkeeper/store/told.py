"""What a contact itself says that it counts for, in one short text beside its row.

The worked index is built from call, band, mode and this text, so that building it need not take every contact apart.
"""

from __future__ import annotations

from functools import lru_cache

from ..model import Contact
from .worked import Dimension, Facts, facts

_BETWEEN = "|"
#: ends the text of a confirmed contact
CONFIRMED = "!"


def told_by(contact: Contact) -> str:
    """The text for a contact: locator, state, entity code, CQ zone, ITU zone, continent, and whether confirmed."""
    values = (
        contact.locator,
        contact.state,
        contact.entity_code,
        contact.cq_zone,
        contact.itu_zone,
        contact.continent,
        CONFIRMED if contact.confirmed else "",
    )
    return told(*("" if value is None else str(value) for value in values))


def told(locator: str, state: str, entity: str, cq_zone: str, itu_zone: str, continent: str, confirmed: str) -> str:
    """The text for the given values; an empty one is not told. ``confirmed`` is CONFIRMED or nothing."""
    parts = (locator[:4], state, entity, cq_zone, itu_zone, continent)
    return _BETWEEN.join(part.replace(_BETWEEN, " ") for part in parts).rstrip(_BETWEEN) + confirmed


def facts_of(call: str, text: str) -> Facts:
    """What a contact counts for: as told, and by its call where it tells nothing."""
    locator, _, rest = text.partition(_BETWEEN)
    state, others = _parts(rest)
    found = facts(call, locator)
    found.values.update(others)
    if state and Dimension.ENTITY in found.values:
        found.values[Dimension.STATE] = f"{found.values[Dimension.ENTITY]} {state.upper()}"
    return found


@lru_cache(maxsize=4096)
def _parts(rest: str) -> tuple[str, tuple[tuple[Dimension, str], ...]]:
    """What stands behind the locator; it is the same for most stations of a place."""
    state, entity, cq_zone, itu_zone, continent = (rest.split(_BETWEEN) + [""] * 4)[:5]
    others = (
        (Dimension.ENTITY, entity),
        (Dimension.CQ_ZONE, cq_zone),
        (Dimension.ITU_ZONE, itu_zone),
        (Dimension.CONTINENT, continent),
    )
    return state, tuple(pair for pair in others if pair[1])
