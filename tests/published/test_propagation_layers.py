"""The simulated ionosphere against published forms and against what is known of day and night on the bands."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from watchkeeper.rehearsal import ionosphere
from watchkeeper.rehearsal.ionosphere import Conditions
from watchkeeper.rehearsal.propagation import geometry, loss_db
from watchkeeper.schema.events import to_ms

_HERE = (48.5, 9.1)
_AMERICA = (42.0, -75.0)


def at(month: int, hour: int) -> int:
    return to_ms(datetime(2025, month, 20, hour, tzinfo=UTC))


def loss(place: tuple[float, float], mhz: float, month: int, hour: int, sunspots: float = 100.0) -> float:
    layers = ionosphere.ionosphere(at(month, hour), Conditions(sunspots, 2.0))
    return loss_db(geometry(_HERE, place), layers, mhz * 1e6)


@pytest.mark.parametrize(
    ("zenith_deg", "sunspots", "mhz"),
    [(0.0, 0.0, 3.297), (0.0, 100.0, 3.818), (60.0, 0.0, 2.772), (60.0, 150.0, 3.378)],
)
def test_critical_frequency_of_the_e_layer(zenith_deg: float, sunspots: float, mhz: float) -> None:
    """0.9 [(180 + 1.44 R) cos χ]^¼ MHz (K. Davies, Ionospheric Radio, 1990; from memory), computed by hand."""
    assert ionosphere.critical_e_mhz(zenith_deg, sunspots) == pytest.approx(mhz, abs=0.005)


def test_e_layer_dies_with_the_sun() -> None:
    assert ionosphere.critical_e_mhz(95.0, 100.0) == ionosphere.critical_e_mhz(150.0, 100.0) < 1.0


def test_absorption_index() -> None:
    """(1 + 0.0037 R) cos(0.881 χ)^1.3, at least 0.1 (Lucas and Haydon, 1966; from memory)."""
    assert ionosphere.absorption_index(0.0, 100.0) == pytest.approx(1.37)
    assert ionosphere.absorption_index(60.0, 0.0) == pytest.approx(0.519, abs=0.001)
    assert ionosphere.absorption_index(120.0, 100.0) == 0.1


@pytest.mark.parametrize(("sunspots", "low_mhz", "high_mhz"), [(10, 4.5, 8.0), (100, 8.0, 12.0), (180, 10.0, 15.0)])
def test_noon_f2_at_a_middle_latitude(sunspots: float, low_mhz: float, high_mhz: float) -> None:
    """Ionosonde records have about 5 to 7 MHz at sunspot minimum and 10 to 13 at maximum (no source)."""
    noon = ionosphere.critical_f2_mhz(45.0, 0.0, at(3, 12), Conditions(sunspots, 2.0))
    assert low_mhz < noon < high_mhz


def test_f2_by_night_is_about_half_of_noon() -> None:
    conditions = Conditions(100.0, 2.0)
    noon, night = (ionosphere.critical_f2_mhz(45.0, 0.0, at(3, hour), conditions) for hour in (12, 4))
    assert 0.35 < night / noon < 0.7


def test_winter_anomaly() -> None:
    """At middle latitudes and high sunspot numbers noon foF2 is higher in winter than in summer (textbook fact)."""
    conditions = Conditions(120.0, 2.0)
    winter, summer = (ionosphere.critical_f2_mhz(48.0, 0.0, at(month, 12), conditions) for month in (12, 6))
    assert winter > 1.2 * summer


def test_equatorial_anomaly() -> None:
    """The F2 layer is densest on either side of the magnetic equator (textbook fact)."""
    conditions = Conditions(100.0, 2.0)
    magnetic_equator = min(range(-20, 21), key=lambda lat: abs(ionosphere.magnetic_latitude_deg(lat, 0.0)))
    at_equator, at_crest = (
        ionosphere.critical_f2_mhz(magnetic_equator + away, 0.0, at(3, 12), conditions) for away in (0, 15)
    )
    assert at_crest > at_equator


@pytest.mark.parametrize("mhz", [3.573, 7.074])
def test_low_bands_reach_far_by_night_only(mhz: float) -> None:
    """D-layer absorption closes 80 m and 40 m to far stations by day (common practice, no source)."""
    assert loss(_AMERICA, mhz, 12, 2) < 165
    assert loss(_AMERICA, mhz, 12, 14) > loss(_AMERICA, mhz, 12, 2) + 25


def test_high_bands_reach_far_by_day_only() -> None:
    """10 m opens across the Atlantic in the afternoon of a sunspot maximum, and never at night (common practice)."""
    assert loss(_AMERICA, 28.074, 12, 15, sunspots=150) < 160
    assert loss(_AMERICA, 28.074, 12, 3, sunspots=150) > 180


def test_ten_metres_is_shut_at_sunspot_minimum() -> None:
    assert loss(_AMERICA, 28.074, 12, 15, sunspots=5) > 175


def test_absorption_falls_with_frequency() -> None:
    """As 1 / ((f + 1.2)^1.98 + 10.2): from 7 to 14 MHz to about a third (Lucas and Haydon, 1966; from memory)."""
    dark = ionosphere.ionosphere(at(3, 12), Conditions(100.0, 0.0, absorption_factor=0.0))
    lit = ionosphere.ionosphere(at(3, 12), Conditions(100.0, 0.0))
    path = geometry(_HERE, (50.0, 20.0))
    lost = [loss_db(path, lit, mhz * 1e6) - loss_db(path, dark, mhz * 1e6) for mhz in (7.0, 14.0)]
    assert lost[0] > 2.2 * lost[1] > 0


def test_grey_line_opens_a_low_band_between_dark_ends() -> None:
    """Near sunrise the D layer is still thin while the F2 layer holds: 40 m to the west is better than at noon."""
    assert loss(_AMERICA, 7.074, 11, 7) < loss(_AMERICA, 7.074, 11, 12) - 15


def test_sporadic_e_opens_a_high_band_at_one_hop() -> None:
    """A cloud of 6 MHz in the middle of 1,500 km carries 28 MHz: MUF about 5 × foEs (common practice, no source)."""
    path = geometry(_HERE, (40.0, -5.0))
    start = at(6, 12)
    middle = (44.6, 1.6)
    cloud = ionosphere.Cloud(*middle, 600.0, 7.0, start - 3_600_000, start + 3_600_000)
    quiet, open_ = (
        loss_db(path, ionosphere.ionosphere(start, Conditions(40.0, 2.0), clouds), 28.074e6)
        for clouds in ((), (cloud,))
    )
    assert open_ < quiet - 30


def test_auroral_zone_costs_more_when_the_field_is_disturbed() -> None:
    north = geometry((60.0, 10.0), (62.0, -150.0))
    quiet, storm = (
        loss_db(north, ionosphere.ionosphere(at(3, 20), Conditions(100.0, k)), 14.074e6) for k in (1.0, 6.0)
    )
    assert storm > quiet + 5
