"""The ways between stations: losses kept for a quarter of an hour, so that a day of a full band stays affordable."""

from __future__ import annotations

from functools import cache, lru_cache

from watchkeeper.rehearsal import rng
from watchkeeper.rehearsal.propagation import Geometry, distance_km, geometry
from watchkeeper.rehearsal.regions import regions
from watchkeeper.rehearsal.sky import QUARTER_MS, Sky
from watchkeeper.rehearsal.station import Link, Station

#: farther apart, the ways between the middles of two regions stand for those of all their stations
_BY_REGION_KM = 1500.0


class Paths:
    """Who receives whom how well on one frequency."""

    def __init__(self, seed: int, name: str, sky: Sky, frequency_hz: int) -> None:
        self._seed = seed
        self._name = name
        self._sky = sky
        self._frequency_hz = frequency_hz
        self._quarter = -1
        self._losses: dict[object, float] = {}

    def meet(self, own: Station, station: Station) -> None:
        """Lay the link between the own station and one that comes on the air."""
        random = rng.stream(self._seed, "fading", self._name, station.call, station.from_ms)
        station.link = Link(geometry(own.place, station.place), random, faded_ms=station.from_ms)
        self._aim(station.link, station.from_ms)

    def snr_db(self, sender: Station, receiver: Station, at_ms: int) -> float:
        """Return the SNR in 2,500 Hz; between the own station and another with the fading of the moment."""
        return sender.power_dbm - self.loss_db(sender, receiver, at_ms) - receiver.noise_dbm

    def loss_db(self, a: Station, b: Station, at_ms: int) -> float:
        """Return the loss in dB between two stations, the same whoever sends."""
        link = a.link if b.own else b.link if a.own else None
        if link is not None:
            if at_ms // QUARTER_MS != link.since_ms // QUARTER_MS:
                self._aim(link, at_ms)
            return link.loss_at(at_ms) - link.fading(at_ms)
        quarter = at_ms // QUARTER_MS
        if quarter != self._quarter:
            self._quarter = quarter
            self._losses.clear()
        return self._between(a, b)

    def median_snr_db(self, sender: Station, receiver: Station, at_ms: int) -> float:
        """Return the SNR between the own station and another without the fading of the moment."""
        link = sender.link or receiver.link
        assert link is not None
        return self.snr_db(sender, receiver, at_ms) - link.fade_db

    def _aim(self, link: Link, at_ms: int) -> None:
        quarter = at_ms // QUARTER_MS
        now_db = self._sky.loss_db(link.path, self._frequency_hz, quarter)
        next_db = self._sky.loss_db(link.path, self._frequency_hz, quarter + 1)
        link.loss_db, link.since_ms = now_db, quarter * QUARTER_MS
        link.slope_db_per_ms = (next_db - now_db) / QUARTER_MS

    def _between(self, a: Station, b: Station) -> float:
        first, second = (a, b) if a.region.index <= b.region.index else (b, a)
        near = _apart_km(first.region.index)[second.region.index] < _BY_REGION_KM
        key: object = (first.place, second.place) if near else (first.region.index, second.region.index)
        found = self._losses.get(key)
        if found is None:
            path = geometry(first.place, second.place) if near else _far(first.region.index, second.region.index)
            found = self._losses[key] = self._sky.loss_db(path, self._frequency_hz, self._quarter)
        return found


def _middle(region: int) -> tuple[float, float]:
    return regions()[region].latitude, regions()[region].longitude


@cache
def _apart_km(region: int) -> tuple[float, ...]:
    """Return how far the middle of each region is from that of ``region``."""
    return tuple(distance_km(_middle(region), _middle(one.index)) for one in regions())


@lru_cache(maxsize=4096)  # a contest needs about 2,500 of them a quarter of an hour, mostly the same ones again
def _far(first: int, second: int) -> Geometry:
    """Return the ways between the middles of two regions."""
    return geometry(_middle(first), _middle(second))
