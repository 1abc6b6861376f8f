"""What this plugin tells of a hearing."""

from __future__ import annotations

import msgspec

from watchkeeper.api import Note

from .estimate import chance_of, dbw


class ReachNote(Note, frozen=True, kw_only=True):
    """The report that the station would give us now, in dB with its standard deviation, and the chance (0…1) that it
    decodes one transmission of ours.

    Both hold for ``power_w`` of ours (None where nobody told it) and its decoding limit ``limit_db``; :meth:`at_power`
    tells them for another power. ``evidence`` says in words on what that rests; ``age_ms`` is how old the newest of it
    was, None where there is none and the figures come from power and usual noise alone; ``own`` says that the station
    itself has reported us.
    """

    power_w: float | None
    limit_db: float
    expected_db: float
    spread_db: float
    chance: float
    evidence: str
    age_ms: int | None
    own: bool

    def at_power(self, power_w: float | None) -> ReachNote:
        """The same with another power of ours: every report shifts with it."""
        if power_w == self.power_w:
            return self
        expected_db = self.expected_db + dbw(power_w) - dbw(self.power_w)
        chance = chance_of(expected_db, self.spread_db, self.limit_db)
        return msgspec.structs.replace(self, power_w=power_w, expected_db=expected_db, chance=chance)
