"""What this plugin tells of a hearing."""

from __future__ import annotations

from watchkeeper.api import Note, Urgency


class LookoutNote(Note, frozen=True, kw_only=True):
    """The rules that the hearing matches, the most urgent first, why each does, and its matter; how urgent that is.

    ``by_need``: all of them wait for something new, so that it means nothing once the log holds that.
    """

    rules: tuple[str, ...]
    reasons: tuple[str, ...]
    matters: tuple[str, ...]
    urgency: Urgency
    by_need: bool = False
