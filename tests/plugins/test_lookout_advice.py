"""Lookout's further promises: rules that combine, one matter once, where to send, goals, escalation, a young log."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.api import Period, Tuning, Urgency, from_ms
from watchkeeper.schema.events import Activation
from watchkeeper.testing import START_MS, Bench, worked_index
from watchkeeper.view import Gauges
from watchkeeper.watch.hails import HailRules
from watchkeeper_lookout import Lookout
from watchkeeper_lookout.offset import CLEAR_COST, CUSTOMARY_HZ, Spectrum
from watchkeeper_lookout.readiness import answer_share, copy_share
from watchkeeper_reach import Reach
from watchkeeper_worked import Worked

LENGTH_MS = 15_000


def bench(*rules: dict[str, Any], **more: Any) -> Bench:
    config = more.pop("config", {})
    if rules:
        config = {**config, "rule": [{"name": f"rule {number}", **rule} for number, rule in enumerate(rules)]}
    return Bench(Worked, Reach, Lookout, config={"lookout": config}, **more)


def calls(on: Bench) -> list[str | None]:
    return [hail.call for hail in on.hails]


def ranked(on: Bench) -> list[str]:
    return [row.key for row in on.table("lookout.ranked").rows]


# -- rules ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rule", "hailed"),
    [
        ({"all": [{"continents": ["SA"]}, {"min_snr_db": -12}]}, ["CE3QRT"]),
        ({"all": [{"continents": ["SA"]}, {"min_snr_db": 0}]}, []),
        ({"any": [{"entities": ["Chile"]}, {"calls": ["JA*"]}]}, ["CE3QRT", "JA1QRV"]),
        ({"calls": ["*"], "not": [{"continents": ["AS"]}, {"entities": ["Chile"]}]}, ["W1QSB"]),
        ({"any": [{"continents": ["AS"]}, {"continents": ["NA"]}], "not": [{"min_snr_db": 0}]}, ["JA1QRV"]),
        ({"calls": ["*"], "max_snr_db": -5}, ["CE3QRT", "JA1QRV"]),
        ({"calls": ["*"], "times": ["17:00-19:00"]}, ["CE3QRT", "JA1QRV", "W1QSB"]),
        ({"calls": ["*"], "times": ["19:00-17:00"]}, []),
        ({"min_chance": 0.97}, ["W1QSB"]),
        ({"not": [{"continents": ["AS"]}, {"entities": ["Chile"]}]}, ["W1QSB"]),
    ],
)
def test_criteria_combine(rule: dict[str, Any], hailed: list[str]) -> None:
    on = bench(rule)
    on.hear("CQ CE3QRT FF46", "CQ JA1QRV PM95")
    on.hear("CQ W1QSB FN42", snr_db=9)
    on.close()
    assert sorted(map(str, calls(on))) == hailed


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ({"not": [{"bands": ["20m"]}]}, "it must say whom it waits for"),
        ({"any": [{"entities": ["Chili"]}]}, "any[0].entities: no entity 'Chili' (did you mean 'Chile'?)"),
        ({"calls": ["*"], "times": ["25:00-26:00"]}, "no span of UTC hours"),
        ({"min_snr_db": 3, "max_snr_db": -3}, "is above max_snr_db"),
    ],
)
def test_combinations_that_cannot_be_meant_are_told(rule: dict[str, Any], words: str) -> None:
    assert words in (bench(rule).status("lookout").reason or "")


def test_a_rule_may_wait_until_the_station_is_free() -> None:
    on = bench({"entities": ["Chile"], "free": True})
    on.period("CE3QRT W1QSB FN42")
    on.period("W1QSB CE3QRT -10")
    on.period("CE3QRT W1QSB R-09")
    assert on.hails == []
    assert "rule 'rule 0' does not match: it takes no call now" in on.host.explain("CE3QRT")
    on.period("W1QSB CE3QRT RR73")
    assert calls(on) == ["CE3QRT"]


# -- one matter -------------------------------------------------------------------------------------------------------


def test_several_stations_that_would_bring_the_same_are_one_matter() -> None:
    on = bench({"need": ["entity"], "scopes": ["ever"]})
    on.hear("CQ I2QRM JN45", snr_db=-20)
    on.hear("CQ I1QRM JN44", "CQ I3QRM JN55", snr_db=-2)
    on.close()
    on.skip()
    on.period("CQ I4QRM JN54")
    (hail,) = on.hails
    assert hail.sentence.startswith("first Italy for you: I1QRM, calling CQ, good, −2 dB; also I3QRM, I2QRM")
    assert hail.key == "lookout|rule 0|entity|248|any band"


def test_a_caller_hails_once_and_no_more_when_its_contact_is_complete() -> None:
    on = bench({"calls_me": True, "worked_too": True, "hold_off_min": 0.2})
    on.skip()
    on.period("DL5QRM CE3QRT FF46")
    assert calls(on) == ["CE3QRT"]
    on.send("CE3QRT DL5QRM -10")
    on.skip()
    on.period("DL5QRM CE3QRT R-12")
    on.send("CE3QRT DL5QRM RR73")
    on.skip()
    on.log("CE3QRT", report_sent="-10", report_received="-12")
    on.period("DL5QRM CE3QRT R-12")
    on.period("DL5QRM CE3QRT 73")
    assert calls(on) == ["CE3QRT"]
    assert ranked(on) == []


def test_while_the_log_is_young_only_what_is_seldom_heard_hails() -> None:
    on = Bench(Worked, Reach, Lookout)
    for number in range(30):
        on.hear(*(f"CQ {prefix}{number % 10}QR{'ABC'[number // 10]}" for prefix in ("I", "G", "F", "EA")))
    on.hear("CQ CE3QRT FF46")
    on.close()
    assert calls(on) == ["CE3QRT"]


def test_what_is_ignored_is_raised_once_a_level_up() -> None:
    on = bench({"calls": ["CE*"], "urgency": "wanted", "escalate_min": 1})
    for _ in range(10):
        on.period("CQ CE3QRT FF46")
        on.skip()
    assert [hail.urgency for hail in on.hails] == [Urgency.WANTED, Urgency.URGENT]
    assert on.hails[1].sentence.startswith("still there: ")


def test_it_says_why_a_match_brought_no_hail() -> None:
    on = bench({"need": ["entity"], "scopes": ["ever"]}, {"continents": ["SA"], "urgency": "note"})
    on.period("CQ CE3QRT FF46")
    on.skip()
    on.period("CQ CE4QRA FF30")
    assert calls(on) == ["CE3QRT"]
    told = on.host.explain("CE4QRA")
    held = "it went out at 18:00:15, held off until 18:30:15"
    assert f"rule 'rule 0' matches: first Chile for you; no further hail: {held}" in told
    assert "rule 'rule 1' matches: rule 1; rule 'rule 0' speaks for it" in told


def _calls_for(periods: int, on: Bench) -> None:
    for _ in range(periods):
        on.period("CQ CE3QRT FF46")
        on.skip()


def test_what_never_went_out_was_not_ignored() -> None:
    on = bench({"calls": ["CE*"], "escalate_min": 1})
    on.watch.hails.obey(HailRules(quiet=((18 * 60, 19 * 60),)))
    _calls_for(10, on)
    assert on.hails == []


def test_what_the_operator_has_seen_to_is_not_raised() -> None:
    on = bench({"calls": ["CE*"], "escalate_min": 1})
    _calls_for(1, on)
    on.watch.hails.done(on.hails[0].key, on.watch.now_ms)
    _calls_for(10, on)
    assert len(on.hails) == 1


def test_each_hail_that_goes_out_is_raised_after_the_same_time() -> None:
    on = bench({"calls": ["CE*"], "escalate_min": 5, "hold_off_min": 30})
    _calls_for(80, on)
    assert [(hail.at_ms - on.hails[0].at_ms) / 60_000 for hail in on.hails] == [0, 5, 30, 35]


def test_who_is_waited_for_by_name_is_rarer_than_what_many_bring() -> None:
    on = bench({"calls": ["CE3QRT"]}, {"need": ["base"]})
    on.watch.hails.obey(HailRules(per_hour=4))
    on.hear(*(f"CQ W{number}QSB FN42" for number in range(1, 10)), "CQ CE3QRT FF46")
    on.judge()
    assert len(on.hails) == 4
    assert "CE3QRT" in calls(on)


def test_what_was_acted_upon_is_not_raised() -> None:
    on = bench({"calls": ["CE*"], "urgency": "wanted", "escalate_min": 1})
    for number in range(10):
        on.period("CQ CE3QRT FF46")
        if number == 1:
            on.send("CE3QRT DL5QRM JO62")
        on.skip()
    assert len(on.hails) == 1


# -- advice -----------------------------------------------------------------------------------------------------------


def test_every_factor_is_told_in_words() -> None:
    on = bench(worked=worked_index(("CE1QRM", "40m", "FT8")))
    on.period("CQ CE3QRT FF46", snr_db=-8)
    row = on.table("lookout.ranked").rows[0]
    assert row.sentence is not None
    who, first, since, expect, when = row.sentence.replace("CE3QRT: ", "CE3QRT · ").split(" · ")
    assert (who, first, since) == ("CE3QRT", "first Chile for you on 20 m", "calling CQ since 18:00:00")
    assert expect.startswith("expect −")
    assert expect.endswith(" %")
    assert when == "now"
    wanted = {"call", "band", "mode", "offset_hz", "parity", "ready", "need", "chance", "expected_db", "send_offset_hz"}
    assert row.data.keys() >= wanted


def test_a_station_just_freed_beats_one_that_is_busy() -> None:
    on = bench()
    on.period("CQ CE3QRT FF46", "CQ VK2QRU QF56")
    on.skip()
    on.period("W1QSB CE3QRT -10", "JA1QRV VK2QRU RR73")
    assert ranked(on)[0] == "VK2QRU"
    rows = {row.key: row for row in on.table("lookout.ranked").rows}
    assert (rows["VK2QRU"].data["ready"], rows["CE3QRT"].data["ready"]) == (True, False)


def test_calls_in_vain_make_way_for_others() -> None:
    on = bench()
    on.period("CQ CE3QRT FF46", snr_db=-5)
    assert ranked(on) == ["CE3QRT"]
    for _ in range(3):
        on.send("CE3QRT DL5QRM JO62")
        on.skip()
        on.hear("CQ CE3QRT FF46", snr_db=-5)
        on.hear("CQ VK2QRU QF56", snr_db=-5)
        on.close()
    assert ranked(on)[0] == "VK2QRU"
    assert "called 3× in vain" in {row.key: row.sentence or "" for row in on.table("lookout.ranked").rows}["CE3QRT"]


def test_what_the_log_has_met_meanwhile_is_new_no_more() -> None:
    on = bench()
    on.period("CQ CE3QRT FF46", "CQ CE4QRU FF46")
    on.log("CE3QRT")
    (row,) = on.table("lookout.ranked").rows
    assert (row.key, row.data["need"]) == ("CE4QRU", "base: first ever")


@given(st.floats(0, 1), st.integers(0, 6))
def test_more_calls_in_vain_never_raise_the_hope(chance: float, tries: int) -> None:
    assert copy_share(chance, 0) == pytest.approx(chance)
    assert 0 <= copy_share(chance, tries + 1) <= copy_share(chance, tries) <= 1


def test_of_those_who_never_answer_a_call_in_vain_leaves_what_bayes_says() -> None:
    """One that copies us and is free answers every second call: of 60 % after one in vain 0.3 of 0.7 are left."""
    assert copy_share(0.6, 1) == pytest.approx(0.3 / 0.7)


@given(st.floats(0, 1), st.floats(-40, 20))
def test_no_more_answer_than_copy(chance: float, expected_db: float) -> None:
    on = bench()
    on.period("CQ CE3QRT FF46")
    station = on.watch.station("CE3QRT")
    assert station is not None
    assert 0 <= answer_share(chance, expected_db, station, START_MS) <= chance


def test_the_chance_that_is_shown_counts_calls_in_vain() -> None:
    on = bench()
    on.period("CQ CE3QRT FF46")
    station = on.watch.station("CE3QRT")
    assert station is not None
    chances: list[float] = []
    for tries in range(3):
        station.tries = tries
        on.skip(2)
        on.period("CQ W1QSB FN42")
        rows = {row.key: row for row in on.table("lookout.ranked").rows}
        chance = rows["CE3QRT"].data["chance"]
        assert isinstance(chance, float)
        chances.append(chance)
    assert chances[2] < chances[1] < chances[0]


# -- goals ------------------------------------------------------------------------------------------------------------


def test_whoever_counts_for_an_activation_is_worth_a_call_though_worked_before() -> None:
    on = bench(worked=worked_index(("CE3QRT", "20m", "FT8")))
    on.station(activations=(Activation(programme="PARKS", reference="PARK-0042"),))
    on.period("CQ CE3QRT FF46")
    assert ranked(on) == ["CE3QRT"], "worked on another day, it counts today"
    assert "counts for PARK-0042" in on.table("lookout.ranked").rows[0].cells
    on.log("CE3QRT")
    on.skip()
    on.period("CQ CE3QRT FF46")
    assert ranked(on) == [], "worked today"


def test_an_award_that_is_chased_counts_double() -> None:
    log = worked_index(("CE1QRM", "20m", "FT8"), ("JA1QRM", "20m", "FT8"), ("OE1QRM", "20m", "FT8"))
    texts = ("CQ OE3QRT JN88", "CQ VK2QRU QF56")
    plain, chasing = (bench(config=config, worked=log) for config in ({}, {"goals": {"chase": ["base"]}}))
    scores = []
    for on in (plain, chasing):
        on.period(*texts)
        scores.append({row.key: row.data["score"] for row in on.table("lookout.ranked").rows})
    assert float(scores[1]["OE3QRT"] or 0) == pytest.approx(2 * float(scores[0]["OE3QRT"] or 1), abs=0.001)


# -- where to send ----------------------------------------------------------------------------------------------------


def heard_period(start: int, *offsets: float, snr_db: float = -10.0, sent: bool = False) -> Period:
    """A closed period with signals at these offsets."""
    on = Bench(Worked)
    for number, offset_hz in enumerate(offsets):
        on.hear(f"CQ W{number % 10}QR{chr(65 + number // 10)} FN42", offset_hz=offset_hz, snr_db=snr_db)
    period = on.watch.period
    if period is None:
        on.hear("CQ W1QSB FN42")
        period = on.watch.period
        assert period is not None
        period.hearings.clear()
    period.start_ms, period.parity, period.sent = START_MS + start * LENGTH_MS, start % 2, sent
    return period


def advise(spectrum: Spectrum, parity: int, now: int, used_hz: float | None = None) -> Any:
    return spectrum.advise("20m", "FT8", parity, START_MS + now * LENGTH_MS, LENGTH_MS, used_hz)


def test_the_customary_offset_is_kept_while_it_is_clear() -> None:
    spectrum = Spectrum()
    spectrum.closed(heard_period(0, 700.0, 1200.0, 2000.0))
    assert advise(spectrum, 0, 1).offset_hz == CUSTOMARY_HZ


def test_where_to_send_lies_inside_the_filter_and_outside_it_nothing_is_known() -> None:
    spectrum = Spectrum()
    spectrum.tuned(
        Tuning(
            v=1, source="bench", at=from_ms(START_MS), dial_hz=14_074_000, mode="FT8", filter_low_hz=200,
            filter_high_hz=1000,
        )
    )  # fmt: skip
    assert 200 <= advise(spectrum, 0, 1).offset_hz <= 950
    spectrum.closed(heard_period(0, 700.0, 1490.0))
    found = advise(spectrum, 0, 1, used_hz=1500.0)
    assert 200 <= found.offset_hz <= 950
    assert not found.taken
    assert advise(spectrum, 0, 1, used_hz=720.0).taken


def test_when_it_is_taken_the_widest_gap_is_advised_and_kept() -> None:
    spectrum = Spectrum()
    busy = [float(offset) for offset in range(300, 2300, 60)]
    spectrum.closed(heard_period(0, *busy))
    found = advise(spectrum, 0, 1)
    assert found.offset_hz > 2330
    assert found.is_clear
    spectrum.closed(heard_period(2, *busy))
    assert advise(spectrum, 0, 3).offset_hz == found.offset_hz


def test_a_clear_moment_at_the_customary_offset_does_not_make_the_other_one_move() -> None:
    spectrum = Spectrum()
    spectrum.closed(heard_period(0, 1500.0, 1900.0, 2300.0))
    apart_hz = advise(spectrum, 0, 1).offset_hz
    assert apart_hz != CUSTOMARY_HZ
    for start in range(2, 14, 2):
        spectrum.closed(heard_period(start, 1900.0, 2300.0))
    assert advise(spectrum, 0, 13).offset_hz == CUSTOMARY_HZ
    spectrum.closed(heard_period(14, 1500.0, 700.0))
    assert advise(spectrum, 0, 15).offset_hz == apart_hz


@given(st.lists(st.floats(250, 2650), max_size=25), st.floats(-24, 20))
def test_a_clear_offset_overlaps_nobody_that_was_heard(offsets: list[float], snr_db: float) -> None:
    spectrum = Spectrum()
    spectrum.closed(heard_period(0, *offsets, snr_db=snr_db))
    found = advise(spectrum, 0, 1)
    if found.is_clear:
        assert all(abs(found.offset_hz - offset) >= 50 for offset in offsets)
        assert 300 <= found.offset_hz <= 2650
    assert CLEAR_COST > 0


@given(st.lists(st.lists(st.integers(5, 52).map(lambda n: 50.0 * n), max_size=20), min_size=1, max_size=5))
def test_where_to_send_does_not_hang_on_who_looks_when(periods: list[list[float]]) -> None:
    looked_at, left_alone = Spectrum(), Spectrum()
    for number, offsets in enumerate(periods):
        period = heard_period(2 * number, 1500.0, *offsets)
        looked_at.closed(period)
        left_alone.closed(period)
        advise(looked_at, 0, 2 * number + 1)
    assert advise(looked_at, 0, 99) == advise(left_alone, 0, 99)


def test_strong_neighbours_keep_more_distance() -> None:
    near = CUSTOMARY_HZ + 60.0
    for snr_db, kept in ((-15.0, True), (12.0, False)):
        spectrum = Spectrum()
        spectrum.closed(heard_period(0, near, snr_db=snr_db))
        assert (advise(spectrum, 0, 1).offset_hz == CUSTOMARY_HZ) is kept


def test_the_other_parity_and_periods_that_we_sent_in_tell_nothing() -> None:
    spectrum = Spectrum()
    spectrum.closed(heard_period(1, 1500.0))
    spectrum.closed(heard_period(2, 1500.0, sent=True))
    found = advise(spectrum, 0, 3)
    assert (found.age_ms, found.stale, found.offset_hz) == (None, True, CUSTOMARY_HZ)


def test_old_evidence_is_stale_and_a_taken_offset_is_told() -> None:
    spectrum = Spectrum()
    spectrum.closed(heard_period(0, 1000.0))
    assert advise(spectrum, 0, 1, used_hz=1010.0).taken
    assert not advise(spectrum, 0, 1, used_hz=2000.0).taken
    assert not advise(spectrum, 0, 2).stale
    assert advise(spectrum, 0, 20).stale


def test_the_panel_says_where_to_send_how_old_that_is_and_that_it_is_clear_here_alone() -> None:
    on = bench()
    on.feed(
        Tuning(
            v=1, source="bench", at=from_ms(START_MS), dial_hz=14_074_000, mode="FT8", send_parity=0,
            send_offset_hz=1500.0, search_low_hz=300, search_high_hz=2700,
        )
    )  # fmt: skip
    on.hear("W1QSB JA1QRV -10", offset_hz=1490.0)
    on.close()
    on.period("JA1QRV W1QSB R-10", offset_hz=1490.0)
    sending = next(view for view in on.views() if view.name == "lookout.sending")
    assert isinstance(sending, Gauges)
    told = {reading.key: reading for reading in sending.readings}
    assert "Clear here is not clear there" in (told["offset"].sentence or "")
    assert told.keys() >= {"offset", "gaps"}


def _taken(on: Bench) -> str | None:
    sending = on.view("lookout.sending", Gauges)
    return next((reading.text for reading in sending.readings if reading.key == "taken"), None)


def test_mine_is_taken_in_my_own_parity_whomever_it_is_advised_to_call() -> None:
    on = bench()
    on.period("CQ CE3QRT FF46", offset_hz=700.0)
    on.send("CQ DL5QRM JO62", offset_hz=1500.0)  # an odd period; so the advice, an even one, would be called in it
    on.skip()
    on.period("CQ CE3QRT FF46", offset_hz=700.0)
    assert _taken(on) is None
    on.period("CQ JA1QRV PM95", "CE4QRT G4QRS IO91", offset_hz=1500.0)
    assert _taken(on) == "1,500 Hz is taken"
    on.period("CQ CE3QRT FF46", offset_hz=700.0)
    on.log("CE3QRT")  # now the Japanese one is advised, who is to be called in even periods
    on.period("CQ JA1QRV PM95", offset_hz=1500.0)
    assert ranked(on)[0] == "JA1QRV"
    assert _taken(on) == "1,500 Hz is taken"
