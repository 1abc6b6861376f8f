"""Reach: what report it expects on what evidence, how sure it is, and what it shows of who hears us."""

from __future__ import annotations

from collections.abc import Sequence
from math import exp, pi
from random import Random
from statistics import NormalDist, median
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.api import Own, Reception, Station, from_ms
from watchkeeper.radio import link, noise
from watchkeeper.testing import OWN, Bench
from watchkeeper.view import Gauges, Map, Notice
from watchkeeper_reach import Reach, ReachNote
from watchkeeper_reach.estimate import STRANGERS, USUAL_CHANCE, BandEstimate, Pair, chance_of
from watchkeeper_reach.levels import (
    FADING_DB,
    LATELY_MS,
    MOST_BELOW_DB,
    NEAR_MS,
    SMOOTH_MS,
    Around,
    BandLevels,
    Level,
    fading_var,
    median_db,
)

#: a station of which nobody else around is known
NOWHERE = Around(None, None)


def bench(**more: Any) -> Bench:
    return Bench(Reach, **more)


def note(on: Bench, text: str, **fields: Any) -> ReachNote:
    (hearing,) = on.hear(text, **fields)
    found = hearing.note(ReachNote)
    assert found is not None
    return found


def received(on: Bench, by: str, snr_db: float, *, ago_periods: int = 0, **more: Any) -> None:
    """A reception of us, as it comes from elsewhere: ``at`` says when it was heard."""
    at = from_ms(on.start_ms - ago_periods * 15_000)
    fields: dict[str, Any] = {"source": "web", "dial_hz": on.dial_hz, "mode": on.mode, "call": "DL5QRM", **more}
    on.feed(Reception(v=1, at=at, by_call=by, snr_db=snr_db, **fields))


def say_station(on: Bench, **fields: Any) -> None:
    on.feed(Station(v=1, source="bench", at=from_ms(on.start_ms), call="DL5QRM", **fields))


# -- the prior --------------------------------------------------------------------------------------------------------


def test_without_evidence_it_says_so_and_goes_by_power_and_noise() -> None:
    """Equal losses both ways: the difference is power, and noise by ITU-R P.372 as `radio.noise` has it."""
    on = bench(config={"reach": {"surroundings": "city", "their_surroundings": "rural", "their_power_w": 100.0}})
    found = note(on, "CQ CE3QRT FF46", snr_db=-10)
    wanted_db = -10 + link.ratio_to_db(10 / 100) + noise.difference_db("city", "rural", 14_074_000)
    assert found.expected_db == pytest.approx(wanted_db)
    assert found.evidence == "no evidence yet: from power and usual noise alone"
    assert (found.age_ms, found.own) == (None, False)
    assert found.spread_db > 6


def test_untimed_modes_get_no_note() -> None:
    on = bench()
    (hearing,) = on.hear("CQ CE3QRT FF46", mode="CW")
    assert hearing.note(ReachNote) is None


# -- evidence ---------------------------------------------------------------------------------------------------------


def test_a_station_that_reported_us_is_expected_to_do_it_again_as_the_path_goes() -> None:
    on = bench()
    on.period("CQ CE3QRT FF46", snr_db=-10)
    received(on, "CE3QRT", -20, ago_periods=1)
    on.skip(8)
    found = note(on, "CQ CE3QRT FF46", snr_db=-5)
    assert found.expected_db == pytest.approx(-15, abs=1.5), "the path is 5 dB better than then"
    assert FADING_DB < found.spread_db < 5
    assert found.own
    assert found.evidence == "reported you 2 min ago"


def test_reports_in_messages_to_us_are_enough() -> None:
    on = bench()
    for number in range(12):
        on.period(f"DL5QRM CE{number % 10}QR{'AB'[number // 10]} -12", snr_db=2)
        on.skip()
    found = note(on, "CQ CE3QRW FF46", snr_db=2)
    assert not found.own
    assert found.evidence.startswith("from 12 reports of others, last ")
    assert found.expected_db == pytest.approx(-12, abs=4)


def test_a_change_of_our_power_shifts_every_report_at_once() -> None:
    on = bench()
    say_station(on, power_w=10.0)
    on.period("CQ CE3QRT FF46", snr_db=-10)
    received(on, "CE3QRT", -18, ago_periods=1)
    before = note(on, "CQ CE3QRT FF46", snr_db=-10)
    on.skip()
    say_station(on, power_w=100.0)
    after = note(on, "CQ CE3QRT FF46", snr_db=-10)
    assert after.expected_db - before.expected_db == pytest.approx(10.0, abs=0.1)
    assert after.chance > before.chance


def test_a_reception_from_before_a_change_of_power_counts_at_the_power_of_then() -> None:
    on = bench()
    say_station(on, power_w=100.0)
    on.period("CQ CE3QRT FF46", snr_db=-10)
    say_station(on, power_w=10.0)
    received(on, "CE3QRT", -10, ago_periods=1)
    assert note(on, "CQ CE3QRT FF46", snr_db=-10).expected_db == pytest.approx(-20, abs=1)


def test_a_late_reception_is_paired_with_what_was_heard_then() -> None:
    on = bench()
    on.period("CQ CE3QRT FF46", snr_db=-18)
    on.skip(26)
    on.period("CQ CE3QRT FF46", snr_db=0)
    received(on, "CE3QRT", -20, ago_periods=28)
    assert note(on, "CQ CE3QRT FF46", snr_db=0).expected_db == pytest.approx(-2, abs=1.5)


def test_receptions_of_others_and_by_ourselves_do_not_count() -> None:
    on = bench()
    on.period("CQ CE3QRT FF46", snr_db=-10)
    received(on, "CE3QRT", 10, call="W1QSB")
    received(on, "DL5QRM", 10)
    assert note(on, "CQ CE3QRT FF46", snr_db=-10).age_ms is None


def test_a_reception_that_comes_twice_counts_once() -> None:
    on = bench()
    on.period("CQ CE3QRT FF46", snr_db=-10)
    for _ in range(5):
        received(on, "CE3QRT", -20, ago_periods=1)
    assert note(on, "CQ CE3QRT FF46", snr_db=-10).evidence == "reported you just now"


# -- the estimate against worlds that we make --------------------------------------------------------------------------


def world(seed: int, excess_db: float, spread_db: float, stations: int) -> list[tuple[float, float]]:
    """(what we hear, what they would report of 1 W), as a normal world makes them: decoded or not."""
    random = Random(seed)
    heard = [random.uniform(-20, 10) for _ in range(stations)]
    return [(level_db, level_db + random.gauss(excess_db, spread_db)) for level_db in heard]


def pair(at: int, report_db: float, heard_db: float, limit_db: float, source: str = "a") -> Pair:
    return Pair(
        at_ms=at * 15_000, call=f"W{at}QRA", report_db=report_db, limit_db=limit_db, heard_db=heard_db,
        around=NOWHERE, gap_ms=0, source=source, at_floor=False,
    )  # fmt: skip


def estimate_of(seed: int, excess_db: float, limit_db: float = -31.0, prior_db: float = -15.0) -> BandEstimate:
    found = BandEstimate(prior_db)
    for at, (heard_db, report_db) in enumerate(world(seed, excess_db, 8.0, 300)):
        if report_db >= limit_db:
            found.enter(pair(at, report_db, heard_db, limit_db))
    return found


@pytest.mark.parametrize("excess_db", [-24.0, -15.0, -8.0])
def test_reports_that_exist_only_where_somebody_decoded_us_do_not_flatter(excess_db: float) -> None:
    """What is cut off by the decoding limit is taken into account: the plain median of the reports is far too high."""
    off, flattering = [], []
    for seed in range(12):
        expected = estimate_of(seed, excess_db).expect("ZZ9QRA", -10.0, NOWHERE, 300 * 15_000, "a")
        off.append(expected.mean_db - (excess_db - 10.0))
        seen = [report - heard for heard, report in world(seed, excess_db, 8.0, 300) if report >= -31.0]
        flattering.append(median(seen) - excess_db)
    assert abs(median(off)) < 1.5
    if excess_db <= -24.0:
        assert median(flattering) > 2.5


def test_the_chance_is_calibrated_in_such_a_world() -> None:
    """In each tenth of predicted chance the observed share lies within 7 points; and it beats a constant guess."""
    told: list[tuple[float, bool]] = []
    for seed in range(8):
        estimate = estimate_of(seed, -18.0)
        for heard_db, report_db in world(1000 + seed, -18.0, 8.0, 400):
            expected = estimate.expect("ZZ9QRA", heard_db, NOWHERE, 300 * 15_000, "a")
            told.append((chance_of(expected.mean_db, expected.spread_db, -31.0), report_db >= -31.0))
    for tenth in range(10):
        here = [(chance, decoded) for chance, decoded in told if int(min(9.0, chance * 10)) == tenth]
        if len(here) >= 150:
            share = sum(decoded for _, decoded in here) / len(here)
            assert abs(share - sum(chance for chance, _ in here) / len(here)) < 0.07
    mean = sum(decoded for _, decoded in told) / len(told)
    brier = sum((chance - decoded) ** 2 for chance, decoded in told) / len(told)
    assert brier < 0.75 * mean * (1 - mean)


def tenths(told: Sequence[tuple[float, float]]) -> list[float]:
    """By how much the stated chance lies above the real one in each tenth of stated chance that is not nearly empty."""
    gaps = []
    for tenth in range(10):
        here = [(chance, real) for chance, real in told if int(min(9.0, chance * 10)) == tenth]
        if len(here) >= 50:
            gaps.append(sum(chance - real for chance, real in here) / len(here))
    return gaps


def over_fading(median_db: float, limit_db: float) -> float:
    """The chance of one call, whatever the fading of its moment: that of the model, and the curve of `radio.link`."""
    steps = [NormalDist(median_db, FADING_DB).inv_cdf((at + 0.5) / 40) for at in range(40)]
    return sum(link.decode_probability(level_db - limit_db - 21, "FT8") for level_db in steps) / len(steps)


def test_the_chance_is_calibrated_by_few_reports_of_others() -> None:
    """Worlds whose usual excess is anywhere that the prior allows, after none to two reports."""
    told: list[tuple[float, float]] = []
    for seed in range(600):
        random = Random(seed)
        excess_db, estimate = random.gauss(-15.0, 6.0), BandEstimate(-15.0)
        for at in range(seed % 3):
            heard_db, report_db = random.uniform(-10, 10), random.gauss(excess_db, 7.0)
            estimate.enter(pair(at, heard_db + report_db, heard_db, -60.0))
        for _ in range(20):
            heard_db = random.uniform(-35, 10)
            expected = estimate.expect("ZZ9QRA", heard_db, NOWHERE, 300_000, "a")
            real = over_fading(heard_db + random.gauss(excess_db, 7.0), -31.0)
            told.append((chance_of(expected.mean_db, expected.spread_db, -31.0), real))
    gaps = tenths(told)
    assert len(gaps) == 10
    assert max(map(abs, gaps)) < 0.05


def test_the_chance_is_calibrated_of_those_that_reported_us() -> None:
    """Each reported us one to three times and is heard since: hearing and report fade alike, later calls anew.

    One in twenty-five turned its beam since, or something else came between that nobody can know of.
    """
    strangers = Random(0)
    told: list[tuple[float, float]] = []
    for seed in range(25):
        random, estimate, stations = Random(seed), estimate_of(seed, -15.0), {}
        for number in range(120):
            level_db, excess_db = random.uniform(-35, 0), random.gauss(-15, 7)
            stations[f"K1Q{number}"] = level_db, excess_db
            for at in range(1 + number % 3):
                fade_db = random.gauss(0, FADING_DB)
                report_db = level_db + excess_db + fade_db + random.gauss(0, 1)
                heard_db = level_db + fade_db + random.gauss(0, 1)
                estimate.enter(pair(300 + 20 * at, report_db, heard_db, -60.0)._replace(call=f"K1Q{number}"))
        for call, (level_db, excess_db) in stations.items():
            # what was heard in the last minutes: their fading on the average
            heard_db = level_db + random.gauss(0, 0.65 * FADING_DB)
            expected = estimate.expect(call, heard_db, NOWHERE, 360 * 15_000, "a")
            real = 0.85 if strangers.random() < 0.04 else over_fading(level_db + excess_db, -31.0)
            told.append((chance_of(expected.mean_db, expected.spread_db, -31.0), real))
    gaps = tenths(told)
    assert len(gaps) == 10
    assert max(map(abs, gaps)) < 0.07


def test_one_wild_report_moves_nothing() -> None:
    calm = estimate_of(1, -15.0)
    before = calm.expect("ZZ9QRA", -10.0, NOWHERE, 300 * 15_000, "a")
    calm.enter(pair(301, 60.0, -20.0, -31.0))
    after = calm.expect("ZZ9QRA", -10.0, NOWHERE, 301 * 15_000, "a")
    assert abs(after.mean_db - before.mean_db) < 0.5


def test_a_source_that_shows_other_figures_is_calibrated() -> None:
    """The second source displays everything 6 dB lower: what it hears at −16 dB is what the first hears at −10 dB."""
    found = BandEstimate(-15.0)
    for at, (heard_db, report_db) in enumerate(world(3, -12.0, 4.0, 200)):
        second = at % 2 == 1
        found.enter(pair(at, report_db, heard_db - 6.0 * second, -60.0, "b" if second else "a"))
    first = found.expect("ZZ9QRA", -10.0, NOWHERE, 200 * 15_000, "a")
    second_one = found.expect("ZZ9QRA", -16.0, NOWHERE, 200 * 15_000, "b")
    assert first.mean_db == pytest.approx(second_one.mean_db, abs=1.5)


def test_a_report_at_the_displayed_floor_ranks_and_no_more() -> None:
    one, other = BandEstimate(-15.0), BandEstimate(-15.0)
    for at in range(20):
        for found in (one, other):
            found.enter(pair(at, -20.0, -5.0, -31.0))
    one.enter(pair(30, -34.0, -5.0, -31.0)._replace(at_floor=True))
    other.enter(pair(30, -33.0, -5.0, -31.0)._replace(at_floor=True))
    asked = ("ZZ9QRA", -5.0, NOWHERE, 600_000, "a")
    assert one.expect(*asked).mean_db == other.expect(*asked).mean_db


@given(st.floats(-60, 40), st.floats(1, 15), st.floats(-40, 0))
def test_chances_are_chances_and_rise_with_the_report(expected_db: float, spread_db: float, limit_db: float) -> None:
    low, high = (chance_of(expected_db + more, spread_db, limit_db) for more in (0, 3))
    assert 0 <= low <= high <= 1


def test_the_chance_is_that_of_a_normal_distribution_but_for_a_few_stations() -> None:
    for more_db in (0, 5):
        by_levels = NormalDist().cdf(more_db / (25 + pi**2 / 3) ** 0.5)
        few = STRANGERS * USUAL_CHANCE
        assert chance_of(-21 + more_db, 5, -21) == pytest.approx((1 - STRANGERS) * by_levels + few)
    assert 0 < chance_of(-60, 5, -21) < 0.05
    assert chance_of(20, 5, -21) > 0.99


def test_the_fewer_reports_the_less_is_said_for_sure() -> None:
    """How well the band's median is known stands in the spread: by much before the first report, hardly in the end."""
    found, spreads = BandEstimate(-15.0), []
    for at in range(101):
        if at in (0, 4, 20, 100):
            spreads.append(found.expect("ZZ9QRA", -10.0, NOWHERE, at * 15_000, "a").spread_db)
        found.enter(pair(at, -25.0 + NormalDist(0, 7).inv_cdf((at * 37 % 101 + 0.5) / 101), -10.0, -60.0))
    assert spreads == sorted(spreads, reverse=True)
    assert spreads[0] > spreads[-1] + 1.2


def test_who_reported_us_often_is_known_but_for_the_fading_of_a_call() -> None:
    """However often: a call of ours meets the fading of its own moment, of which our hearing of minutes says little."""
    found = BandEstimate(-15.0)
    for at in range(30):
        found.enter(pair(at, -25.0, -10.0, -60.0)._replace(call="W1QSB"))
    spread_db = found.expect("W1QSB", -10.0, NOWHERE, 30 * 15_000, "a").spread_db
    assert FADING_DB < spread_db < FADING_DB + 1


@given(st.floats(-60, 30), st.floats(-40, 0))
def test_what_is_heard_at_the_limit_lies_below_it_on_the_average(heard_db: float, limit_db: float) -> None:
    found = median_db(heard_db, limit_db)
    assert heard_db - MOST_BELOW_DB <= found <= heard_db
    if heard_db <= limit_db + 1:
        assert found < heard_db - 1


def test_a_hearing_under_a_neighbour_does_not_undo_its_own_reports() -> None:
    """Heard 15 dB weaker all at once, it is expected to report us somewhat lower; heard stronger, as much higher."""
    expected = {}
    for snr_db in (-20, -5, 5):
        on = bench()
        for _ in range(4):
            on.period("CQ CE3QRT FF46", snr_db=-5)
            received(on, "CE3QRT", -12, ago_periods=1)
        on.skip(30)
        expected[snr_db] = note(on, "CQ CE3QRT FF46", snr_db=snr_db).expected_db
    assert expected[-5] == pytest.approx(-12, abs=1)
    assert expected[-5] - expected[-20] < 13
    assert expected[5] - expected[-5] > 6


def test_fading_makes_old_levels_worth_less_and_never_more_than_all() -> None:
    assert fading_var(0) == 0
    assert fading_var(15_000) < fading_var(60_000) < fading_var(NEAR_MS)


# -- views ------------------------------------------------------------------------------------------------------------


def view(on: Bench, name: str) -> Any:
    return next(each for each in on.views() if each.name == name)


def test_it_shows_who_hears_us_where_and_how_that_compares() -> None:
    on = bench(own=OWN)
    on.period("CQ CE3QRT FF46", "CQ W1QSB FN42", snr_db=-3)
    received(on, "CE3QRT", -12, ago_periods=1, by_locator="FF46")
    received(on, "W1QSB", -15, ago_periods=1, by_locator="FN42")
    received(on, "VK2QRU", -20, ago_periods=1, by_locator="QF56")
    on.close()
    rows = {row.key: row for row in on.table("reach.stations").rows}
    assert list(rows) == ["CE3QRT|20m", "W1QSB|20m", "VK2QRU|20m"], "the strongest first"
    assert rows["CE3QRT|20m"].sentence == (
        "CE3QRT in Chile hears you at −12 dB on 20 m; you hear them 9 dB better than they hear you"
    )
    summary = view(on, "reach.summary")
    assert isinstance(summary, Gauges)
    words = {each.key: each.text for each in summary.readings}
    assert words["stations"] == "3 stations"
    assert "VK2QRU in Australia at −20 dB" in words["farthest"]
    directions = on.table("reach.directions")
    assert {row.data["direction"] for row in directions.rows} == {"SW", "NW", "E"}
    dots = view(on, "reach.map")
    assert isinstance(dots, Map)
    assert {dot.label for dot in dots.dots} == {"CE3QRT", "W1QSB", "VK2QRU"}


def test_old_reports_are_shown_no_more() -> None:
    on = bench()
    received(on, "CE3QRT", -12)
    on.skip(4 * 61)
    on.period("CQ W1QSB FN42")
    assert on.table("reach.stations").rows == ()


def test_it_says_what_it_could_show_with_more() -> None:
    on = bench()
    on.period("CQ W1QSB FN42")
    assert "reception" in (view(on, "reach.summary").missing or "")


def test_a_marked_change_is_judged_by_the_same_stations_before_and_after() -> None:
    on = bench()
    say_station(on, power_w=10.0, antenna="wire")
    calls = [f"W{number}QSB" for number in range(9)]
    for number, call in enumerate(calls):
        received(on, call, -15 - number % 3)
    on.skip(4)
    say_station(on, power_w=50.0, antenna="wire")
    change = next(each for each in on.views() if isinstance(each, Notice))
    assert change.text.endswith(
        "power from 10 W to 50 W: too early to say: no station has reported you both before and after"
    )
    on.skip(4)
    for number, call in enumerate(calls):
        received(on, call, -15 - number % 3 + 5 + number)
    on.close()
    change = next(each for each in on.views() if isinstance(each, Notice))
    # sign test at nine steps, 5 to 13 dB: the second smallest and second largest hold the median in 96 % of cases
    assert "+9 dB (+6 dB to +12 dB) by 9 stations that reported you before and after" in change.text


def test_power_and_antenna_changed_at_once_have_one_effect_and_every_change_its_own_view() -> None:
    on = bench()
    say_station(on, power_w=10.0, antenna="wire")
    on.skip(4)
    say_station(on, power_w=50.0, antenna="beam")
    on.skip(4)
    say_station(on, power_w=50.0, antenna="wire")
    on.close()
    changes = [each for each in on.views() if isinstance(each, Notice)]
    assert sorted(each.text[6:].partition(":")[0] for each in changes) == [
        "antenna from beam to wire",
        "power from 10 W to 50 W and antenna from wire to beam",
    ]
    assert len({each.name for each in on.views()}) == len(on.views())


def test_who_reports_us_is_shown_by_direction_and_hour() -> None:
    on = bench(own=OWN)
    for quarter, calls in enumerate((("CE3QRT",), ("CE3QRT", "W1QSB", "W2QSB"), ("VK2QRU",))):
        for call in calls:
            received(on, call, -12)
        if quarter < 2:
            on.skip(60)
    on.close()
    hours = view(on, "reach.hours")
    assert (hours.title, hours.unit) == ("Stations that report you, by quarter hour", "")
    lines = {line.label: [value for _, value in line.points] for line in hours.lines}
    assert lines == {"all round": [1, 3, 1], "E": [0, 0, 1], "SW": [1, 1, 0], "NW": [0, 2, 0]}


def test_own_station_unknown_is_no_error() -> None:
    on = bench(own=Own())
    on.period("CQ CE3QRT FF46")
    received(on, "CE3QRT", -12, call=None)
    on.close()
    assert on.status("reach").errors == 0
    assert on.table("reach.stations").rows[0].data["distance_km"] is None


@given(
    st.lists(
        st.tuples(st.integers(0, LATELY_MS // 15_000), st.integers(-24, 10), st.booleans()), min_size=1, max_size=20
    )
)
def test_the_level_of_late_is_the_mean_by_age_however_late_some_came(heard: list[tuple[int, int, bool]]) -> None:
    """A cross-check, no source: the definition added up anew; of one period only what came last counts."""
    by_period = {period: (snr_db, at_floor) for period, snr_db, at_floor in heard}
    levels = BandLevels()
    for period, (snr_db, at_floor) in by_period.items():
        levels.heard("W1QSB", None, Level(15_000 * period, float(snr_db), "one", at_floor))
    newest = max(by_period)
    weights = {period: exp(-15_000 * (newest - period) / SMOOTH_MS) for period in by_period}
    total_db = sum(weights[period] * (-30.0 if at_floor else db) for period, (db, at_floor) in by_period.items())
    lately_db = levels.lately("W1QSB", 15_000 * newest, -30.0)
    assert lately_db == pytest.approx(total_db / sum(weights.values()))
    assert levels.lately("W1QSB", 15_000 * newest + LATELY_MS + 1, -30.0) is None
