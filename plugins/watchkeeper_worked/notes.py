"""What this plugin tells of a hearing."""

from __future__ import annotations

from watchkeeper.api import Need, Note


class WorkedNote(Note, frozen=True, kw_only=True):
    """How the station stands in the log: ``needs`` strongest first, and ``why`` in words.

    ``duplicate`` says that a contact on this band in this mode would not count again, by the operator's rule;
    ``counts_for`` names the references that are activated, not complete yet, and that such a contact would count for.
    """

    needs: tuple[Need, ...]
    duplicate: bool
    why: str
    counts_for: tuple[str, ...] = ()
