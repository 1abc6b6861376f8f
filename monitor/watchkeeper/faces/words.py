"""The words and signs that every face uses for the same thing."""

from __future__ import annotations

import re
from datetime import UTC, datetime

from ..view import Panel, Urgency, counted, minus
from .shown import Outbox, PeriodNow, Snapshot, Status

URGENCY_WORDS = {Urgency.CALM: "", Urgency.NOTE: "note", Urgency.WANTED: "wanted", Urgency.URGENT: "urgent"}
URGENCY_SIGNS = {Urgency.CALM: "", Urgency.NOTE: "·", Urgency.WANTED: "!", Urgency.URGENT: "!!"}
PANEL_NAMES = {
    Panel.LOOKOUT: "Lookout",
    Panel.ON_THE_AIR: "On the air",
    Panel.OPENINGS: "Openings",
    Panel.REACH: "Reach",
    Panel.VITALS: "Vitals",
    Panel.LOG: "Log",
}
PARITY_WORDS = ("even", "odd")
#: a copy of what ``radio.compass`` holds: faces draw views alone and may not import what plugins reckon with
SECTORS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")

#: nothing from any source for so many periods, and then some seconds for a slow decoder, is silence
SILENT_PERIODS = 2
SILENT_GRACE_S = 5.0
DEFAULT_PERIOD_S = 15.0


def megahertz(hz: int) -> str:
    """``14.0740 MHz`` without needless zeros, yet never fewer than three decimals."""
    whole, rest = divmod(hz, 1_000_000)
    digits = f"{rest:06d}".rstrip("0").ljust(3, "0")
    return f"{whole}.{digits} MHz"


def band_words(band: str) -> str:
    """``20m``, as the ADIF standard writes it, as one reads it: ``20 m`` (a copy as well)."""
    return re.sub(r"^([\d.]+)(mm|cm|m)$", r"\1 \2", band)


def span(seconds: float) -> str:
    """A length of time in its largest sensible unit: ``6 s``, ``3 min``, ``2 h 05 min``, ``3 days``."""
    seconds = max(0, int(seconds))
    if seconds < 100:
        return f"{seconds} s"
    minutes = seconds // 60
    if minutes < 100:
        return f"{minutes} min"
    hours, minutes = divmod(minutes, 60)
    if hours < 48:
        return f"{hours} h {minutes:02d} min"
    return f"{hours // 24} days"


def decibel(value: float) -> str:
    """``−12 dB`` or ``+3 dB``."""
    return minus(f"{round(value):+d} dB")


def utc(at_ms: int) -> str:
    """``18:42:09`` of that moment in UTC."""
    return datetime.fromtimestamp(at_ms / 1000, UTC).strftime("%H:%M:%S")


def parity_at(period: PeriodNow, now_ms: int) -> int:
    """The parity of the period that runs at ``now_ms``: floor(UTC seconds ÷ length) mod 2."""
    return int(now_ms // (period.length_s * 1000)) % 2


def left_s(period: PeriodNow, now_ms: int) -> float:
    """Seconds until the period that runs at ``now_ms`` ends."""
    length_ms = period.length_s * 1000
    return float(length_ms - now_ms % length_ms) / 1000


def period_s(snapshot: Snapshot) -> float:
    """The length of a period in seconds."""
    return DEFAULT_PERIOD_S if snapshot.period is None else snapshot.period.length_s


def silence_s(snapshot: Snapshot, now_ms: int) -> float | None:
    """For how long the sources have been silent, or None while that is less than would be strange."""
    heard_ms = snapshot.now_ms
    if heard_ms is None:
        return None
    quiet_s = (now_ms - heard_ms) / 1000
    return quiet_s if quiet_s > SILENT_PERIODS * period_s(snapshot) + SILENT_GRACE_S else None


def logged(snapshot: Snapshot) -> str:
    """``12 contacts in the log``."""
    return f"{counted(snapshot.contacts, 'contact')} in the log"


def forwarding(status: Status) -> list[tuple[Urgency, str]]:
    """How forwarding stands, one sentence for each destination; nothing where there is no destination."""
    return [(_outbox_urgency(box), f"{name} {_outbox_words(box)}") for name, box in status.outbox.items()]


def _outbox_urgency(box: Outbox) -> Urgency:
    return Urgency.WANTED if box.down_since is not None or box.dead else Urgency.CALM


def _outbox_words(box: Outbox) -> str:
    parts = []
    if box.down_since is not None:
        parts.append(f"not answering for {span(box.oldest_s)}" if box.oldest_s else "not answering")
    if box.dead:
        parts.append(f"refused {box.dead} for good")
    if box.waiting:
        parts.append(f"{box.waiting} waiting")
    parts.append(f"{box.delivered} forwarded")
    return ", ".join(parts) + (f" ({box.why})" if box.why else "")


def intake(status: Status) -> list[tuple[Urgency, str]]:
    """What went wrong on the way in; nothing where all is well."""
    told = []
    refused = sum(status.intake.rejected.values())
    if refused:
        reasons = ", ".join(f"{reason} {number}" for reason, number in sorted(status.intake.rejected.items()) if number)
        told.append((Urgency.NOTE, f"{counted(refused, 'datagram')} not valid ({reasons})"))
    if status.intake.lost:
        told.append((Urgency.NOTE, f"{counted(status.intake.lost, 'event')} lost on the way"))
    if status.intake.kernel_drops:
        told.append((Urgency.NOTE, f"{counted(status.intake.kernel_drops, 'datagram')} dropped by the system"))
    if status.intake.shed:
        told.append((Urgency.NOTE, f"{counted(status.intake.shed, 'hearing')} dropped by overload"))
    return told


def plugins(status: Status) -> list[tuple[Urgency, str]]:
    """The plugins that do not work, and why."""
    return [
        (
            Urgency.WANTED,
            f"plugin {plugin.name}{f' ({plugin.distribution})' if plugin.distribution else ''} {plugin.state}"
            f"{f': {plugin.reason}' if plugin.reason else ''}",
        )
        for plugin in status.plugins
        if plugin.state in TROUBLED
    ]


#: the states of a plugin that the operator should hear of
TROUBLED = frozenset({"rested", "blocked", "failed to load"})
