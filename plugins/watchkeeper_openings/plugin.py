"""The plugin: counts credible hearings by band and direction, and says in plain words where the band is open."""

from __future__ import annotations

from typing import Annotated

import msgspec
from msgspec import Meta

from watchkeeper.api import Context, Event, Hearing, Period, Reception, hookimpl
from watchkeeper.radio import band as bands
from watchkeeper.radio.compass import SECTORS
from watchkeeper.radio.message import reports_own
from watchkeeper.view import View

from .showing import Open, directions, grey_line, history, rings, summary
from .window import Band

#: a period of which less was listened to says little about the band
_ENOUGH_S = 5.0
_LOWEST_HZ = {band.name: band.low_hz for band in bands.BANDS}


class OpeningsConfig(msgspec.Struct, frozen=True, kw_only=True):
    """What openings look back on."""

    window_min: Annotated[float, Meta(ge=2, le=240, description="minutes of event time that count as now")] = 15.0
    min_distance_km: Annotated[
        float, Meta(ge=0, le=20_000, description="nearer stations are no opening: they come by ground wave")
    ] = 0.0


class Openings:
    """Where each band is open."""

    name = "openings"
    api = 1
    Config = OpeningsConfig

    def __init__(self, config: OpeningsConfig, context: Context) -> None:
        self._config = config
        self._context = context
        self._window_ms = round(config.window_min * 60_000)
        self._bands: dict[str, Band] = {}
        self._drawn: tuple[int, str | None, str | None] | None = None
        self._views: tuple[View, ...] = ()

    @hookimpl
    def annotate(self, hearing: Hearing) -> None:
        """Count a credible, live hearing of a station whose place is known. Puts no note on it."""
        if hearing.band is None or not hearing.live or hearing.period_ms < self._context.now_ms - self._window_ms:
            return
        band = self._bands.get(hearing.band)
        if band is None:
            band = self._bands[hearing.band] = Band()
        credible = hearing.credibility.credible
        band.tell(hearing.period_ms, credible=credible)
        distance_km, azimuth_deg = hearing.distance_km, hearing.azimuth_deg
        if distance_km is None or azimuth_deg is None or distance_km < self._config.min_distance_km:
            return
        if hearing.call is None or not credible:
            return
        band.mode = hearing.mode
        placed = hearing.placed
        place = placed.entity.name if placed is not None and placed.entity is not None else "?"
        band.add(hearing.call, hearing.period_ms, hearing.snr_db, distance_km, azimuth_deg, place)
        self._drawn = None

    @hookimpl
    def event_seen(self, event: Event) -> None:
        """Count who hears us: that opens a band as well."""
        if not isinstance(event, Reception):
            return
        name = bands.of(event.dial_hz)
        if name is not None and reports_own(self._context.own.call, event.call):
            self._bands.setdefault(name, Band()).reported(event.by_call.upper(), event.at_ms)
            self._drawn = None

    @hookimpl
    def period_closed(self, period: Period) -> None:
        """Count the period as listened to, unless we sent in it or hardly listened."""
        hardly = period.listened_s is not None and period.listened_s < min(_ENOUGH_S, period.length_ms / 2000)
        if period.band is not None and not period.sent and not hardly:
            band = self._bands.setdefault(period.band, Band())
            band.expire(self._context.now_ms - self._window_ms)
            heard = {one.call for one in period.hearings if one.call is not None and one.credibility.credible}
            band.listen(period.start_ms, period.parity, len(heard))
            self._drawn = None

    # -- views --------------------------------------------------------------------------------------------------------

    @hookimpl
    def views(self) -> tuple[View, ...]:
        """The table of open directions, and a line in words for each band."""
        own = self._context.own
        tuned = None if own.dial_hz is None else bands.of(own.dial_hz)
        as_of = (self._context.now_ms, own.locator, tuned)
        if as_of != self._drawn:
            self._drawn = as_of
            self._views = self._draw(*as_of)
        return self._views

    def _draw(self, now_ms: int, own_locator: str | None, tuned: str | None) -> tuple[View, ...]:
        start_ms = now_ms - self._window_ms
        found: list[Open] = []
        views: list[View] = []
        names = sorted(self._bands, key=lambda each: (_LOWEST_HZ.get(each, 0), each))
        for name in names:
            band = self._bands[name]
            band.expire(start_ms)
            listened = band.listened
            here = [
                Open(name, band.mode, sector, figures)
                for sector in SECTORS
                if (figures := band.directions[sector].figures(listened, self._window_ms)) is not None
            ]
            found += sorted(here, key=lambda each: (-each.figures.stations, SECTORS.index(each.sector)))
            hear_us = band.hear_us(start_ms)
            if here or listened or hear_us:
                views.append(summary(name, here, len(listened), hear_us, in_use=name == tuned))
        missing = None if own_locator else "your locator, for directions and distances"
        bands_now = [(name, self._bands[name]) for name in names]
        return (
            directions(found, self._config.window_min, missing),
            *views,
            *grey_line(now_ms, own_locator),
            *rings(bands_now, self._config.window_min),
            *history(bands_now),
        )
