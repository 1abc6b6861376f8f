"""The worked index from the rows of the log."""

from __future__ import annotations

import sqlite3

from ..model import Contact
from .contacts import from_body
from .worked import Dimension, Facts, WorkedIndex, facts


def facts_of(contact: Contact) -> Facts:
    """What a logged contact counts for: what it says itself, and what its call tells where it says nothing."""
    found = facts(contact.call, contact.locator)
    values = found.values
    for dimension, value in (
        (Dimension.ENTITY, contact.entity_code),
        (Dimension.CQ_ZONE, contact.cq_zone),
        (Dimension.ITU_ZONE, contact.itu_zone),
        (Dimension.CONTINENT, contact.continent),
    ):
        if value is not None:
            values[dimension] = str(value)
    if contact.state and Dimension.ENTITY in values:
        values[Dimension.STATE] = f"{values[Dimension.ENTITY]} {contact.state.upper()}"
    return found


def build(connection: sqlite3.Connection, before_id: int) -> WorkedIndex:
    """The index as the log stood before row ``before_id``, from every row: exact, and slow on a large log."""
    index = WorkedIndex()
    fold(index, connection, 0, before_id)
    return index


def fold(index: WorkedIndex, connection: sqlite3.Connection, behind_id: int, before_id: int) -> None:
    """Add the rows behind ``behind_id`` and before ``before_id`` that no correction or undo number took out."""
    rows = connection.execute(
        "SELECT body, id NOT IN (SELECT contact_id FROM same_as) FROM contact"
        " WHERE id > :behind AND id < :before"
        " AND id NOT IN (SELECT supersedes FROM contact WHERE supersedes IS NOT NULL AND id < :before)"
        " AND (import_id IS NULL OR import_id NOT IN (SELECT import_id FROM undo WHERE undo.id < :before))"
        " ORDER BY id",
        {"behind": behind_id, "before": before_id},
    )
    for body, counts in rows:
        contact = from_body(body)
        index.add(facts_of(contact), contact.band, contact.mode, contact.started_ms, contact.confirmed, bool(counts))
