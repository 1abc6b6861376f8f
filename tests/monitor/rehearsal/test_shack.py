"""The own station's equipment: battery, gauges, and what faults do to the receiver."""

from __future__ import annotations

import pytest

from watchkeeper.rehearsal.faults import Timeline
from watchkeeper.rehearsal.scenario import Fault, Own, Supply
from watchkeeper.rehearsal.shack import Shack

_PERIOD_S, _SENT_S = 15.0, 12.64


def shack(*faults: Fault, supply: Supply | None = None) -> Shack:
    return Shack(1, Own(supply=supply), Timeline(faults, 0))


def test_a_healthy_station_reads_as_one() -> None:
    station = shack()
    sending = station.sending(0)
    assert sending["forward_w"] == pytest.approx(10, abs=1)
    assert 1.1 < sending["swr"] < 1.5
    assert 0.2 < sending["alc_fraction"] < 0.5
    receiving = station.receiving(0)
    assert receiving["clock_synchronised"] is True
    assert abs(receiving["clock_error_s"]) < 0.1
    condition = station.condition(0)
    assert (condition.low_hz, condition.high_hz) == (200.0, 2900.0)
    assert (condition.loss_db, condition.noise_db, condition.clock_s) == (0.0, 0.0, 0.0)


def test_a_battery_lasts_as_its_currents_say() -> None:
    """12 Ah, 5 A sending and 1.2 A receiving, every second period sent: between 2 and 5 hours (common practice)."""
    station = shack(supply=Supply())
    hours = 0.0
    while not station.dead:
        station.period(round(hours * 3_600_000), _PERIOD_S, _SENT_S)
        station.period(round(hours * 3_600_000), _PERIOD_S, 0.0)
        hours += 2 * _PERIOD_S / 3600
    assert 2 < hours < 5
    mean_a = (5.0 * _SENT_S + 1.2 * (2 * _PERIOD_S - _SENT_S)) / (2 * _PERIOD_S)
    assert hours == pytest.approx(12.0 / mean_a, rel=0.1)


def test_the_voltage_sags_under_load() -> None:
    station = shack(supply=Supply())
    assert station.sending(0)["supply_v"] < station.receiving(0)["supply_v"] - 0.1


def test_a_battery_that_has_lost_its_charge_dies_early() -> None:
    station = shack(Fault(kind="battery", from_s=0, value=0.02), supply=Supply())
    station.period(0, _PERIOD_S, _SENT_S)
    assert station.dead


@pytest.mark.parametrize(
    ("fault", "field", "value"),
    [
        (Fault(kind="deaf", value=30), "loss_db", 30.0),
        (Fault(kind="audio", value=-80), "loss_db", 10.0),
        (Fault(kind="audio", value=-80), "audio_dbfs", -80.0),
        (Fault(kind="audio", value=0), "loss_db", 12.0),
        (Fault(kind="interference", value=12), "noise_db", 12.0),
        (Fault(kind="passband", value=500), "low_hz", 1250.0),
        (Fault(kind="passband", value=500), "high_hz", 1750.0),
        (Fault(kind="clock", value=1.8), "clock_s", 1.8),
    ],
)
def test_faults_of_the_receiver(fault: Fault, field: str, value: float) -> None:
    assert getattr(shack(fault).condition(1000), field) == pytest.approx(value)


def test_a_drifting_clock_is_not_known_to_be_wrong_by_how_much() -> None:
    station = shack(Fault(kind="drift", from_s=600, value=2.0))
    assert station.clock_s(600_000 + 1_800_000) == pytest.approx(1.0)
    readings = station.receiving(700_000)
    assert readings["clock_synchronised"] is False
    assert "clock_error_s" not in readings


def test_a_match_gets_worse_slowly_and_takes_power() -> None:
    station = shack(Fault(kind="swr", value=3.5))
    assert station.sending(60_000)["swr"] < 2.0
    late = station.sending(400_000)
    assert late["swr"] == pytest.approx(3.5, abs=0.15)
    assert late["forward_w"] < 8


def test_an_empty_battery_takes_power() -> None:
    station = shack(supply=Supply(charged=0.02))
    assert station.sending(0)["forward_w"] < 9.3


def test_the_computer_empties_its_own_battery() -> None:
    station = shack(supply=Supply(capacity_ah=100))
    for number in range(240):
        station.period(number * 15_000, _PERIOD_S, 0.0)
    assert station.receiving(3_600_000)["host_battery_fraction"] == pytest.approx(0.78, abs=0.01)


def test_too_much_drive_shows() -> None:
    assert shack(Fault(kind="alc", value=1.4)).sending(0)["alc_fraction"] > 1.2
