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


@pytest.mark.parametrize(("current_a", "hours"), [(10, 8.7055), (5, 20.000), (20, 3.7893)])
def test_rated_hours_form(current_a: float, hours: float) -> None:
    """A cross-check: worked out apart from this program by t = H·(C/(I·H))^k, the form that batterystuff.com gives."""
    assert supply.peukert_h(100, current_a, 1.2) == pytest.approx(hours, abs=5e-5)


def test_a_catalogue_capacity_needs_the_rated_hours_form() -> None:
    # both forms on one 100 Ah (20 h) battery at 5 A: only one of them gives the catalogue's own 20 h
    battery = Battery(100, CHEMISTRIES["flooded"], cells=6)
    assert 1 / supply.drain_per_h(battery, 5) == pytest.approx(20)
    assert supply.peukert_h(100, 5, battery.chemistry.peukert) == pytest.approx(20)
    assert supply.peukert_one_ampere_h(100, 5, battery.chemistry.peukert) < 15


def test_duty() -> None:
    assert supply.sending_share("FT8") == pytest.approx(12.64 / 30)
    assert supply.sending_share("FT4") == pytest.approx(5.04 / 15)
    assert supply.sending_share("FT8", every=4) == pytest.approx(12.64 / 60)
    assert supply.sending_share("FT8", every=1) == pytest.approx(12.64 / 15)
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
    assert supply.endurance_h(battery, Load(0, 4, 1)) == pytest.approx(20)


def test_the_law_counts_from_the_rated_current_on_whatever_hours_it_is_rated_at() -> None:
    # 100 Ah rated at 10 h, exponent 1.05: 10 A without loss; at 20 A the time is 10 h · (1/2)^1.05 (Peukert's law)
    battery = Battery(100, CHEMISTRIES["LiFePO4"], rated_hours=10)
    assert supply.drain_per_h(battery, 10) == pytest.approx(0.1)
    assert supply.drain_per_h(battery, 5) == pytest.approx(0.05)
    assert supply.drain_per_h(battery, 20) == pytest.approx(1 / (10 * 0.5**1.05))
    short = Battery(100, CHEMISTRIES["LiFePO4"], cells=1, rated_hours=0.5)
    assert supply.drain_per_h(short, 100) == pytest.approx(1)
    assert short.nominal_v == 3.2


def test_what_ends_it_early_shortens_the_time_left() -> None:
    battery, load = Battery(100, CHEMISTRIES["LiFePO4"]), Load(4, 4, 0.5)
    assert supply.endurance_h(battery, load) == supply.endurance_h(battery, load, temperature_c=25.0)
    # −20 °C leaves one half of the capacity (a maker's data sheet): 50 Ah at 4 A
    assert supply.endurance_h(battery, load, temperature_c=-20.0) == pytest.approx(12.5)
    # 13.08 V are 3.27 V a cell, half charged: with no sag one half can be used, with 0.06 V of it, of 0.015 ohm, less
    assert supply.endurance_h(battery, load, minimum_v=13.08, measured_ohm=0.0) == pytest.approx(12.5)
    sagging_h = supply.endurance_h(battery, load, minimum_v=13.08, measured_ohm=0.015)
    assert sagging_h == pytest.approx(100 * (0.5 - 0.4 * 0.015 / 0.06) / 4)
    # where nothing was measured, the typical resistance of the cells counts
    typical_h = supply.endurance_h(battery, load, minimum_v=13.08)
    assert typical_h == supply.endurance_h(battery, load, minimum_v=13.08, measured_ohm=battery.resistance_ohm)
    assert typical_h < 12.5


def test_the_cold_and_the_lowest_voltage_both_take_their_share() -> None:
    battery = Battery(100, CHEMISTRIES["LiFePO4"])
    # 80 % at 0 °C (a maker's data sheet), and one half of that above 3.27 V a cell
    assert supply.usable_fraction(battery, temperature_c=0.0) == pytest.approx(0.8)
    assert supply.usable_fraction(battery, temperature_c=0.0, minimum_v=13.08) == pytest.approx(0.4)
    assert supply.usable_fraction(battery, minimum_v=13.08) == pytest.approx(0.5)
    assert supply.usable_fraction(battery, sending_a=0, minimum_v=13.08, measured_ohm=1) == pytest.approx(0.5)


def test_a_battery_at_rest_is_at_room_temperature_unless_told() -> None:
    battery = Battery(100, CHEMISTRIES["AGM"], cells=6)
    assert supply.charge_bounds(battery, 12.5) == supply.charge_bounds(battery, 12.5, 25.0)
    assert supply.charge_bounds(battery, 12.5) != supply.charge_bounds(battery, 12.5, 24.0)


def test_the_charge_at_rest_lies_between_what_the_doubt_allows() -> None:
    # 2.08 V a cell are three quarters; 0.03 V off, by the curve of lead (common practice, no source)
    battery = Battery(100, CHEMISTRIES["AGM"], cells=6)
    assert supply.charge_bounds(battery, 12.48) == pytest.approx((0.5625, 0.9375))
    # 60 % of it is there at −20 °C: what the cold keeps back is still in the battery
    assert supply.charge_bounds(battery, 12.48, -20.0) == pytest.approx((0.7375, 0.9625))


def test_it_is_in_room_temperature_and_listens_unless_told() -> None:
    cold = supply.usable_fraction(PORTABLE, minimum_v=13.08, temperature_c=24.0)
    room = supply.usable_fraction(PORTABLE, minimum_v=13.08)
    assert cold < room == supply.usable_fraction(PORTABLE, minimum_v=13.08, temperature_c=25.0, sending_a=0)


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
    assert supply.charge_ah(readings, longest_gap_ms=3_600_000) == pytest.approx(2.0)
    assert supply.charge_ah([]) == supply.charge_ah([(0, 5.0)]) == 0


def test_sag_and_energy() -> None:
    assert supply.resistance_ohm(13.2, 1.2, 12.82, 5.0) == pytest.approx(0.1)
    assert supply.energy_wh(13.0, Load(1.0, 5.0, 0.5), 0.02) == pytest.approx(0.78)
    with pytest.raises(ValueError, match="not above listening current"):
        supply.resistance_ohm(13.2, 5.0, 12.8, 5.0)


def test_interval() -> None:
    low, likely, high = supply.with_interval(4.0, capacity_spread=0.03, current_spread=0.04)
    assert (low, likely, high) == pytest.approx((4 / 1.05, 4, 4 / 0.95))


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
