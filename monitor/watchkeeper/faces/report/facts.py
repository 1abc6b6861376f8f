"""What a session report is made of: plain values, gathered by whoever can read the record.

The JSON form of a report is these structs as they stand. Times are event time in ms since 1970-01-01 UTC.
"""

from __future__ import annotations

from collections.abc import Iterable

import msgspec

from ...view import AnyView
from ..clean import scrub
from ..shown import HailShown, OwnStation


class HeardBin(msgspec.Struct, frozen=True, kw_only=True):
    """What was heard on one band in one stretch of time. SNR in dB: the quartiles over its hearings."""

    at_ms: int
    band: str
    periods: int  # in which something was heard
    hearings: int
    stations: int
    snr_low_db: float
    snr_median_db: float
    snr_high_db: float


class Direction(msgspec.Struct, frozen=True, kw_only=True):
    """Stations in one of eight directions and one ring of distance: heard by us, and hearing us."""

    sector: str
    from_km: int
    to_km: int
    heard: int
    hear_us: int
    best_heard_db: float | None = None
    best_report_db: float | None = None


class ContactLine(msgspec.Struct, frozen=True, kw_only=True):
    """One contact of the session and where it was forwarded to: destination → delivered, waiting, dead or dropped."""

    call: str
    started_ms: int
    ended_ms: int
    band: str | None = None
    mode: str
    report_sent: str | None = None
    report_received: str | None = None
    entity: str | None = None
    locator: str | None = None
    latitude: float | None = None
    longitude: float | None = None
    distance_km: float | None = None
    forwarded: dict[str, str] = {}


class GaugePoint(msgspec.Struct, frozen=True, kw_only=True):
    """Readings of the station at one moment, those that there were."""

    at_ms: int
    supply_v: float | None = None
    supply_a: float | None = None
    host_battery_fraction: float | None = None
    forward_w: float | None = None
    swr: float | None = None


class Happening(msgspec.Struct, frozen=True, kw_only=True):
    """One thing that happened, in a sentence."""

    at_ms: int
    sentence: str


class Report(msgspec.Struct, frozen=True, kw_only=True):
    """One session."""

    watchkeeper: str  # the program's version
    session: int
    started_ms: int
    ended_ms: int
    running: bool
    own: OwnStation
    own_latitude: float | None = None
    own_longitude: float | None = None
    hearings: int = 0
    stations: int = 0
    transmissions: int = 0
    receptions: int = 0
    events_lost: int = 0
    farthest_call: str | None = None
    farthest_km: float | None = None
    contacts: tuple[ContactLine, ...] = ()
    hails: tuple[HailShown, ...] = ()
    happenings: tuple[Happening, ...] = ()
    bins: tuple[HeardBin, ...] = ()
    bin_ms: int = 60_000
    directions: tuple[Direction, ...] = ()
    gauges: tuple[GaugePoint, ...] = ()
    views: tuple[AnyView, ...] = ()


def cleaned(report: Report) -> Report:
    """The report with every text of it made harmless: what is drawn and printed."""
    return msgspec.convert(scrub(msgspec.to_builtins(report)), Report)


def bands(report: Report) -> list[str]:
    """The bands on which something was heard, those with most hearings first."""
    counts: dict[str, int] = {}
    for one in report.bins:
        counts[one.band] = counts.get(one.band, 0) + one.hearings
    return sorted(counts, key=lambda band: (-counts[band], band))


def quartiles(values: Iterable[float]) -> tuple[float, float, float]:
    """The lower quartile, the median and the upper quartile of at least one value (nearest rank)."""
    ranked = sorted(values)
    last = len(ranked) - 1
    return ranked[round(last / 4)], ranked[round(last / 2)], ranked[round(3 * last / 4)]
