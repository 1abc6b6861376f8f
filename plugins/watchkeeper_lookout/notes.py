"""What this plugin tells of a hearing."""

from __future__ import annotations

from watchkeeper.api import Note, Urgency


class LookoutNote(Note, frozen=True, kw_only=True):
    """The rules that the hearing matches and why each does, the most urgent first, and how urgent that is."""

    rules: tuple[str, ...]
    reasons: tuple[str, ...]
    urgency: Urgency
