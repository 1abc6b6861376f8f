"""Vitals: faults of the station are found within a stated number of periods; a healthy station is left in peace."""

from __future__ import annotations

from typing import Any

import pytest
from tests.benchmarks.vitals import FAULTS, FOUND, HEALTHY_SEEDS, false_vitals, found_after, hailed
from tests.plugins.simulated import Simulated

from watchkeeper.api import CheckState, Farewell, Gauge, Own, Tuning
from watchkeeper.config import PluginSettings
from watchkeeper.schema.events import Period, from_ms
from watchkeeper.testing import Bench
from watchkeeper.view import Gauges, Table, Urgency
from watchkeeper_vitals import Vitals
from watchkeeper_vitals.detect import Cusum, Latch, crowding

#: enough to see a fault that is missed at one seed in twenty, in minutes
SEEDS = 20
#: a healthy evening of an hour and a quarter
HEALTHY_PERIODS = 300


@pytest.mark.parametrize("spec", FAULTS)
def test_a_fault_is_found(spec: str) -> None:
    assert found_after(spec, seed=1) is not None


@pytest.mark.long
@pytest.mark.parametrize("spec", FAULTS)
def test_faults_are_found_in_time_at_nearly_all_seeds(spec: str) -> None:
    found = [found_after(spec, seed) is not None for seed in range(1, SEEDS + 1)]
    assert sum(found) >= FOUND * SEEDS


@pytest.mark.long
def test_a_healthy_station_is_left_in_peace() -> None:
    """20 seeds of an hour and a quarter: 25 hours, in which less than one vital a day may be false."""
    false = [(seed, key) for seed in HEALTHY_SEEDS for key in false_vitals(seed, HEALTHY_PERIODS)]
    assert not false


@pytest.mark.long
@pytest.mark.parametrize("name", ["dead-band", "park-activation", "contest-hour", "club"])
def test_neither_a_dead_nor_a_crowded_band_nor_a_change_of_it_is_a_fault(name: str) -> None:
    bench = Bench(Vitals, settings=PluginSettings(budget_ms=10_000, burst_budget_ms=10_000))
    for _ in Simulated(bench, 2, name=name).periods(120):
        pass
    assert not hailed(bench)


def gauge(bench: Bench, **fields: Any) -> None:
    bench.feed(Gauge(v=1, source="bench", at=from_ms(bench.start_ms), **fields))


def reading(bench: Bench, key: str) -> Any:
    (view,) = (view for view in bench.views() if isinstance(view, Gauges))
    return next(one for one in view.readings if one.key == key)


def test_the_match_is_hailed_once_and_clears_itself() -> None:
    bench = Bench(Vitals)
    for _ in range(4):
        bench.period("CQ CE3QRT FF46")
        gauge(bench, sending=True, swr=2.4)
    assert hailed(bench) == ["match"]
    assert reading(bench, "match").urgency == Urgency.WANTED
    for _ in range(3):
        gauge(bench, sending=True, swr=1.2)
    assert reading(bench, "match").urgency == Urgency.CALM
    assert hailed(bench) == ["match"]


def test_no_alc_at_all_is_one_practice_and_no_fault() -> None:
    bench = Bench(Vitals)
    for _ in range(5):
        gauge(bench, sending=True, alc_fraction=0.0)
    assert not bench.hails


def test_one_station_with_a_bad_clock_is_told_apart() -> None:
    bench = Bench(Vitals)
    for _ in range(6):
        bench.hear(*(f"CQ W{number}QSB FN42" for number in range(1, 7)), late_s=0.2)
        bench.hear("CQ CE3QRT FF46", late_s=1.9)
        bench.close()
    assert not bench.hails
    assert reading(bench, "clock").sentence == "CE3QRT is +1.7 s off the others: its clock, not yours."


def test_a_quiet_band_is_no_narrow_passband() -> None:
    bench = Bench(Vitals)
    for _ in range(20):
        bench.period("CQ CE3QRT FF46", offset_hz=1500.0)
        bench.period("CQ W1QSB FN42", offset_hz=1600.0)
    assert not bench.hails


def test_matching_trials_are_numbered_and_the_best_is_kept() -> None:
    bench = Bench(Vitals)
    for swr in (2.8, 1.9, 2.3, 1.4):
        gauge(bench, sending=True, swr=swr, forward_w=2.0)
        gauge(bench, sending=False)
    (trials,) = (check for check in bench.host.preflight() if check.key == "trials")
    assert trials.state is CheckState.GOOD
    assert trials.evidence == "1: SWR 2.8 first, 2: SWR 1.9 better, 3: SWR 2.3 worse, 4: SWR 1.4 better; best is 4"


def test_a_message_is_no_matching_trial() -> None:
    bench = Bench(Vitals)
    bench.send("CQ DL5QRM JO62")
    gauge(bench, sending=True, swr=1.4)
    gauge(bench, sending=False)
    assert "trials" not in {check.key for check in bench.host.preflight()}


def test_before_the_first_period_the_preflight_is_shown() -> None:
    bench = Bench(Vitals)
    (view,) = bench.views()
    assert isinstance(view, Table)
    assert view.name == "vitals.preflight"
    own = {row.key: row.cells for row in view.rows}["own"]
    assert own == ("good", "Own call and locator", "DL5QRM in JO62qm")


def test_a_latch_has_hysteresis() -> None:
    latch = Latch(up=2, down=2)
    readings = (True, False, True, True, False, True, False, False)
    found = [latch.update(poor=poor, good=not poor) for poor in readings]
    assert found == [False, False, False, True, True, True, True, False]


def test_the_sum_stands_still_without_a_shift_and_finds_one_of_three_deviations() -> None:
    cusum = Cusum()
    assert not any(cusum.update(deviation) for deviation in [1.0, -1.0] * 500)
    assert [cusum.update(3.0) for _ in range(5)][-1]


def test_crowding_by_hand() -> None:
    # three offsets within a third of the width: 3·(1/3)² = 1/3
    span_hz, chance = crowding([0.0, 450.0, 900.0], 2700.0)
    assert (span_hz, round(chance, 9)) == (900.0, round(1 / 3, 9))


def test_what_differs_from_the_set_up_sheet_is_shown() -> None:
    sheet = {"filter_low_hz": 100.0, "filter_high_hz": 3000.0, "serial speed": 38400}
    bench = Bench(Vitals, config={"vitals": {"sheet": sheet}})
    at = from_ms(bench.start_ms)
    bench.feed(
        Tuning(v=1, source="bench", at=at, dial_hz=14_074_000, mode="FT8", filter_low_hz=100, filter_high_hz=2400)
    )
    found = {check.key: (check.state, check.evidence) for check in bench.host.preflight() if "sheet" in check.key}
    assert found == {
        "sheet:filter_low_hz": (CheckState.GOOD, "100, as noted"),
        "sheet:filter_high_hz": (CheckState.POOR, "2400, not 3000"),
        "sheet:serial speed": (CheckState.GOOD, "should be 38400"),
    }


def test_a_filter_that_is_told_narrow_is_named_whatever_is_heard() -> None:
    bench = Bench(Vitals)
    bench.tune(filter_low_hz=1250, filter_high_hz=1750)
    for _ in range(2):
        bench.hear("CQ CE3QRT FF46", offset_hz=400.0)
        bench.period("CQ W1QSB FN42", offset_hz=2600.0)
    assert reading(bench, "passband").sentence.startswith("The radio's filter is 500 Hz wide, of the 2700 Hz that")


@pytest.mark.parametrize(
    ("power_w", "state"), [(None, CheckState.WAITING), (5.0, CheckState.GOOD), (50_000.0, CheckState.POOR)]
)
def test_the_own_power_has_to_be_plausible(power_w: float | None, state: CheckState) -> None:
    bench = Bench(Vitals, own=Own(call="DL5QRM", locator="JO62qm", power_w=power_w))
    (found,) = [check for check in bench.host.preflight() if check.key == "power_set"]
    assert found.state is state


def test_two_receivers_do_not_overwrite_each_others_vitals() -> None:
    """One has its audio too low, the other's is good: it is hailed once, and shown whose it is until it mends."""
    bench = Bench(Vitals)
    for low in (True, True, True, True, False, False, False):
        for source, level in (("left", -80.0 if low else -30.0), ("right", -30.0)):
            bench.feed(
                Period(
                    v=1, source=source, at=from_ms(bench.start_ms), mode=bench.mode, dial_hz=bench.dial_hz, count=0,
                    final=True, audio_dbfs=level,
                )
            )  # fmt: skip
        bench.skip()
        if low:
            last = reading(bench, "audio").text
    assert last == "left: too low, −80 dBFS"
    assert hailed(bench) == ["audio|left"]
    assert reading(bench, "audio").urgency == Urgency.CALM


def test_one_receiver_on_two_frequencies_by_turns_keeps_both_in_mind() -> None:
    bench = Bench(Vitals)
    for number in range(12):
        bench.dial_hz = (14_074_000, 7_074_000)[number % 2]
        bench.close(audio_dbfs=-30.0 if number % 2 else -80.0)
    assert hailed(bench) == ["audio"]
    assert reading(bench, "audio").urgency == Urgency.WANTED


def test_a_receiver_that_goes_through_many_frequencies_keeps_what_was_found_last() -> None:
    bench = Bench(Vitals)
    for number in range(80):
        bench.dial_hz = 14_074_000 + 1000 * number
        bench.close(audio_dbfs=-80.0)
        bench.close(audio_dbfs=-80.0)
        assert reading(bench, "audio").text == "too low, −80 dBFS", f"on the {number + 1}th frequency"


def decodes(bench: Bench) -> tuple[CheckState, str]:
    (found,) = (check for check in bench.host.preflight() if check.key == "decodes")
    return found.state, found.evidence


def test_the_preflight_tells_of_the_frequency_that_is_listened_to_now() -> None:
    bench = Bench(Vitals)
    bench.hear(*MANY[:8])
    bench.close(noise_dbfs_hz=-64.0)
    assert decodes(bench) == (CheckState.GOOD, "8 stations in the last period")
    bench.dial_hz = 7_074_000
    for _ in range(240):
        bench.close()
    assert decodes(bench) == (CheckState.WAITING, "no station yet")
    bench.close(noise_dbfs_hz=-71.0)
    assert decodes(bench) == (CheckState.GOOD, "no station, but noise at −71 dBFS/Hz")


def test_the_preflight_tells_of_both_frequencies_that_are_listened_to_by_turns() -> None:
    bench = Bench(Vitals)
    for number in range(8):
        bench.dial_hz = (14_074_000, 7_074_000)[number % 2]
        bench.period(*() if number % 2 else MANY[:8])
        assert decodes(bench) == (CheckState.GOOD, "8 stations in the last period")


@pytest.mark.parametrize(("mode", "periods"), [("FT8", 20), ("FST4W-1800", 4)])
def test_what_was_found_of_a_source_that_died_without_a_farewell_is_told_no_longer(mode: str, periods: int) -> None:
    """For five minutes, or four periods where these are longer."""
    bench = Bench(Vitals, mode=mode)
    for number in range(4 + periods + 1):
        for source, level in (("left", -80.0), ("right", -30.0))[number >= 4 :]:
            bench.feed(
                Period(
                    v=1, source=source, at=from_ms(bench.start_ms), mode=bench.mode, dial_hz=bench.dial_hz, count=0,
                    final=True, audio_dbfs=level,
                )
            )  # fmt: skip
        bench.skip()
        if 4 <= number < 4 + periods:
            assert reading(bench, "audio").text == "left: too low, −80 dBFS"
    assert reading(bench, "audio").text == "good, −30 dBFS"
    bench.skip(periods + 1)
    gauge(bench, host_battery_fraction=0.9)
    (audio,) = (check for check in bench.host.preflight() if check.key == "audio")
    assert audio.state is CheckState.WAITING, "the other one is gone as well"


def test_a_source_that_is_minutes_late_is_judged_all_the_same() -> None:
    bench = Bench(Vitals)
    for _ in range(8):
        for source, level, late_ms in (("right", -30.0, 0), ("left", -80.0, 600_000)):
            bench.feed(
                Period(
                    v=1, source=source, at=from_ms(bench.start_ms - late_ms), mode=bench.mode, dial_hz=bench.dial_hz,
                    count=0, final=True, audio_dbfs=level,
                )
            )  # fmt: skip
        bench.skip()
    assert "audio|left" in hailed(bench)
    assert reading(bench, "audio").text == "left: too low, −80 dBFS"


MANY = tuple(f"CQ {prefix}QS{last} FN42" for prefix in ("W1", "K2", "N3") for last in "ABCD")


def listen(bench: Bench, heard: dict[str, tuple[str, ...]]) -> None:
    """One period on one frequency, with what each source heard in it."""
    for source, texts in heard.items():
        bench.hear(*texts, source=source)
        bench.feed(
            Period(
                v=1,
                source=source,
                at=from_ms(bench.start_ms),
                mode=bench.mode,
                dial_hz=bench.dial_hz,
                count=len(texts),
                final=True,
            )
        )
    bench.skip()


def test_a_source_that_falls_silent_is_hailed_once_by_its_name_and_clears_itself() -> None:
    bench = Bench(Vitals)
    both, one = {"left": MANY, "right": MANY}, {"left": MANY}
    for _ in range(4):
        listen(bench, both)
    assert reading(bench, "sources").text == "clean: left, right"
    for _ in range(20):
        listen(bench, one)
    assert hailed(bench) == ["sources"]
    assert reading(bench, "sources").text == "right is silent"
    listen(bench, both)
    assert reading(bench, "sources").urgency == Urgency.CALM
    assert hailed(bench) == ["sources"]


def test_after_a_farewell_silence_is_no_fault() -> None:
    bench = Bench(Vitals)
    for _ in range(4):
        listen(bench, {"left": MANY, "right": MANY})
    bench.feed(Farewell(v=1, source="right", at=from_ms(bench.start_ms)))
    for _ in range(20):
        listen(bench, {"left": MANY})
    assert not hailed(bench)


def test_two_sources_that_disagree_on_one_band_are_told() -> None:
    bench = Bench(Vitals)
    for _ in range(8):
        listen(bench, {"left": MANY, "right": MANY[:2]})
    assert hailed(bench) == ["sources"]
    assert reading(bench, "sources").sentence.startswith("right hears 2 stations where another source hears 12.")
    for _ in range(4):
        listen(bench, {"left": MANY, "right": MANY})
    assert reading(bench, "sources").urgency == Urgency.CALM


def test_sources_that_hear_about_the_same_agree() -> None:
    bench = Bench(Vitals)
    for _ in range(12):
        listen(bench, {"left": MANY, "right": MANY[:6]})
    assert not hailed(bench)
