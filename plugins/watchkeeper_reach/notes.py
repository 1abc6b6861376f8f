"""What this plugin tells of a hearing."""

from __future__ import annotations

from watchkeeper.api import Note


class ReachNote(Note, frozen=True, kw_only=True):
    """The report that the station would give us now, in dB with its standard deviation, and the chance (0…1) that it
    decodes one transmission of ours.

    ``evidence`` says in words on what that rests; ``age_ms`` is how old the newest of it was, None where there is none
    and the figures come from power and usual noise alone; ``own`` says that the station itself has reported us.
    """

    expected_db: float
    spread_db: float
    chance: float
    evidence: str
    age_ms: int | None
    own: bool
