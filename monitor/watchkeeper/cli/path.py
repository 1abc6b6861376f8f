"""``watchkeeper path``: distance, azimuth, Sun and hops between two places."""

from __future__ import annotations

import re
import sys
from datetime import UTC, datetime

import click
import msgspec

from watchkeeper.cli.lines import answer
from watchkeeper.faces.clean import clean
from watchkeeper.radio import geodesic, link, locator, sun
from watchkeeper.radio.place import Point
from watchkeeper.view import minus

_COORDINATES = re.compile(r"([+-]?[0-9]+(?:\.[0-9]*)?),([+-]?[0-9]+(?:\.[0-9]*)?)", re.ASCII)
_OPTION = re.compile("--|-[A-Za-z]")
_KM_DECIMALS = 3
_DEG_DECIMALS = 4


class Line(msgspec.Struct):
    """One answer as JSON: kilometres; degrees, azimuths clockwise from north, the Sun's above the horizon."""

    distance_km: float
    azimuth_deg: float
    back_azimuth_deg: float
    long_path_km: float
    from_sun_deg: float
    to_sun_deg: float
    midpoint_sun_deg: float
    hops: int


_encode = msgspec.json.Encoder().encode
#: what is told of a line that names no two places
_NOTHING: dict[str, str | None] = dict.fromkeys(Line.__struct_fields__)


# A latitude south of the equator begins with a hyphen and must not be taken for an option.
@click.command(context_settings={"ignore_unknown_options": True})
@click.argument("places", nargs=-1, required=True, metavar="FROM TO")
@click.option(
    "--at", metavar="TIME", help="For the Sun: an ISO 8601 time, UTC unless it says otherwise. [default: now]"
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def command(places: tuple[str, ...], at: str | None, as_json: bool) -> None:
    """Tell distance, azimuths, the Sun at both ends and in the middle, and the hops of the way from FROM to TO.

    A place is a locator (JN58td: its centre counts) or LAT,LON in degrees, north and east positive. A single - in their
    stead reads pairs from the standard input, one "FROM TO" a line; a bad line is answered in its turn (with --json by
    an object of nulls that has the key "error" as well), and the exit code is 1 at the end.

    \b
    Example:
      watchkeeper path JO62qm PM95
    """
    for place in places:
        if _OPTION.match(place):
            raise click.NoSuchOption(place)
    when = _time(at)
    if places == ("-",):
        _many(when, as_json)
        return
    try:
        found = _between(places, when)
    except ValueError as error:
        raise click.UsageError(str(error)) from None
    answer([""], lambda _: _encode(found) if as_json else _text(found))


def _many(when: datetime, as_json: bool) -> None:
    bad = 0

    def tell(line: str) -> str | bytes:
        nonlocal bad
        try:
            found = _between(tuple(line.split()), when)
        except ValueError as error:
            bad += 1
            why = clean(str(error))
            return _encode(_NOTHING | {"error": why}) if as_json else f"error: {why}"
        return _encode(found) if as_json else _text(found)

    answer(["-"], tell)
    if bad:
        sys.exit(1)


def _time(text: str | None) -> datetime:
    if text is None:
        return datetime.now(UTC)
    try:
        at = datetime.fromisoformat(text)
        return at.replace(tzinfo=UTC) if at.tzinfo is None else at.astimezone(UTC)
    except (ValueError, OverflowError):  # an offset can lead out of the years that there are
        raise click.BadParameter(f"{text!r} is no time such as 2026-09-15T18:30:00Z", param_hint="--at") from None


def _point(text: str) -> Point:
    """The place that ``text`` names; ``ValueError`` where it names none."""
    found = _COORDINATES.fullmatch(text)
    if found is None:
        if not locator.is_locator(text):
            raise ValueError(f"{text!r} is neither a locator (JN58td) nor LAT,LON in degrees (48.15,11.6)")
        return locator.centre(text)
    latitude, longitude = float(found[1]), float(found[2])
    if abs(latitude) > 90 or abs(longitude) > 180:
        raise ValueError(f"{text!r} is no place: latitudes lie within -90 to 90 degrees, longitudes within -180 to 180")
    return Point(latitude, longitude)


def _between(places: tuple[str, ...], when: datetime) -> Line:
    if len(places) != 2:
        raise ValueError(f"two places are needed, FROM and TO; there are {len(places)}: {' '.join(places)}")
    start, end = map(_point, places)
    way = geodesic.inverse(start, end)
    middle = geodesic.direct(start, way.azimuth_deg, way.distance_km / 2)
    return Line(
        round(way.distance_km, _KM_DECIMALS),
        round(way.azimuth_deg, _DEG_DECIMALS),
        round(way.back_azimuth_deg, _DEG_DECIMALS),
        round(geodesic.long_path(way).distance_km, _KM_DECIMALS),
        _sun_deg(start, when),
        _sun_deg(end, when),
        _sun_deg(middle, when),
        link.hops(way.distance_km),
    )


def _sun_deg(point: Point, when: datetime) -> float:
    return round(sun.elevation_deg(*point, when), _DEG_DECIMALS)


def _text(line: Line) -> str:
    hops = f"{line.hops} hop{'' if line.hops == 1 else 's'}"
    long_azimuth_deg = (line.azimuth_deg + 180) % 360
    here, there, half_way = (
        minus(f"{deg:+.1f}°") for deg in (line.from_sun_deg, line.to_sun_deg, line.midpoint_sun_deg)
    )
    return (
        f"{line.distance_km:.0f} km at {line.azimuth_deg:.0f}° (back {line.back_azimuth_deg:.0f}°), "
        f"long path {line.long_path_km:.0f} km at {long_azimuth_deg:.0f}°; {hops}; "
        f"Sun {here} here, {there} there, {half_way} half-way"
    )
