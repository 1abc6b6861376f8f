"""Peukert's law and lithium iron phosphate.

* rated-hours form t = H·(C/(I·H))^k: batterystuff.com gives the form; the 100 Ah numbers were computed from it apart
  from this program, the 10 A example is from memory as well;
* Peukert's own form t = C/I^k: easycalculation.com and electrotechnik.net, worked examples;
* capacity in the cold: data sheet of a maker of LiFePO4 batteries (80 Ah at 0 °C, 50 Ah at −20 °C of 100 Ah).
"""

from __future__ import annotations

import pytest

from watchkeeper.radio import supply
from watchkeeper.radio.supply import CHEMISTRIES, Battery


@pytest.mark.parametrize(("current_a", "hours"), [(10, 8.7055), (5, 20.000), (20, 3.7893)])
def test_rated_hours_form(current_a: float, hours: float) -> None:
    assert supply.peukert_h(100, current_a, 1.2) == pytest.approx(hours, abs=5e-5)


def test_charge_at_ten_amperes() -> None:
    assert supply.peukert_h(100, 10, 1.2) * 10 == pytest.approx(87.06, abs=0.005)


def test_one_ampere_form() -> None:
    hours = supply.peukert_one_ampere_h(250, 20, 1.3)
    assert hours == pytest.approx(5.088631644, abs=1e-9)
    assert hours * 20 == pytest.approx(101.772632884, abs=1e-8)
    assert supply.peukert_one_ampere_h(100, 5, 1.2) == pytest.approx(14.4956, abs=5e-5)


def test_a_catalogue_capacity_needs_the_rated_hours_form() -> None:
    # both forms on one 100 Ah (20 h) battery at 5 A: only one of them gives the catalogue's own 20 h
    battery = Battery(100, CHEMISTRIES["flooded"], cells=6)
    assert 1 / supply.drain_per_h(battery, 5) == pytest.approx(20)
    assert supply.peukert_h(100, 5, battery.chemistry.peukert) == pytest.approx(20)
    assert supply.peukert_one_ampere_h(100, 5, battery.chemistry.peukert) < 15


@pytest.mark.parametrize(("celsius", "share"), [(25, 0.8), (0, 0.8), (-20, 0.5), (-40, 0.5), (-10, 0.65)])
def test_lithium_iron_phosphate_in_the_cold(celsius: float, share: float) -> None:
    battery = Battery(100, CHEMISTRIES["LiFePO4"])
    assert supply.usable_fraction(battery, temperature_c=celsius) == pytest.approx(share)


@pytest.mark.parametrize(("cells", "volts"), [(4, 12.8), (8, 25.6)])
def test_nominal_voltage(cells: int, volts: float) -> None:
    assert Battery(100, CHEMISTRIES["LiFePO4"], cells).nominal_v == pytest.approx(volts)
