"""All that belongs to one band: its traffic, the own receiver there, its decoder."""

from __future__ import annotations

from watchkeeper.radio import locator
from watchkeeper.rehearsal import rng
from watchkeeper.rehearsal.air import Air
from watchkeeper.rehearsal.bursts import Bursts
from watchkeeper.rehearsal.outlet import Outlets
from watchkeeper.rehearsal.paths import Paths
from watchkeeper.rehearsal.propagation import distance_km
from watchkeeper.rehearsal.receiver import Receiver
from watchkeeper.rehearsal.regions import regions
from watchkeeper.rehearsal.scenario import Band, Scenario
from watchkeeper.rehearsal.sky import Sky
from watchkeeper.rehearsal.station import Station, noise_power_dbm


class Frequency:
    """One band of a session."""

    def __init__(
        self, seed: int, scenario: Scenario, band: Band, sky: Sky, outlets: Outlets, noise_db: float, start_ms: int
    ) -> None:
        self.band = band
        self.paths = Paths(seed, band.key, sky, band.dial_hz)
        self.own = _own_station(scenario, band, noise_db, start_ms)
        self.air = Air(seed, band, scenario.habits, self.paths, self.own, start_ms)
        self.period_ms = round(self.air.mode.period_s * 1000)
        self.receiver = Receiver(seed, band.key, self.air.mode, scenario.decoder, self.own, self.paths)
        self.bursts = Bursts(seed, band, scenario.decoder, self.air.mode, outlets)


def _own_station(scenario: Scenario, band: Band, noise_db: float, start_ms: int) -> Station:
    """Return the own station as it is on one band."""
    own = scenario.own
    point = locator.centre(own.locator)
    place = (point.latitude, point.longitude)
    return Station(
        call=own.call,
        region=min(regions(), key=lambda one: distance_km(place, (one.latitude, one.longitude))),
        place=place,
        locator=own.locator[:4],
        power_w=own.power_w,
        gain_dbi=own.gain_dbi,
        noise_dbm=noise_power_dbm(own.surroundings, band.dial_hz) + noise_db,
        clock_s=0.0,
        patience=own.patience,
        skill=1.0,
        polite=True,
        short=False,
        direction=None,
        streams=1,
        runner=own.style == "run",
        reports=False,
        from_ms=start_ms,
        to_ms=2**62,
        parity=0,
        offset_hz=1500.0,
        random=rng.stream(0, "own"),
        own=True,
    )
