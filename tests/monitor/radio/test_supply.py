"""Endurance of a battery: the stated check, and what must hold for any."""

from __future__ import annotations

from collections.abc import Callable
from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.radio import supply
from watchkeeper.radio.supply import CHEMISTRIES, Battery, Load

PORTABLE = Battery(12, CHEMISTRIES["LiFePO4"])
BATTERIES = st.builds(Battery, st.floats(1, 300), st.sampled_from(list(CHEMISTRIES.values())), st.integers(3, 8))
LOADS = st.builds(Load, st.floats(0.05, 3), st.floats(3, 25), st.floats(0, 1))


@pytest.mark.parametrize("mode", ["FT8", "FT4"])
def test_twelve_ampere_hours_last_two_to_five_hours(mode: str) -> None:
    # about 10 W, 5 A sending, 1.2 A receiving, every second period: common practice, no source
    load = Load(1.2, 5.0, supply.sending_share(mode))
    assert 2 < supply.endurance_h(PORTABLE, load, minimum_v=11.7) < 5


def test_duty() -> None:
    assert supply.sending_share("FT8") == pytest.approx(12.64 / 30)
    assert supply.sending_share("FT4") == pytest.approx(5.04 / 15)
    assert supply.sending_share("FT8", every=4) == pytest.approx(12.64 / 60)
    for mode, every in (("SSB", 2), ("FT8", 0)):
        with pytest.raises(ValueError, match=f"no duty for '{mode}' every {every}"):
            supply.sending_share(mode, every)


def test_counted_by_hand_at_and_below_the_rated_current() -> None:
    # 100 Ah at 20 h: up to 5 A there is no Peukert loss; 80 Ah usable at 4 A last 20 h
    battery = Battery(100, CHEMISTRIES["LiFePO4"])
    assert supply.endurance_h(battery, Load(4, 4, 0.5)) == pytest.approx(20)
    assert supply.endurance_h(battery, Load(4, 4, 0.5), used_fraction=0.4) == pytest.approx(10)
    assert supply.endurance_h(battery, Load(4, 4, 0.5), used_fraction=0.9) == 0
    assert supply.endurance_h(battery, Load(0, 0, 0.5)) == inf


def test_the_radio_ends_it_before_the_battery_does() -> None:
    assert supply.usable_fraction(PORTABLE, sending_a=5, minimum_v=11.0) == pytest.approx(0.8)
    assert supply.usable_fraction(PORTABLE, sending_a=20, minimum_v=12.2) < 0.65
    assert supply.usable_fraction(PORTABLE, sending_a=5, minimum_v=14.0) == 0
    assert supply.usable_fraction(PORTABLE, minimum_v=0.0) == pytest.approx(0.8)


def test_currents_from_power() -> None:
    # common practice, no source
    assert supply.typical_sending_a(10) == 5
    assert supply.typical_sending_a(100) == supply.typical_sending_a(200) == 20
    assert 12 < supply.typical_sending_a(60) < 20
    assert supply.typical_sending_a(0) < supply.TYPICAL_RECEIVING_A


def test_counting_charge() -> None:
    # 1 A for an hour in steps of 30 s, then a gap of an hour that counts for one minute
    readings = [(step * 30_000, 1.0) for step in range(121)] + [(7_200_000, 5.0)]
    assert supply.charge_ah(readings) == pytest.approx(1.0 + 1 / 60)
    assert supply.charge_ah([]) == supply.charge_ah([(0, 5.0)]) == 0


def test_sag_and_energy() -> None:
    assert supply.resistance_ohm(13.2, 1.2, 12.82, 5.0) == pytest.approx(0.1)
    assert supply.energy_wh(13.0, Load(1.0, 5.0, 0.5), 0.02) == pytest.approx(0.78)
    with pytest.raises(ValueError, match="not above listening current"):
        supply.resistance_ohm(13.2, 5.0, 12.8, 5.0)


def test_interval() -> None:
    low, likely, high = supply.with_interval(4.0, capacity_spread=0.03, current_spread=0.04)
    assert (low, likely, high) == pytest.approx((4 / 1.05, 4, 4 * 1.05))


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: Battery(0, CHEMISTRIES["AGM"]),
        lambda: Battery(7, CHEMISTRIES["AGM"], cells=0),
        lambda: Battery(7, CHEMISTRIES["AGM"], rated_hours=0),
    ],
)
def test_no_battery(wrong: Callable[[], Battery]) -> None:
    with pytest.raises(ValueError, match="no battery"):
        wrong()


@pytest.mark.parametrize("load", [(-1.0, 5.0, 0.5), (1.0, -5.0, 0.5), (1.0, 5.0, 1.5)])
def test_no_load(load: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="no load"):
        Load(*load)


@given(BATTERIES, LOADS, st.floats(0, 1), st.floats(0, 1))
def test_more_used_never_lasts_longer(battery: Battery, load: Load, used: float, more: float) -> None:
    left = supply.endurance_h(battery, load, used_fraction=used)
    assert 0 <= supply.endurance_h(battery, load, used_fraction=used + more) <= left


@given(BATTERIES, LOADS)
def test_never_longer_than_plain_charge(battery: Battery, load: Load) -> None:
    plain_h = battery.chemistry.usable * battery.capacity_ah / load.mean_a
    assert supply.endurance_h(battery, load) <= plain_h * (1 + 1e-9)


@pytest.mark.parametrize("name", CHEMISTRIES)
def test_prediction_in_a_discharge_period_by_period(name: str) -> None:
    # 12.64 s at 5 A in every second period of 15 s, 1.2 A else; each stretch takes its share by the battery's law
    battery = Battery(12, CHEMISTRIES[name], cells=4 if name == "LiFePO4" else 6)
    stretches = [(12.64 / 3600, 5.0), ((30 - 12.64) / 3600, 1.2)]
    usable, used, hours, predicted_end = supply.usable_fraction(battery), 0.0, 0.0, 0.0
    while used < usable:
        for length_h, current_a in stretches:
            used += length_h * supply.drain_per_h(battery, current_a)
            hours += length_h
        if not predicted_end and used > usable / 3:
            load = Load(1.2, 5.0, supply.sending_share("FT8"))
            predicted_end = hours + supply.endurance_h(battery, load, used_fraction=used)
    assert predicted_end == pytest.approx(hours, rel=0.01)
