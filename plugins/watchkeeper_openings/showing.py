"""Openings as views: directions, distance rings, history, the grey line, and a line in words for each band."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import NamedTuple

from watchkeeper.api import from_ms
from watchkeeper.radio import locator, sun
from watchkeeper.radio.band import words as band_words
from watchkeeper.view import Column, Line, Notice, Panel, Row, Series, Table, Urgency, View, counted, minus

from .window import RINGS_KM, Band, Figures

_ALL_ROUND = 6
#: one station alone can be an uncommonly strong one: it is shown, but makes no opening
_OPEN_STATIONS = 2
_MOST_NAMED = 2


class Open(NamedTuple):
    """One band and direction that let somebody through."""

    band: str
    mode: str
    sector: str
    figures: Figures


def directions(found: list[Open], window_min: float, missing: str | None) -> Table:
    """The table of bands and directions."""
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
    since = "" if figures.since_ms is None else f" since {from_ms(figures.since_ms):%H:%M}"
    return Row(
        key=f"{each.band}|{each.sector}",
        cells=(
            band_words(each.band),
            each.sector,
            str(figures.stations),
            "" if figures.rate is None else f"{figures.rate:.1f}",
            _db(figures.median_db),
            _db(figures.best_db),
            f"{figures.farthest_km:,.0f} km {figures.place}",
            figures.trend,
        ),
        urgency=Urgency.NOTE if figures.trend == "opening" else Urgency.CALM,
        sentence=f"{band_words(each.band)} {each.sector}, {figures.trend}{since}: "
        f"{counted(figures.stations, 'station')}, "
        f"{figures.farthest_call} in {figures.place} {figures.farthest_km:,.0f} km",
        data={
            "band": each.band,
            "mode": each.mode,
            "direction": each.sector,
            "stations": figures.stations,
            "rate": None if figures.rate is None else round(figures.rate, 3),
            "low_quarter_db": figures.quartiles_db[0],
            "median_db": figures.median_db,
            "high_quarter_db": figures.quartiles_db[2],
            "best_db": figures.best_db,
            "nearest_km": round(figures.nearest_km, 1),
            "farthest_km": round(figures.farthest_km, 1),
            "farthest_call": figures.farthest_call,
            "open": figures.stations >= _OPEN_STATIONS and figures.trend != "closed",
            "trend": figures.trend,
            "since_ms": figures.since_ms,
        },
    )


def rings(bands: Sequence[tuple[str, Band]], window_min: float) -> list[View]:
    """The table of bands and distances; nothing while nobody was heard."""
    rows = [row for name, band in bands for row in _rings(name, band, round(window_min * 60_000))]
    if not rows:
        return []
    return [
        Table(
            name="openings.distances",
            panel=Panel.OPENINGS,
            title=f"By distance, last {window_min:g} min",
            rank=30,
            columns=(
                Column(key="band", title="band", keep=1),
                Column(key="ring", title="km", keep=1),
                Column(key="stations", title="stations", right=True, keep=2),
                Column(key="rate", title="per period", right=True, keep=5),
                Column(key="quartiles", title="quartiles", unit="dB", right=True, keep=3),
                Column(key="nearest", title="nearest", unit="km", right=True, keep=4),
                Column(key="trend", title="trend", keep=4),
            ),
            rows=tuple(rows),
        )
    ]


def _rings(name: str, band: Band, window_ms: int) -> list[Row]:
    inner = dict(zip(RINGS_KM, (0, *RINGS_KM), strict=False))
    share = band.credible_share
    listened = band.listened
    found = [(outer_km, ring.figures(listened, window_ms)) for outer_km, ring in band.rings.items()]
    return [
        _ring(name, inner[outer_km], outer_km, figures, share) for outer_km, figures in found if figures is not None
    ]


def _ring(name: str, inner_km: int, outer_km: int, figures: Figures, share: float | None) -> Row:
    low_db, middle_db, high_db = figures.quartiles_db
    return Row(
        key=f"{name}|{outer_km}",
        cells=(
            band_words(name),
            f"{inner_km:,}–{outer_km:,}",
            str(figures.stations),
            "" if figures.rate is None else f"{figures.rate:.1f}",
            f"{_db(low_db)} {_db(middle_db)} {_db(high_db)}",
            f"{figures.nearest_km:,.0f}",
            figures.trend,
        ),
        data={
            "band": name,
            "from_km": inner_km,
            "to_km": outer_km,
            "stations": figures.stations,
            "rate": None if figures.rate is None else round(figures.rate, 3),
            "low_quarter_db": low_db,
            "median_db": middle_db,
            "high_quarter_db": high_db,
            "nearest_km": round(figures.nearest_km, 1),
            "farthest_km": round(figures.farthest_km, 1),
            "farthest_call": figures.farthest_call,
            "credible_share": None if share is None else round(share, 3),
            "trend": figures.trend,
            "since_ms": figures.since_ms,
        },
    )


def history(bands: Sequence[tuple[str, Band]]) -> list[View]:
    """Stations per listened period over the last hours; nothing while there is one point only."""
    lines = tuple(Line(label=band_words(name), points=band.history) for name, band in bands if len(band.history) > 1)
    if not lines:
        return []
    return [
        Series(
            name="openings.history",
            panel=Panel.OPENINGS,
            title="Stations per period",
            rank=40,
            unit="",
            lines=lines,
        )
    ]


def grey_line(now_ms: int, own_locator: str | None) -> list[View]:
    """A notice while the own station lies in the twilight; it says how long."""
    if own_locator is None or not locator.is_locator(own_locator) or not now_ms:
        return []
    place, now = locator.centre(own_locator), from_ms(now_ms)
    if not sun.is_grey_line(place.latitude, place.longitude, now):
        return []
    minutes = 5
    while minutes < 120 and sun.is_grey_line(place.latitude, place.longitude, now + timedelta(minutes=minutes)):
        minutes += 5
    return [
        Notice(
            name="openings.grey_line",
            panel=Panel.OPENINGS,
            title="Grey line",
            rank=15,
            text=f"Grey line until about {now + timedelta(minutes=minutes):%H:%M} UTC: "
            "listen on the low bands along it.",
        )
    ]


def summary(name: str, here: list[Open], listened: int, hear_us: int, *, in_use: bool = False) -> Notice:
    """One line in plain words, what matters most first: it has to be told in the 69 characters of a narrow screen.

    ``20 m: 183 heard, rising NE, E; 89 hear you; 64 to 11,186 km Japan``: how many and how that moves, then who
    hears us, then from the nearest to the farthest, whose name is the first to be cut. The band in use stands first.
    """
    parts = [f"nobody from a known place in {listened} listened periods" if listened else "not listened to"]
    if here:
        stations = sum(each.figures.stations for each in here)
        parts = [f"{stations} heard, {_movement(here)}"]
    if hear_us:
        parts.append(f"{hear_us} {'hears' if hear_us == 1 else 'hear'} you")
    if here:
        far = max((each.figures for each in here), key=lambda each: each.farthest_km)
        near_km = min(each.figures.nearest_km for each in here)
        parts.append(f"{near_km:,.0f} to {far.farthest_km:,.0f} km {far.place}")
    return Notice(
        name=f"openings.{name}",
        panel=Panel.OPENINGS,
        title=band_words(name),
        rank=5 if in_use else 10,
        text=f"{band_words(name)}: {'; '.join(parts)}",
        urgency=Urgency.CALM,
    )


def _movement(here: list[Open]) -> str:
    """The strongest movement alone, with two directions at most: ``opening all round``; else where most come from."""
    for trend in ("opening", "closed", "rising", "falling"):
        moving = sorted((each for each in here if each.figures.trend == trend), key=lambda each: -each.figures.stations)
        if len(moving) >= _ALL_ROUND:
            return f"{trend} all round"
        if moving:
            return f"{trend} {', '.join(each.sector for each in moving[:_MOST_NAMED])}"
    return f"most {max(here, key=lambda each: each.figures.stations).sector}"


def _db(level_db: float) -> str:
    return minus(f"{level_db:+.0f}")
