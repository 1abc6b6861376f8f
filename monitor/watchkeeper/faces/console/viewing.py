"""How one person looks at the watch just now: what the keys change. Nothing of it reaches the journal."""

from __future__ import annotations

from dataclasses import dataclass, field

from ...view import Panel
from ..invitation import Invitation
from ..shown import HailShown, Snapshot
from ..words import period_s

#: older hails are history
HAIL_OPEN_MS = 30 * 60_000


@dataclass(slots=True)
class Viewing:
    """The state of one console."""

    read_only: bool = True
    band: str | None = None
    helping: bool = False
    can_invite: bool = False
    invitation: Invitation | None = None  # shown in place of the panels
    chosen: int = 0  # 0 is the last of the open hails
    message: str | None = None
    lost_s: float | None = None  # for how long the watch has not answered
    done: dict[str, int] = field(default_factory=dict)  # hail key → event time of the hail that was marked done

    def open_hails(self, snapshot: Snapshot) -> tuple[HailShown, ...]:
        """The hails of the last half hour that nobody here marked as done, each matter once.

        The newest period last, in it the most urgent, and of these the newest.
        """
        newest = {hail.key: hail for hail in snapshot.hails}
        since = (snapshot.now_ms or 0) - HAIL_OPEN_MS
        kept = (hail for hail in newest.values() if hail.at_ms > max(since, self.done.get(hail.key, -1)))
        length_ms = period_s(snapshot) * 1000
        return tuple(sorted(kept, key=lambda hail: (hail.at_ms // length_ms, hail.urgency, hail.at_ms)))

    @staticmethod
    def offered(snapshot: Snapshot) -> str | None:
        """The call whose exchange looks complete and waits to be logged, the newest of several; None without one."""
        rows = (row for table in snapshot.tables(Panel.LOG) for row in table.rows if row.data.get("act") == "log")
        return next((str(row.data["call"]) for row in rows), None)

    def next_band(self, snapshot: Snapshot) -> str | None:
        """Turn to the next band that any row names; after the last one all are shown again."""
        bands = bands_of(snapshot)
        if self.band is None:
            self.band = bands[0] if bands else None
        else:
            later = bands[bands.index(self.band) + 1 :] if self.band in bands else []
            self.band = later[0] if later else None
        return self.band


def bands_of(snapshot: Snapshot) -> list[str]:
    """The bands that rows name, in the order of first appearance."""
    found: dict[str, None] = {}
    for view in snapshot.views:
        for row in getattr(view, "rows", ()):
            band = row.data.get("band")
            if isinstance(band, str) and band:
                found[band] = None
    return list(found)
