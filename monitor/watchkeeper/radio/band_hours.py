"""When a band is usually open: by its frequency, the height of the Sun over the own station, and the season.

A rule of thumb, no forecast (common practice, no source): the lower the band, the more the day absorbs it; the higher
the band, the more daylight it needs. Solar activity, storms and sporadic layers may prove it wrong on any day.
"""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum
from typing import NamedTuple

from watchkeeper.radio import band as bands
from watchkeeper.radio import sun
from watchkeeper.radio.place import Point

#: below this the Sun no longer lights the layers over the station much: the end of civil twilight
_DARK_DEG = -6.0
#: the layers keep what the day made for some hours more
_LATE_NIGHT_DEG = -18.0
_WINTER_MONTHS = frozenset({11, 12, 1, 2})
_SUMMER_MONTHS = frozenset({5, 6, 7, 8})


class Usual(StrEnum):
    """How a band usually is."""

    OPEN = "open"
    EITHER = "either"
    CLOSED = "closed"


class BandHours(NamedTuple):
    """How a band usually is, and why in a few words: ``with the Sun 31° up``."""

    usual: Usual
    why: str


class _Season(StrEnum):
    WINTER = "winter"
    SUMMER = "summer"
    BETWEEN = "between"


def band_hours(band: str, place: Point, at: datetime) -> BandHours:
    """Return how ``band`` usually is at a place and time; EITHER for a band that is not known.

    Raises ValueError for a time without a zone.
    """
    up_deg = sun.elevation_deg(place.latitude, place.longitude, at)
    known = bands.get(band)
    if known is None:
        return BandHours(Usual.EITHER, _height(up_deg))
    season = _season(place.latitude, at.month)
    megahertz = known.low_hz / 1e6
    usual, because = _usual(megahertz, up_deg, season)
    return BandHours(usual, because or _height(up_deg))


def _usual(megahertz: float, up_deg: float, season: _Season) -> tuple[Usual, str]:
    """How a band usually is, and why where the Sun's height is not the whole reason."""
    if megahertz < 3:
        return _low(up_deg, absorbed_deg=5.0), ""
    if megahertz < 6:
        return _low(up_deg, absorbed_deg=45.0), ""
    if megahertz < 11:
        return Usual.OPEN, "by day and by night"
    if megahertz < 15:
        return _middle(up_deg, season), ""
    if megahertz < 22:
        return _high(up_deg, season), ""
    if megahertz < 30:
        return Usual.CLOSED if up_deg < _DARK_DEG and season is not _Season.SUMMER else Usual.EITHER, ""
    return _highest(megahertz, season)


def _low(up_deg: float, absorbed_deg: float) -> Usual:
    """160 to 60 m: the day's lowest layer absorbs them."""
    if up_deg < _DARK_DEG:
        return Usual.OPEN
    return Usual.CLOSED if up_deg > absorbed_deg else Usual.EITHER


def _middle(up_deg: float, season: _Season) -> Usual:
    """20 m: by day, and on summer nights too; a long winter night closes it."""
    if up_deg > _DARK_DEG:
        return Usual.OPEN
    if season is _Season.SUMMER:
        return Usual.OPEN if up_deg > _LATE_NIGHT_DEG else Usual.EITHER
    return Usual.EITHER if up_deg > _LATE_NIGHT_DEG or season is _Season.BETWEEN else Usual.CLOSED


def _high(up_deg: float, season: _Season) -> Usual:
    """17 and 15 m: by day, and some hours beyond."""
    if up_deg > 0:
        return Usual.OPEN
    if up_deg > _LATE_NIGHT_DEG or season is _Season.SUMMER:
        return Usual.EITHER
    return Usual.CLOSED


def _highest(megahertz: float, season: _Season) -> tuple[Usual, str]:
    """6 m and above: sporadic layers in summer, else what is near."""
    if megahertz < 100 and season is _Season.SUMMER:
        return Usual.EITHER, "in the season of the sporadic layers"
    return Usual.CLOSED, "outside of short openings"


def _season(latitude: float, month: int) -> _Season:
    own = month if latitude >= 0 else (month + 5) % 12 + 1
    if own in _WINTER_MONTHS:
        return _Season.WINTER
    return _Season.SUMMER if own in _SUMMER_MONTHS else _Season.BETWEEN


def _height(up_deg: float) -> str:
    return f"with the Sun {abs(up_deg):.0f}° {'up' if up_deg >= 0 else 'below the horizon'}"
