"""Contacts that nobody announced: exchanges that look complete although no source sent a ``contact`` for them.

Complete means both reports and both rogers; a farewell is not needed. After our own last word the exchange is only
*probably* complete: a repeated report from the other side opens it again. Two minutes later it is offered to the
operator, or logged if the configuration says so. A source's own contact that comes later is like it, and not forwarded
twice.
"""

from __future__ import annotations

from collections.abc import Sequence

from ..model import Hail, Own
from ..schema import events
from ..view import Column, Panel, Row, Table, Urgency
from .clock import period_ms
from .with_us import WithUs

#: how long a source has to announce it
OFFER_AFTER_MS = 2 * 60_000
#: the source that such contacts bear
SOURCE = "watchkeeper"


def hail_of(ours: WithUs, now_ms: int) -> Hail:
    """Tells the operator that an exchange looks complete."""
    return Hail(
        key=f"unannounced|{ours.call}|{ours.first_ms}",
        urgency=Urgency.WANTED,
        sentence=f"The contact with {ours.call} looks complete, and no source has announced it: log it?",
        rule="looks complete",
        at_ms=now_ms,
        call=ours.call,
        band=ours.band,
        reasons=(f"sent {ours.we_told}, received {ours.they_told}, both acknowledged",),
    )


def contact_of(ours: WithUs, own: Own, now_ms: int) -> events.Contact:
    """The contact as a source would have announced it; the same exchange gives the same contact."""
    mode = ours.mode or own.mode or "FT8"
    ended_ms = (ours.completed_ms or ours.last_ms) + period_ms(mode)
    return events.Contact(
        v=events.VERSION,
        source=SOURCE,
        at=events.from_ms(now_ms),
        id=f"{ours.call[:32]}-{ours.first_ms}",
        call=ours.call,
        started_at=events.from_ms(ours.first_ms),
        ended_at=events.from_ms(ended_ms),
        dial_hz=ours.dial_hz or own.dial_hz or 0,
        offset_hz=ours.offset_hz,
        mode=mode,
        report_sent=ours.our_report,
        report_received=ours.their_report,
        exchange_sent=ours.our_exchange,
        exchange_received=ours.their_exchange,
    )


def view_of(offered: Sequence[WithUs]) -> Table:
    """The offers, the newest first."""
    return Table(
        name="core.unannounced",
        panel=Panel.LOG,
        title="Looks complete, announced by nobody",
        rank=5,
        columns=(
            Column(key="call", title="call", keep=1),
            Column(key="band", title="band", keep=3),
            Column(key="sent", title="sent", right=True, keep=4),
            Column(key="received", title="rcvd", right=True, keep=4),
            Column(key="act", title="to log it", keep=2),
        ),
        rows=tuple(_row(ours) for ours in reversed(offered)),
    )


def _row(ours: WithUs) -> Row:
    return Row(
        key=ours.call,
        cells=(
            ours.call,
            ours.band or "",
            ours.we_told or "",
            ours.they_told or "",
            f"l, or `watchkeeper log complete {ours.call}`",
        ),
        urgency=Urgency.WANTED,
        data={"call": ours.call, "band": ours.band, "act": "log"},
    )
