"""What gauges tell while sending: matching trials hail nothing, messages do, and each sentence says what it reads."""

from __future__ import annotations

import pytest

from watchkeeper.api import Check, CheckState
from watchkeeper.testing import Bench
from watchkeeper.view import Gauges, Reading, Urgency
from watchkeeper_vitals import Vitals


def reading(bench: Bench, key: str) -> Reading:
    view = bench.view("vitals.station", Gauges)
    return next(one for one in view.readings if one.key == key)


def check(bench: Bench, key: str) -> Check:
    return next(one for one in bench.host.preflight() if one.key == key)


def carrier(bench: Bench, swr: float, forward_w: float = 2.0) -> None:
    for _ in range(3):
        bench.gauge(sending=True, swr=swr, forward_w=forward_w)
    bench.gauge(sending=False)
    bench.skip()


def test_a_poor_match_in_a_trial_is_shown_and_hails_nothing() -> None:
    bench = Bench(Vitals)
    carrier(bench, 3.4)
    assert check(bench, "match").state is CheckState.POOR
    assert check(bench, "match").evidence == "The SWR is 3.4 in this trial, above 2.0."
    assert check(bench, "trials").state is CheckState.POOR
    carrier(bench, 1.3)
    assert check(bench, "match").state is CheckState.GOOD
    assert check(bench, "trials").evidence == "1: SWR 3.4 first, 2: SWR 1.3 better; best is 2"
    assert not bench.hails


@pytest.mark.parametrize("late", [False, True])
def test_a_poor_match_in_a_message_hails_whether_it_is_told_before_or_after(late: bool) -> None:
    bench = Bench(Vitals)
    bench.send("CQ DL5QRM JO62")
    bench.gauge(sending=False)
    bench.skip(2)
    if not late:
        bench.send("CQ DL5QRM JO62")
    for _ in range(3):
        bench.gauge(sending=True, swr=3.4, forward_w=10.0)
    bench.gauge(sending=False)
    if late:
        assert not bench.hails
        bench.send("CQ DL5QRM JO62")
    bench.close()
    assert [hail.key for hail in bench.hails] == ["vitals|match"]
    assert "trials" not in {one.key for one in bench.host.preflight()}


def test_a_source_that_tells_no_messages_still_finds_a_match_that_went() -> None:
    bench = Bench(Vitals)
    carrier(bench, 3.4, forward_w=10.0)
    assert [hail.key for hail in bench.hails] == ["vitals|match"]


def test_a_match_that_mends_says_so_at_once() -> None:
    bench = Bench(Vitals)
    bench.period("CQ CE3QRT FF46")
    for swr in (2.6, 2.6, 1.9):
        bench.gauge(sending=True, swr=swr)
    assert str(reading(bench, "match").sentence).startswith("The SWR is 1.9 while sending, and was above 2.0")
    bench.gauge(sending=True, swr=1.4)
    assert reading(bench, "match").text == "good, SWR 1.4"


def test_the_drive_says_on_which_side_of_the_operators_own_band_it_lies() -> None:
    """The middle of the scale is one practice, little or none another: neither is a fault of itself."""
    for band, alc, words in (
        ((0.0, 0.7), 0.0, "ALC 0% of its scale, in your band"),
        ((0.0, 0.7), 0.5, "ALC 50% of its scale, in your band"),
        ((0.0, 0.7), 0.9, "ALC 90%, above your band"),
        ((0.4, 0.6), 0.2, "ALC 20%, below your band"),
        ((0.4, 0.6), 0.5, "ALC 50% of its scale, in your band"),
    ):
        bench = Bench(Vitals, config={"vitals": {"alc_low_fraction": band[0], "alc_high_fraction": band[1]}})
        bench.period("CQ CE3QRT FF46")
        for _ in range(3):
            bench.gauge(sending=True, alc_fraction=alc)
        assert reading(bench, "drive").text == words


@pytest.mark.parametrize(
    ("key", "fields", "words"),
    [
        ("match", {"swr": 3.4}, "SWR 3.4, read once"),
        ("drive", {"alc_fraction": 0.9}, "ALC 90%, read once"),
        ("power", {"forward_w": 3.0, "power_set_w": 10.0}, "3.0 W of 10 W, read once"),
    ],
)
def test_what_is_read_once_is_neither_good_nor_poor(key: str, fields: dict[str, float], words: str) -> None:
    bench = Bench(Vitals)
    bench.gauge(sending=True, **fields)
    assert (check(bench, key).state, check(bench, key).evidence) == (CheckState.WAITING, words)
    assert not bench.hails
    bench.gauge(sending=True, **fields)
    assert check(bench, key).state is CheckState.POOR


def test_little_power_is_far_from_what_is_set() -> None:
    bench = Bench(Vitals)
    for _ in range(2):
        bench.gauge(sending=True, forward_w=3.0, power_set_w=10.0)
    assert check(bench, "power").state is CheckState.POOR
    bench.gauge(sending=True, forward_w=9.8, power_set_w=10.0)
    assert check(bench, "power").state is CheckState.GOOD


@pytest.mark.parametrize(
    ("receiving_v", "sending_v", "state"),
    [(13.2, 12.6, CheckState.GOOD), (12.5, 11.0, CheckState.POOR), (16.5, 16.2, CheckState.POOR)],
)
def test_the_supply_is_judged_under_load(receiving_v: float, sending_v: float, state: CheckState) -> None:
    bench = Bench(Vitals)
    assert check(bench, "supply").state is CheckState.WAITING
    bench.gauge(sending=False, supply_v=receiving_v)
    bench.gauge(sending=True, supply_v=sending_v)
    assert check(bench, "supply").state is state
    assert check(bench, "supply").evidence == f"{receiving_v} V receiving, {sending_v} V sending"


def test_whoever_sends_in_every_period_is_told_and_every_other_is_right() -> None:
    """12.64 of 15 s are 84 %, of 30 s 42 % (QEX July/August 2020)."""
    bench = Bench(Vitals)
    for number in range(120):
        if number >= 60 or number % 2:
            bench.send("CQ DL5QRM JO62")
        bench.close()
        if number == 59:
            assert reading(bench, "duty").text.startswith("sending 43%"), "it begins and ends with a transmission"
            assert not bench.hails
    assert [hail.key for hail in bench.hails] == ["vitals|duty"]
    assert "with a constant carrier all the while: radio and supply get hot" in bench.hails[0].sentence


def test_a_trial_leaves_the_urgency_of_the_match_to_the_next_message() -> None:
    bench = Bench(Vitals)
    carrier(bench, 2.6)
    bench.period("CQ CE3QRT FF46")
    assert reading(bench, "match").urgency is Urgency.WANTED
    bench.send("CQ DL5QRM JO62")
    for _ in range(2):
        bench.gauge(sending=True, swr=2.6, forward_w=10.0)
    assert [hail.key for hail in bench.hails] == ["vitals|match"]
