"""The truth of a session, written beside it: what was really on the air, so that the watch can be measured by it.

One JSON object. Times are RFC 3339, SNR in dB in 2,500 Hz. ``stations``: who was on, from when to when, with what.
``reach``: for each band and call, rows of [quarter hour, SNR of theirs here, report of ours there] without fading.
``openings``: spans in which an average station in a sector and at a distance was readable. ``calls``: own messages to
one station, with the chance of a decode at the SNR there, whether it was listening, and whether it copied. ``callers``:
who called the own station, whether that was copied or not. ``phantoms``: texts that nobody sent. ``reports``: who
copied the own station and how strongly. ``faults``: what was injected. ``contacts``: those made.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from watchkeeper.radio import geodesic, link
from watchkeeper.radio.compass import SECTORS
from watchkeeper.radio.place import Point
from watchkeeper.rehearsal.air import Air, Transmission
from watchkeeper.rehearsal.decoding import chance, reported_db
from watchkeeper.rehearsal.paths import Paths
from watchkeeper.rehearsal.propagation import Geometry, Place, azimuth_deg, geometry
from watchkeeper.rehearsal.receiver import Listened
from watchkeeper.rehearsal.sky import QUARTER_MS, Sky
from watchkeeper.rehearsal.spool import Spool, compact
from watchkeeper.rehearsal.station import Station
from watchkeeper.rehearsal.words import Say
from watchkeeper.schema.events import stamp

RINGS_KM = (800, 2000, 4000, 8000, 12000)
#: an average station, here and there
_AVERAGE_W = 50.0
_AVERAGE_DBI = -6.0
_OPEN_DB = -17.0
_SHUT_DB = -20.0


class Truth:
    """Collects the truth as the session goes."""

    def __init__(self, head: dict[str, Any], sky: Sky) -> None:
        self._head = head
        self._sky = sky
        self.stations = Spool()
        self.reach = Spool()
        self.openings: list[dict[str, Any]] = []
        self.calls = Spool()
        self.callers = Spool()
        self.phantoms = Spool()
        self.reports = Spool()
        self.faults: list[dict[str, Any]] = []
        self.contacts = Spool()
        self._points: dict[str, list[tuple[str, int, Geometry]]] = {}
        self._open: dict[tuple[str, str, int], int] = {}

    def joined(self, band: str, own: Station, station: Station) -> None:
        """Note a station that came on the air."""
        assert station.link is not None
        self.stations.append(
            {
                "band": band,
                "call": station.call,
                "dxcc": station.region.dxcc,
                "locator": station.locator,
                "distance_km": round(station.link.path.distance_km),
                "azimuth_deg": round(azimuth_deg(own.place, station.place)),
                "power_w": round(station.power_w),
                "gain_dbi": round(station.gain_dbi, 1),
                "noise_dbm": round(station.noise_dbm, 1),
                "clock_s": round(station.clock_s, 2),
                "runner": station.runner,
                "from": stamp(station.from_ms),
                "to": stamp(station.to_ms),
            }
        )

    def quarter(self, band: str, at_ms: int, own: Station, stations: list[Station], paths: Paths) -> None:
        """Note who could be heard and reached at the beginning of a quarter hour."""
        at = stamp(at_ms)
        for station in stations:
            here = paths.median_snr_db(station, own, at_ms)
            if here < -40.0:
                continue
            there = paths.median_snr_db(own, station, at_ms)
            self.reach.append((band, station.call, (at, round(here, 1), round(reported_db(there), 1))))

    def open_ways(self, band: str, at_ms: int, own: Station, frequency_hz: int) -> None:
        """Note where the band is open at the beginning of a quarter hour."""
        level_dbm = link.w_to_dbm(_AVERAGE_W) + _AVERAGE_DBI + own.gain_dbi - own.noise_dbm
        for sector, ring_km, path in self._rings(band, own):
            snr_db = level_dbm - self._sky.loss_db(path, frequency_hz, at_ms // QUARTER_MS)
            key = (band, sector, ring_km)
            if key not in self._open and snr_db >= _OPEN_DB:
                self._open[key] = at_ms
            elif key in self._open and snr_db < _SHUT_DB:
                self._close(key, at_ms)

    def listened(self, source: str, at_ms: int, listened: Listened) -> None:
        """Note the phantoms among the hearings of a period."""
        for copy in listened.copies:
            if copy.source is None:
                self.phantoms.append(
                    {"source": source, "at": stamp(at_ms), "text": copy.text, "aided": bool(copy.aided_by)}
                )

    def called(
        self, source: str, at_ms: int, sent: list[Transmission], listened: Listened | None, own: Station
    ) -> None:
        """Note who called the own station in a period, and whether it was copied."""
        for one in sent:
            if one.line.to != own.call or one.line.say not in (Say.ANSWER, Say.REPORT):
                continue
            copied = listened is not None and any(copy.source is one for copy in listened.copies)
            self.callers.append({"source": source, "at": stamp(at_ms), "call": one.station.call, "copied": copied})

    def sent(self, source: str, at_ms: int, one: Transmission, air: Air, paths: Paths) -> None:
        """Note an own message to one station with the chance that it copied, and whether it did."""
        station = one.exchanges[0].partner if one.exchanges else None
        if one.line.to is None:
            return
        limit_db = air.mode.limit_db
        snr_db = None if station is None else round(paths.snr_db(one.station, station, at_ms), 1)
        self.calls.append(
            {
                "source": source,
                "at": stamp(at_ms),
                "call": one.line.to,
                "say": one.line.say.value,
                "snr_there_db": snr_db,
                "chance": 0.0 if snr_db is None else round(chance(snr_db, limit_db), 3),
                "listening": station is not None and station.call not in air.deaf,
                "copied": station is not None and station.call in air.copied_own,
            }
        )

    def write(self, path: Path, end_ms: int, further: dict[str, Any]) -> None:
        """Write all of it; the same session gives the same bytes."""
        with path.open("w", encoding="utf-8") as file:
            file.writelines(self._text(end_ms, further))
            file.write("\n")

    def whole(self, end_ms: int, further: dict[str, Any]) -> dict[str, Any]:
        """Return all of it as of ``end_ms``; what is open then ends there."""
        found: dict[str, Any] = json.loads("".join(self._text(end_ms, further)))
        return found

    def _text(self, end_ms: int, further: dict[str, Any]) -> Iterator[str]:
        """Yield the JSON of all of it, bit by bit."""
        still_open = [_opening(key, from_ms, end_ms) for key, from_ms in self._open.items()]
        head = {**self._head, **further, "end": stamp(end_ms), "clouds": self._clouds(), "faults": self.faults}
        yield compact(head)[:-1]
        yield from _table("stations", self.stations.lines())
        yield ',"openings":' + compact(sorted((*self.openings, *still_open), key=_opening_order))
        for name in ("contacts", "calls", "callers", "phantoms", "reports"):
            yield from _table(name, getattr(self, name).lines())
        yield ',"reach":' + compact(self._by_station()) + "}"

    def _clouds(self) -> list[dict[str, Any]]:
        return [
            {
                "latitude": round(cloud.latitude, 1),
                "longitude": round(cloud.longitude, 1),
                "radius_km": round(cloud.radius_km),
                "peak_mhz": round(cloud.peak_mhz, 1),
                "from": stamp(cloud.from_ms),
                "to": stamp(cloud.to_ms),
            }
            for cloud in self._sky.clouds
        ]

    def _by_station(self) -> dict[str, dict[str, list[Any]]]:
        found: dict[str, dict[str, list[Any]]] = {}
        for band, call, row in map(json.loads, self.reach.lines()):
            found.setdefault(band, {}).setdefault(call, []).append(row)
        return found

    def _rings(self, band: str, own: Station) -> list[tuple[str, int, Geometry]]:
        found = self._points.get(band)
        if found is None:
            found = self._points[band] = [
                (sector, ring_km, geometry(own.place, _towards(own.place, at * 45.0, ring_km)))
                for at, sector in enumerate(SECTORS)
                for ring_km in RINGS_KM
            ]
        return found

    def _close(self, key: tuple[str, str, int], at_ms: int) -> None:
        self.openings.append(_opening(key, self._open.pop(key), at_ms))


def _table(name: str, rows: Iterable[str]) -> Iterator[str]:
    """Yield a table as a further member of the JSON object that is being written."""
    yield f',"{name}":['
    for at, row in enumerate(rows):
        yield f",{row}" if at else row
    yield "]"


def _opening(key: tuple[str, str, int], from_ms: int, to_ms: int) -> dict[str, Any]:
    band, sector, ring_km = key
    return {"band": band, "sector": sector, "ring_km": ring_km, "from": stamp(from_ms), "to": stamp(to_ms)}


def _opening_order(one: dict[str, Any]) -> tuple[Any, ...]:
    return one["from"], one["band"], one["sector"], one["ring_km"]


def _towards(place: Place, bearing_deg: float, distance_km: float) -> Place:
    found = geodesic.direct(Point(*place), bearing_deg, distance_km)
    return found.latitude, found.longitude
