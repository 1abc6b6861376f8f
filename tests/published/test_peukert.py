"""Peukert's law and lithium iron phosphate.

* Peukert's own form t = C/I^k: easycalculation.com and electrotechnik.net, worked examples;
* capacity in the cold: data sheet of a maker of LiFePO4 batteries (80 Ah at 0 °C, 50 Ah at −20 °C of 100 Ah).
"""

from __future__ import annotations

import pytest

from watchkeeper.radio import supply
from watchkeeper.radio.supply import CHEMISTRIES, Battery


def test_one_ampere_form() -> None:
    hours = supply.peukert_one_ampere_h(250, 20, 1.3)
    assert hours == pytest.approx(5.088631644, abs=1e-9)
    assert hours * 20 == pytest.approx(101.772632884, abs=1e-8)
    assert supply.peukert_one_ampere_h(100, 5, 1.2) == pytest.approx(14.5, abs=0.05)


@pytest.mark.parametrize(("celsius", "share"), [(25, 0.8), (0, 0.8), (-20, 0.5), (-40, 0.5), (-10, 0.65)])
def test_lithium_iron_phosphate_in_the_cold(celsius: float, share: float) -> None:
    battery = Battery(100, CHEMISTRIES["LiFePO4"])
    assert supply.usable_fraction(battery, temperature_c=celsius) == pytest.approx(share)


@pytest.mark.parametrize(("cells", "volts"), [(4, 12.8), (8, 25.6)])
def test_nominal_voltage(cells: int, volts: float) -> None:
    assert Battery(100, CHEMISTRIES["LiFePO4"], cells).nominal_v == pytest.approx(volts)
