"""What the Reach panel shows."""

from __future__ import annotations

from collections import Counter
from statistics import median

from watchkeeper.api import Own, from_ms
from watchkeeper.radio import entity, locator
from watchkeeper.radio.band import words as band_words
from watchkeeper.radio.compass import SECTORS, sector_of
from watchkeeper.view import (
    Column,
    Dot,
    Gauges,
    Line,
    Map,
    Notice,
    Panel,
    Reading,
    Row,
    Series,
    Table,
    Urgency,
    View,
    counted,
    minus,
)

from .changes import Changes, Effect
from .reports import Quarters, Report, Reports

_SHOWN = 100
#: directions that have a line of their own over the hours
_MOST_LINES = 4
#: differences below this are none that anybody notices
_EVEN_DB = 1.0
#: strengths that a map's dots span
_WEAKEST_DB, _STRONGEST_DB = -24.0, 6.0
_MORE = "`reception` events, or reports in messages to you"


def draw(reports: Reports, changes: Changes, own: Own, now_ms: int) -> tuple[View, ...]:
    """All views of the panel."""
    shown = reports.shown(now_ms)
    views: list[View] = [_summary(shown, own), _table(shown, now_ms), _directions(shown)]
    quarters = reports.by_quarter()
    if quarters:
        views.append(_hours(quarters))
    if own.locator is not None:
        views.append(_map(shown, own.locator))
    return (*views, *(_effect(number, effect) for number, effect in enumerate(changes.effects(), 1)))


def difference_words(excess_db: float) -> str:
    """How a report stands to our own hearing: ``you hear them 9 dB better than they hear you``."""
    if abs(excess_db) < _EVEN_DB:
        return "you hear them as well as they hear you"
    if excess_db < 0:
        return f"you hear them {-excess_db:.0f} dB better than they hear you"
    return f"they hear you {excess_db:.0f} dB better than you hear them"


def _summary(shown: list[Report], own: Own) -> Gauges:
    placed = [each for each in shown if each.distance_km is not None]
    readings = [_count(shown)]
    if placed:
        far = max(placed, key=lambda each: (each.distance_km or 0.0, each.call))
        readings.append(
            Reading(
                key="farthest", label="Farthest", value=far.distance_km,
                text=f"{far.distance_km:,.0f} km, {far.call}{_place(far.call)} at {_db(far.report_db)}",
            )
        )  # fmt: skip
    for name in dict.fromkeys(sorted(each.band for each in shown)):
        pairs = [each.report_db - each.heard_db for each in shown if each.band == name and each.heard_db is not None]
        if pairs:
            excess_db = median(pairs)
            readings.append(
                Reading(
                    key=f"balance|{name}", label=band_words(name), text=difference_words(excess_db), value=excess_db,
                    sentence=f"The median of {len(pairs)}, at {own.power_w:g} W." if own.power_w else None,
                )
            )  # fmt: skip
    return Gauges(
        name="reach.summary", panel=Panel.REACH, title="Reach", rank=10, readings=tuple(readings),
        missing=None if shown else _MORE, at_ms=max((each.at_ms for each in shown), default=None),
    )  # fmt: skip


def _count(shown: list[Report]) -> Reading:
    calls = len({each.call for each in shown})
    return Reading(
        key="stations", label="Heard by", text=counted(calls, "station") if calls else "nobody yet", value=float(calls)
    )


def _table(shown: list[Report], now_ms: int) -> Table:
    return Table(
        name="reach.stations",
        panel=Panel.REACH,
        title="Who hears you",
        rank=20,
        missing=None if shown else _MORE,
        at_ms=max((each.at_ms for each in shown), default=None),
        columns=(
            Column(key="call", title="call", keep=1),
            Column(key="band", title="band", keep=4),
            Column(key="report", title="hears you", unit="dB", right=True, keep=2),
            Column(key="heard", title="you hear it", unit="dB", right=True, keep=5),
            Column(key="where", title="where", keep=3),
            Column(key="age", title="age", right=True, keep=6),
        ),
        rows=tuple(_row(each, now_ms) for each in shown[:_SHOWN]),
        empty="nobody has reported you yet",
    )


def _row(each: Report, now_ms: int) -> Row:
    distance = "" if each.distance_km is None else f"{each.distance_km:,.0f} km"
    direction = "" if each.azimuth_deg is None else f" {sector_of(each.azimuth_deg)}"
    place = _place(each.call).removeprefix(" in ")
    band = band_words(each.band)
    balance = "" if each.heard_db is None else f"; {difference_words(each.report_db - each.heard_db)}"
    return Row(
        key=f"{each.call}|{each.band}",
        cells=(
            each.call,
            band,
            _signed(each.report_db),
            "" if each.heard_db is None else _signed(each.heard_db),
            ", ".join(part for part in (place, distance + direction) if part),
            f"{max(0, now_ms - each.at_ms) // 60_000} min",
        ),
        sentence=f"{each.call}{_place(each.call)} hears you at {_db(each.report_db)} on {band}{balance}",
        data={
            "call": each.call,
            "band": each.band,
            "report_db": each.report_db,
            "snr_db": each.heard_db,
            "distance_km": each.distance_km,
            "azimuth_deg": each.azimuth_deg,
            "at_ms": each.at_ms,
            "way": each.way,
        },
    )


def _directions(shown: list[Report]) -> Table:
    by_sector: dict[tuple[str, str], list[Report]] = {}
    for each in shown:
        if each.azimuth_deg is not None:
            by_sector.setdefault((each.band, sector_of(each.azimuth_deg)), []).append(each)
    order = sorted(by_sector, key=lambda key: (key[0], SECTORS.index(key[1])))
    return Table(
        name="reach.directions",
        panel=Panel.REACH,
        title="Reach by direction",
        rank=30,
        columns=(
            Column(key="band", title="band", keep=2),
            Column(key="direction", title="to", keep=1),
            Column(key="stations", title="stations", right=True, keep=3),
            Column(key="median", title="hear you", unit="dB", right=True, keep=4),
            Column(key="farthest", title="farthest", keep=5),
            Column(key="balance", title="both ways", keep=6),
        ),
        rows=tuple(_direction(name, sector, by_sector[name, sector]) for name, sector in order),
        empty="nobody has reported you from a known place yet",
    )


def _direction(name: str, sector: str, here: list[Report]) -> Row:
    pairs = [each.report_db - each.heard_db for each in here if each.heard_db is not None]
    far = max(here, key=lambda each: (each.distance_km or 0.0, each.call))
    balance = difference_words(median(pairs)) if pairs else ""
    report_db = median(each.report_db for each in here)
    return Row(
        key=f"{name}|{sector}",
        cells=(
            band_words(name),
            sector,
            str(len(here)),
            _signed(report_db),
            f"{far.distance_km or 0:,.0f} km {far.call}",
            balance,
        ),
        sentence=f"{band_words(name)} {sector}: {_db(report_db)} by {counted(len(here), 'station')}, "
        f"{far.call} the farthest" + (f"; {balance}" if balance else ""),
        data={
            "band": name,
            "direction": sector,
            "stations": len(here),
            "report_db": report_db,
            "farthest_km": far.distance_km,
            "balance_db": median(pairs) if pairs else None,
        },
    )


def _hours(quarters: Quarters) -> Series:
    """How many report us, quarter hour by quarter hour: in all, and from the directions that brought most."""
    totals = Counter[str]()
    for _, by_direction in quarters:
        totals.update(by_direction)
    most = [sector for sector, _ in totals.most_common() if sector in SECTORS][:_MOST_LINES]
    lines = [Line(label="all round", points=tuple((at_ms, float(sum(by.values()))) for at_ms, by in quarters))]
    lines += [
        Line(label=sector, points=tuple((at_ms, float(by.get(sector, 0))) for at_ms, by in quarters))
        for sector in sorted(most, key=SECTORS.index)
    ]
    return Series(
        name="reach.hours", panel=Panel.REACH, title="Stations that report you, by quarter hour", rank=40,
        unit="", lines=tuple(lines),
    )  # fmt: skip


def _map(shown: list[Report], own_locator: str) -> Map:
    centre = locator.centre(own_locator)
    dots = []
    for each in shown:
        at = _where(each)
        if at is not None:
            strength = (each.report_db - _WEAKEST_DB) / (_STRONGEST_DB - _WEAKEST_DB)
            dots.append(
                Dot(
                    key=f"{each.call}|{each.band}", latitude=at[0], longitude=at[1],
                    strength=min(1.0, max(0.05, strength)), standing="hears you", label=each.call,
                    sentence=f"{each.call} hears you at {_db(each.report_db)} on {band_words(each.band)}",
                )
            )  # fmt: skip
    return Map(
        name="reach.map", panel=Panel.REACH, title="Who hears you", rank=50,
        centre_latitude=centre.latitude, centre_longitude=centre.longitude, dots=tuple(dots),
    )  # fmt: skip


def _where(each: Report) -> tuple[float, float] | None:
    if each.locator is not None and locator.is_locator(each.locator):
        at = locator.centre(each.locator)
        return at.latitude, at.longitude
    placed = entity.lookup(each.call)
    return None if placed.latitude is None or placed.longitude is None else (placed.latitude, placed.longitude)


def _effect(number: int, effect: Effect) -> Notice:
    at = f"{from_ms(effect.change.at_ms):%H:%M}"
    if effect.median_db is None:
        few = {0: "no station has", 1: "1 station has"}.get(effect.stations, f"{effect.stations} stations have")
        words = f"too early to say: {few} reported you both before and after"
    else:
        words = (
            f"{_db(effect.median_db)} ({_db(effect.low_db or 0.0)} to {_db(effect.high_db or 0.0)}) "
            f"by {effect.stations} stations that reported you before and after"
        )
    return Notice(
        name=f"reach.change.{number}", panel=Panel.REACH, title="Before and after", rank=35,
        text=f"{at} {effect.change.what}: {words}", urgency=Urgency.CALM,
    )  # fmt: skip


def _place(call: str) -> str:
    found = entity.lookup(call).entity
    return f" in {found.name}" if found is not None else ""


def _signed(level_db: float) -> str:
    return minus(f"{level_db:+.0f}")


def _db(level_db: float) -> str:
    return f"{_signed(level_db)} dB"
