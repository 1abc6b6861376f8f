"""What a face draws: one snapshot of the watch. It depends on the journal alone; status stands apart."""

from __future__ import annotations

import msgspec

from ..host.status import Resting
from ..model import Hail, Own, Period
from ..schema.events import stamp
from ..view import AnyView
from .pipeline import Cover, Watch

#: the newest hails that a snapshot carries
HAILS = 20


class PeriodNow(msgspec.Struct, frozen=True, kw_only=True):
    """The period that began last."""

    source: str
    mode: str
    band: str | None
    dial_hz: int
    start: str
    length_s: float
    parity: int
    closed: bool
    sent: bool
    heard: int


class Snapshot(msgspec.Struct, frozen=True, kw_only=True):
    """See the schema page; ``event_clock`` is None before the first event."""

    v: int = 1
    event_clock: str | None
    period: PeriodNow | None
    own: Own
    covers: dict[str, Cover]
    views: tuple[AnyView, ...]
    hails: tuple[Hail, ...]
    hails_out: int
    held_back: int
    contacts: int
    rested: tuple[Resting, ...]


def take(watch: Watch) -> Snapshot:
    """The snapshot now."""
    return Snapshot(
        event_clock=stamp(watch.now_ms) if watch.now_ms else None,
        period=None if watch.period is None else _period(watch.period),
        own=watch.own,
        covers=dict(watch.covers),
        views=tuple(watch.views()),
        hails=tuple(watch.hails.recent)[-HAILS:],
        hails_out=watch.hails.out,
        held_back=watch.hails.held_back,
        contacts=watch.contacts_logged,
        rested=watch.rested(),
    )


def _period(period: Period) -> PeriodNow:
    return PeriodNow(
        source=period.source,
        mode=period.mode,
        band=period.band,
        dial_hz=period.dial_hz,
        start=stamp(period.start_ms),
        length_s=period.length_ms / 1000,
        parity=period.parity,
        closed=period.closed,
        sent=period.sent,
        heard=len(period.hearings),
    )
