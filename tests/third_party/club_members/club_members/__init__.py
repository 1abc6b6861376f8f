"""Greets the members of a club: an example of a plugin that lives outside Watchkeeper's own tree."""

from collections.abc import Sequence
from typing import Annotated

import msgspec
from msgspec import Meta

from watchkeeper.api import Context, Hail, Hearing, Note, Period, Urgency, hookimpl
from watchkeeper.view import Column, Panel, Row, Table, View

__all__ = ["Club", "ClubConfig", "MemberNote"]


class ClubConfig(msgspec.Struct, frozen=True, kw_only=True):
    """Who belongs to the club."""

    title: Annotated[str, Meta(min_length=1, max_length=40, description="what the club is called")] = "Club"
    members: Annotated[dict[str, str], Meta(description="call sign → name of each member")] = {}


class MemberNote(Note, frozen=True, kw_only=True):
    """The station belongs to a member."""

    name: str


class Club:
    """Notes members, hails each, and lists those that were heard."""

    name = "club"
    api = 1
    Config = ClubConfig
    provides = (MemberNote,)

    def __init__(self, config: ClubConfig, context: Context) -> None:
        self._config = config
        self._context = context
        self._heard: dict[str, tuple[str, ...]] = {}
        self._views: tuple[View, ...] | None = None

    @hookimpl
    def annotate(self, hearing: Hearing) -> MemberNote | None:
        """Name the member."""
        name = self._config.members.get(hearing.call or "")
        return None if name is None else MemberNote(name=name)

    @hookimpl
    def burst_judged(self, period: Period) -> None:
        """Hail the members whom the burst brought."""
        for hearing in period.fresh:
            note = hearing.note(MemberNote)
            if note is not None and hearing.call is not None:
                self._greet(hearing, hearing.call, note.name)

    def _greet(self, hearing: Hearing, call: str, name: str) -> None:
        self._heard[call] = (call, name)
        self._views = None
        self._context.hail(
            Hail(
                key=f"club:{call}:{hearing.band}",
                urgency=Urgency.WANTED,
                sentence=f"{name} of {self._config.title} is on the air: {call}",
                rule="club",
                at_ms=self._context.now_ms,
                call=call,
                band=hearing.band,
            )
        )

    @hookimpl
    def views(self) -> Sequence[View]:
        """The members heard, in the order of their calls."""
        if self._views is None:
            columns = (Column(key="call", title="call", keep=1), Column(key="name", title="name"))
            rows = tuple(Row(key=call, cells=cells) for call, cells in sorted(self._heard.items()))
            self._views = (
                Table(
                    name="club", panel=Panel.ON_THE_AIR, title=self._config.title, columns=columns, rows=rows, rank=5
                ),
            )
        return self._views
