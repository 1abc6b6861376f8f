"""Contacts by the references they were made from: a column beside each contact says which, and an index finds them."""

from __future__ import annotations

import sqlite3

import msgspec

from .worked import Activated

_References = tuple[tuple[str, str], ...]
_decode = msgspec.json.Decoder(_References).decode
_MADE = """
    SELECT coalesce(key, 'row ' || id), call, band, mode, started_ms FROM contact
    WHERE activated = :activated AND id < :before
    AND id NOT IN (SELECT supersedes FROM contact WHERE supersedes IS NOT NULL AND id < :before)
    AND (import_id IS NULL OR import_id NOT IN (SELECT import_id FROM undo WHERE undo.id < :before))
    ORDER BY id
"""


def activated_by(references: _References) -> str | None:
    """What stands in the column of a contact made from ``references``; None for a contact made from none."""
    return msgspec.json.encode(references).decode() if references else None


def made_from(connection: sqlite3.Connection, programme: str, reference: str, before_id: int) -> tuple[Activated, ...]:
    """The contacts that the log held before number ``before_id`` and that were made from a reference, in its order.

    Neither letter case of programme and reference counts.
    """
    wanted = (programme.upper(), reference.upper())
    columns = connection.execute("SELECT DISTINCT activated FROM contact WHERE activated IS NOT NULL").fetchall()
    return tuple(
        Activated(*row)
        for (column,) in columns
        if any((one.upper(), other.upper()) == wanted for one, other in _decode(column))
        for row in connection.execute(_MADE, {"activated": column, "before": before_id})
    )
