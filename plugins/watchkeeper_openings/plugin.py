"""The plugin: counts credible hearings by band and direction, and says in plain words where the band is open."""

from __future__ import annotations

from typing import Annotated, NamedTuple

import msgspec
from msgspec import Meta

from watchkeeper.api import Context, Hearing, Period, hookimpl
from watchkeeper.radio import band as bands
from watchkeeper.view import Column, Notice, Panel, Row, Table, Urgency, View

from .window import SECTORS, Band, Figures, sector_of

_NAMES = {
    "N": "north", "NE": "north-east", "E": "east", "SE": "south-east",
    "S": "south", "SW": "south-west", "W": "west", "NW": "north-west",
}  # fmt: skip
#: a period of which less was listened to says little about the band
_ENOUGH_S = 5.0
_LOWEST_HZ = {band.name: band.low_hz for band in bands.BANDS}


class OpeningsConfig(msgspec.Struct, frozen=True, kw_only=True):
    """What openings look back on."""

    window_min: Annotated[float, Meta(ge=2, le=240, description="minutes of event time that count as now")] = 15.0
    min_distance_km: Annotated[
        float, Meta(ge=0, le=20_000, description="nearer stations are no opening: they come by ground wave")
    ] = 0.0


class Open(NamedTuple):
    """One band and direction that let somebody through."""

    band: str
    mode: str
    sector: str
    figures: Figures


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
        self._drawn: tuple[int, str | None] | None = None
        self._views: tuple[View, ...] = ()

    @hookimpl
    def annotate(self, hearing: Hearing) -> None:
        """Count a credible, live hearing of a station whose place is known. Puts no note on it."""
        distance_km, azimuth_deg = hearing.distance_km, hearing.azimuth_deg
        if distance_km is None or azimuth_deg is None or distance_km < self._config.min_distance_km:
            return
        if hearing.band is None or hearing.call is None or not hearing.live or not hearing.credibility.credible:
            return
        if hearing.period_ms < self._context.now_ms - self._window_ms:
            return
        band = self._bands.get(hearing.band)
        if band is None:
            band = self._bands[hearing.band] = Band()
        band.mode = hearing.mode
        placed = hearing.placed
        place = placed.entity.name if placed is not None and placed.entity is not None else "?"
        direction = band.directions[sector_of(azimuth_deg)]
        direction.add(hearing.call, hearing.period_ms, hearing.snr_db, distance_km, place)
        self._drawn = None

    @hookimpl
    def period_closed(self, period: Period) -> None:
        """Count the period as listened to, unless we sent in it or hardly listened."""
        hardly = period.listened_s is not None and period.listened_s < min(_ENOUGH_S, period.length_ms / 2000)
        if period.band is not None and not period.sent and not hardly:
            band = self._bands.setdefault(period.band, Band())
            band.expire(self._context.now_ms - self._window_ms)
            band.listen(period.start_ms)
            self._drawn = None

    # -- views --------------------------------------------------------------------------------------------------------

    @hookimpl
    def views(self) -> tuple[View, ...]:
        """The table of open directions, and a line in words for each band."""
        as_of = (self._context.now_ms, self._context.own.locator)
        if as_of != self._drawn:
            self._drawn = as_of
            self._views = self._draw(*as_of)
        return self._views

    def _draw(self, now_ms: int, own_locator: str | None) -> tuple[View, ...]:
        start_ms, middle_ms = now_ms - self._window_ms, now_ms - self._window_ms // 2
        found: list[Open] = []
        summaries: list[View] = []
        for name in sorted(self._bands, key=lambda each: (_LOWEST_HZ.get(each, 0), each)):
            band = self._bands[name]
            band.expire(start_ms)
            listened = band.listened(middle_ms)
            here = [
                Open(name, band.mode, sector, figures)
                for sector in SECTORS
                if (figures := band.directions[sector].figures(listened, middle_ms)) is not None
            ]
            found += sorted(here, key=lambda each: (-each.figures.stations, SECTORS.index(each.sector)))
            summaries.append(_summary(name, here, listened.all))
        missing = None if own_locator else "your locator, for directions and distances"
        return (_table(found, self._config.window_min, missing), *summaries)


def _table(found: list[Open], window_min: float, missing: str | None) -> Table:
    return Table(
        name="openings.directions",
        panel=Panel.OPENINGS,
        title=f"Openings, last {window_min:g} min",
        rank=20,
        missing=missing,
        columns=(
            Column(key="band", title="band", keep=1),
            Column(key="direction", title="to", keep=1),
            Column(key="stations", title="stations", right=True, keep=2),
            Column(key="rate", title="per period", right=True, keep=5),
            Column(key="median", title="median", unit="dB", right=True, keep=4),
            Column(key="best", title="best", unit="dB", right=True, keep=6),
            Column(key="farthest", title="farthest", keep=3),
            Column(key="trend", title="trend", keep=4),
        ),
        rows=tuple(map(_row, found)),
        empty="nothing heard from a known place yet",
    )


def _row(each: Open) -> Row:
    figures = each.figures
    return Row(
        key=f"{each.band}|{each.sector}",
        cells=(
            _band_words(each.band),
            each.sector,
            str(figures.stations),
            "" if figures.rate is None else f"{figures.rate:.1f}",
            _db(figures.median_db),
            _db(figures.best_db),
            f"{figures.farthest_km:,.0f} km {figures.place}",
            figures.trend,
        ),
        urgency=Urgency.NOTE if figures.trend == "opening" else Urgency.CALM,
        sentence=f"{_band_words(each.band)} to the {_NAMES[each.sector]}: {_stations(figures.stations)}, "
        f"farthest {figures.farthest_call} in {figures.place}, {figures.farthest_km:,.0f} km, {figures.trend}",
        data={
            "band": each.band,
            "mode": each.mode,
            "direction": each.sector,
            "stations": figures.stations,
            "rate": None if figures.rate is None else round(figures.rate, 3),
            "median_db": figures.median_db,
            "best_db": figures.best_db,
            "farthest_km": round(figures.farthest_km, 1),
            "farthest_call": figures.farthest_call,
            "trend": figures.trend,
        },
    )


def _summary(name: str, here: list[Open], listened: int) -> Notice:
    """One line in plain words: ``20 m: 23 stations, most from the east, farthest Japan 9,100 km; rising there``."""
    words = f"{_band_words(name)}: nobody from a known place in {listened} listened periods"
    if here:
        most = max(here, key=lambda each: each.figures.stations)
        far = max(here, key=lambda each: each.figures.farthest_km)
        stations = sum(each.figures.stations for each in here)
        words = (
            f"{_band_words(name)}: {_stations(stations)}, most from the {_NAMES[most.sector]}, "
            f"farthest {far.figures.place} {far.figures.farthest_km:,.0f} km"
        )
        for trend in ("opening", "rising", "falling", "closed"):
            moving = [_NAMES[each.sector] for each in here if each.figures.trend == trend]
            if moving:
                words += f"; {trend} to the {' and '.join(moving)}"
    return Notice(
        name=f"openings.{name}",
        panel=Panel.OPENINGS,
        title=_band_words(name),
        rank=10,
        text=words,
        urgency=Urgency.CALM,
    )


def _stations(number: int) -> str:
    return "1 station" if number == 1 else f"{number} stations"


def _band_words(name: str) -> str:
    digits = name.rstrip("abcdefghijklmnopqrstuvwxyz")
    return f"{digits} {name[len(digits) :]}"


def _db(level_db: float) -> str:
    return f"{level_db:+.0f}".replace("-", "−")
