"""Supply: the time that is left, against a simulated discharge and against stated currents."""

from __future__ import annotations

from typing import Any

import pytest
from tests.plugins.simulated import Simulated

from watchkeeper.api import Gauge
from watchkeeper.rehearsal.scenario import Supply as Battery
from watchkeeper.schema.events import from_ms
from watchkeeper.testing import Bench
from watchkeeper.view import Gauges, Series, Urgency
from watchkeeper_supply import Supply, SupplyConfig

PERIODS_AN_HOUR = 240


def readings(bench: Bench) -> dict[str, Any]:
    return {one.key: one for view in bench.views() if isinstance(view, Gauges) for one in view.readings}


def gauge(bench: Bench, **fields: Any) -> None:
    bench.feed(Gauge(v=1, source="bench", at=from_ms(bench.start_ms), **fields))


@pytest.mark.long
@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("capacity_ah", [4.5, 12.0, 20.0])
def test_the_end_is_foretold_within_a_tenth_once_a_third_is_used(capacity_ah: float, seed: int) -> None:
    """Near the end a few minutes are most of what is left, so there the error is taken of the whole time alone."""
    foretold, ended_h = discharged(capacity_ah, seed)
    wrong_h = [(ended_h - at_h, abs(at_h + left_h - ended_h)) for at_h, left_h in foretold]
    early = [error_h / remaining_h for remaining_h, error_h in wrong_h if remaining_h > ended_h / 2]
    assert len(early) > 3
    assert max(early) < 0.1, "of what is left, while more than half of the time is"
    assert max(error_h for _, error_h in wrong_h) < 0.05 * ended_h, "of the whole time, to the end"


def test_a_small_battery_is_foretold_within_a_tenth_once_a_third_is_used() -> None:
    foretold, ended_h = discharged(1.5, seed=1)
    assert len(foretold) > 5
    assert max(abs(at_h + left_h - ended_h) for at_h, left_h in foretold) < 0.1 * ended_h, "of the whole time"


def discharged(capacity_ah: float, seed: int) -> tuple[list[tuple[float, float]], float]:
    """Discharge a battery; (hours since the start, hours foretold) once a third is used, and when it really ended."""
    bench = Bench(Supply, config={"supply": {"capacity_ah": capacity_ah}})
    simulated = Simulated(bench, seed, supply=Battery(capacity_ah=capacity_ah))
    shack = simulated.session.shack
    battery = shack.battery
    assert battery is not None
    foretold: list[tuple[float, float]] = []
    every = max(2, round(capacity_ah * 1.6))
    for number in simulated.periods(round(capacity_ah * 170)):
        if shack.dead:
            return foretold, number / PERIODS_AN_HOUR
        if battery.charge_ah < capacity_ah * 2 / 3 and number % every == 0:
            foretold.append((number / PERIODS_AN_HOUR, readings(bench)["left"].value))
    raise AssertionError("it never ended")


def test_twelve_ampere_hours_at_ten_watts_last_an_afternoon() -> None:
    """12 Ah, 5 A sending and 1.2 A receiving, every second period: 2 to 5 hours (common practice, no source)."""
    bench = Bench(Supply, config={"supply": {"capacity_ah": 12.0, "sending_a": 5.0, "receiving_a": 1.2}})
    bench.period("CQ CE3QRT FF46")
    assert 2 < readings(bench)["alternating"].value < 5


def test_capacity_and_power_alone_are_enough() -> None:
    bench = Bench(Supply, config={"supply": {"capacity_ah": 12.0}})
    bench.period("CQ CE3QRT FF46")
    found = readings(bench)
    assert 2 < found["alternating"].value < 5
    assert found["left"].value > found["alternating"].value, "listening alone takes less"


def test_it_hails_once_before_the_end() -> None:
    bench = Bench(Supply, config={"supply": {"capacity_ah": 1.0, "warn_min": 30}})
    for number in range(120):
        if number % 2:
            bench.send("CQ DL5QRM JO62")
            bench.close()
        else:
            bench.period("CQ CE3QRT FF46")
    assert [hail.key for hail in bench.hails] == ["supply|left"]
    assert bench.hails[0].sentence.startswith("The battery lasts about ")


def test_the_voltage_under_load_near_the_radios_lowest_is_urgent() -> None:
    bench = Bench(Supply)
    gauge(bench, sending=False, supply_v=12.8, supply_a=1.0)
    gauge(bench, sending=True, supply_v=11.1, supply_a=5.0)
    found = readings(bench)["volts"]
    assert found.text == "12.8 V, 11.1 V sending (425 mΩ with the leads)"
    assert found.urgency == Urgency.URGENT
    assert [hail.key for hail in bench.hails] == ["supply|volts"]


def test_the_computers_battery_counts_too() -> None:
    bench = Bench(Supply)
    gauge(bench, host_battery_fraction=0.1)
    assert readings(bench)["host"].urgency == Urgency.URGENT
    assert [hail.key for hail in bench.hails] == ["supply|host"]


def test_the_computers_battery_tells_how_long_it_lasts() -> None:
    """From 80 to 70 % in half an hour: 70 % last 3.5 h. While it charges nobody can tell."""
    bench = Bench(Supply)
    for minute in range(31):
        gauge(bench, host_battery_fraction=round(0.8 - minute // 3 / 100, 2))
        bench.skip(4)
    assert readings(bench)["host"].text == "battery at 70%, about 3 h 30 min more"
    gauge(bench, host_battery_fraction=0.71)
    assert readings(bench)["host"].text == "battery at 71%"


def test_a_computer_that_empties_fast_is_hailed_before_its_share_is_low() -> None:
    bench = Bench(Supply, config={"supply": {"warn_min": 30}})
    for minute in range(15):
        gauge(bench, host_battery_fraction=round(0.9 - minute * 0.04, 2))
        bench.skip(4)
    assert [hail.key for hail in bench.hails] == ["supply|host"]
    assert bench.hails[0].sentence.startswith(
        "The computer's own battery is down to 50%, about 12 min more. Plug it in"
    )


@pytest.mark.parametrize(
    ("chemistry", "words"),
    [("LiFePO4", "never below 0 °C"), ("Li-ion", "4.2 V a cell"), ("AGM", "gas"), ("flooded", "gas")],
)
def test_the_cautions_stand_beside_the_battery(chemistry: str, words: str) -> None:
    bench = Bench(Supply, config={"supply": {"capacity_ah": 12.0, "chemistry": chemistry}})
    bench.period("CQ CE3QRT FF46")
    text = readings(bench)["charge"].sentence
    assert text.startswith("Fuse both leads")
    assert words in text
    assert "hot" in text


def test_nothing_is_shown_where_nothing_is_known() -> None:
    bench = Bench(Supply)
    bench.period("CQ CE3QRT FF46")
    assert not bench.views()


def test_the_curve_grows_with_time() -> None:
    bench = Bench(Supply, config={"supply": {"capacity_ah": 12.0}})
    for _ in range(30):
        gauge(bench, sending=False, supply_v=13.1, supply_a=1.2)
        bench.period("CQ CE3QRT FF46")
    volts, left = (view for view in bench.views() if isinstance(view, Series))
    assert len(volts.lines[0].points) == len(left.lines[0].points) == 8
    hours = [value for _, value in left.lines[0].points if value is not None]
    assert hours == sorted(hours, reverse=True)


@pytest.mark.parametrize("wrong", [{"chemistry": "lemon"}, {"capacity_ah": 0}, {"cells": -1}])
def test_a_battery_that_cannot_be_is_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match=next(iter(wrong))):
        SupplyConfig(**wrong)


def test_an_end_that_comes_back_within_the_hold_off_is_hailed_when_that_is_over() -> None:
    """It nears the radio's lowest, recovers, and nears it again for good."""
    bench = Bench(Supply)
    for number in range(4 * 45):
        volts = 12.6 if 20 <= number < 40 else 11.1
        gauge(bench, sending=True, supply_v=volts)
        bench.close()
    assert [hail.key for hail in bench.hails] == ["supply|volts"] * 2
    assert bench.hails[1].at_ms - bench.hails[0].at_ms == pytest.approx(30 * 60_000, abs=30_000)
    assert all(hail.own_station for hail in bench.hails), "stations worth a call do not keep it back"
