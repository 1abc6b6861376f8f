"""Lookout: whom it hails and whom not, in which order it advises, and what it shows."""

from __future__ import annotations

from typing import Any

import pytest

from watchkeeper.api import Own, Urgency
from watchkeeper.host.status import State
from watchkeeper.store.worked import WorkedIndex
from watchkeeper.testing import Bench, worked_index
from watchkeeper_lookout import Lookout, LookoutNote
from watchkeeper_lookout.readiness import act_by_ms
from watchkeeper_reach import Reach
from watchkeeper_worked import Worked

CHILE = "CQ CE3QRT FF46"


def bench(*rules: dict[str, Any], worked: WorkedIndex | None = None, **more: Any) -> Bench:
    config = {"lookout": {"rule": [{"name": f"rule {number}", **rule} for number, rule in enumerate(rules)]}}
    return Bench(Worked, Reach, Lookout, config=config if rules else {}, worked=worked, **more)


def calls(on: Bench) -> list[str | None]:
    return [hail.call for hail in on.hails]


# -- rules ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rule", "hailed"),
    [
        # entity, zone and continent of each call by the country file; distances from JO62qm by geodesic
        ({"calls": ["CE*"]}, ["CE3QRT"]),
        ({"calls": ["*3QRT", "W1QS?"]}, ["CE3QRT", "W1QSB"]),
        ({"calls": ["ce3qrt"]}, ["CE3QRT"]),
        ({"entities": ["Chile"]}, ["CE3QRT"]),
        ({"entities": ["chile", "K"]}, ["CE3QRT", "W1QSB"]),
        ({"entities": ["112"]}, ["CE3QRT"]),
        ({"cq_zones": [12, 25]}, ["CE3QRT", "JA1QRV"]),
        ({"itu_zones": [45]}, ["JA1QRV"]),
        ({"continents": ["NA", "AS"]}, ["JA1QRV", "W1QSB"]),
        ({"locators": ["FN"]}, ["W1QSB"]),
        ({"locators": ["pm95"]}, ["JA1QRV"]),
        ({"min_distance_km": 8000}, ["CE3QRT", "JA1QRV"]),
        ({"min_distance_km": 5000, "max_distance_km": 7000}, ["W1QSB"]),
        ({"min_snr_db": -5, "max_distance_km": 20000}, ["W1QSB"]),
        ({"need": ["entity"]}, ["CE3QRT", "JA1QRV", "OE1QRM", "W1QSB"]),
        ({"need": ["entity"], "continents": ["SA"]}, ["CE3QRT"]),
        ({"continents": ["SA"], "bands": ["20m"]}, ["CE3QRT"]),
        ({"continents": ["SA"], "bands": ["40m"]}, []),
        ({"continents": ["SA"], "modes": ["FT8"]}, ["CE3QRT"]),
        ({"continents": ["SA"], "modes": ["FT4"]}, []),
        ({"calls_me": True}, []),
    ],
)
def test_each_criterion(rule: dict[str, Any], hailed: list[str]) -> None:
    on = bench(rule)
    on.hear(CHILE, "CQ JA1QRV PM95", "CQ OE1QRM JN88")
    on.hear("CQ W1QSB FN42", snr_db=3)
    on.close()
    assert sorted(map(str, calls(on))) == hailed


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ({}, "it must say whom it waits for"),
        ({"bands": ["20m"]}, "it must say whom it waits for"),
        ({"entities": ["Chili"]}, "did you mean 'Chile'"),
        ({"entities": ["99999"]}, "no entity '99999'"),
        ({"calls": ["CE3 QRT"]}, "holds more than letters"),
        ({"locators": ["ZZ"]}, "does not begin a locator"),
        ({"calls": ["*"], "bands": ["20 m"]}, "written like '20m'"),
        ({"calls": ["*"], "modes": ["FT9"]}, "no mode 'FT9'"),
        ({"calls": ["*"], "scopes": ["ever"]}, "'need' must be set"),
        ({"min_distance_km": 9, "max_distance_km": 3}, "is above"),
        ({"calls": ["*"], "urgency": "urgnt"}, "did you mean 'urgent'"),
        ({"calls": ["*"], "cq_zones": [41]}, "<= 40"),
        ({"need": ["entty"]}, "did you mean 'entity'"),
    ],
)
def test_a_rule_that_cannot_be_meant_is_told(rule: dict[str, Any], words: str) -> None:
    on = bench(rule)
    assert on.status("lookout").state is State.BLOCKED
    assert words in (on.status("lookout").reason or "")


def test_two_rules_of_one_name_are_told() -> None:
    on = bench({"name": "same", "calls": ["*"]}, {"name": "same", "calls_me": True})
    assert "two rules are called 'same'" in (on.status("lookout").reason or "")


def test_without_worked_it_says_what_it_lacks() -> None:
    on = Bench(Lookout)
    assert "WorkedNote (of watchkeeper_worked.notes)" in (on.status("lookout").reason or "")


# -- hails ------------------------------------------------------------------------------------------------------------


def test_a_hail_says_it_in_a_plain_sentence() -> None:
    on = bench(
        {"need": ["entity"], "scopes": ["band"], "urgency": "urgent"}, worked=worked_index(("CE1QRM", "40m", "FT8"))
    )
    on.period(CHILE, snr_db=-12)
    (hail,) = on.hails
    assert hail.sentence == "first Chile for you on 20 m: CE3QRT, calling CQ, fair, −12 dB"
    assert (hail.urgency, hail.rule, hail.call, hail.band) == (Urgency.URGENT, "rule 0", "CE3QRT", "20m")


def test_it_hails_on_the_burst_and_not_again_while_the_hold_off_lasts() -> None:
    on = bench({"calls": ["CE*"], "hold_off_min": 5})
    on.hear(CHILE)
    assert on.hails == []
    on.judge()
    assert calls(on) == ["CE3QRT"]
    on.close()
    for _ in range(18):
        on.period(CHILE)
    assert len(on.hails) == 1
    on.period(CHILE)
    on.period(CHILE)
    assert len(on.hails) == 2, "five minutes later"


@pytest.mark.parametrize(
    ("now_s", "by_s"),
    [(0, 16), (15, 16), (16, 16), (17, 46), (45, 46), (46, 46), (46.001, 76)],
)
def test_one_calls_in_the_period_after_the_stations_own_and_hardly_later(now_s: float, by_s: int) -> None:
    """Heard in the period from 0 to 15 s, it listens from 15 s, from 45 s and so on; a second late often works."""
    assert act_by_ms(0, "FT8", round(now_s * 1000)) == by_s * 1000


def test_another_band_is_another_matter() -> None:
    on = bench({"calls": ["CE*"]})
    on.period(CHILE)
    on.dial_hz = 7_074_000
    on.period(CHILE)
    assert [hail.band for hail in on.hails] == ["20m", "40m"]


def test_of_several_rules_the_most_urgent_speaks_and_the_others_are_reasons() -> None:
    on = bench({"calls": ["CE*"], "urgency": "note"}, {"need": ["entity"], "urgency": "urgent"})
    on.period(CHILE)
    (hail,) = on.hails
    assert hail.rule == "rule 1"
    assert hail.reasons == ("first Chile for you", "rule 0")


def test_nothing_is_hailed_on_what_may_be_a_phantom() -> None:
    on = bench({"calls": ["*"]})
    on.hear("CQ XX9QRM AA00", low_confidence=True, snr_db=-24)
    on.hear("DL5QRM <...> -10")
    on.hear(CHILE, live=False)
    on.close()
    assert on.hails == []


def test_my_own_transmissions_heard_by_a_second_receiver_are_no_station() -> None:
    on = bench({"calls": ["*"], "worked_too": True})
    on.period("CQ DL5QRM JO62", "CQ DL5QRM/P JO62")
    assert on.hails == []
    assert ranked(on) == []


def test_a_station_already_worked_is_hailed_only_where_the_rule_says_so() -> None:
    log = worked_index(("CE3QRT", "20m", "FT8"))
    assert Bench(Worked, Reach, Lookout).status("lookout").state is State.RUNNING
    for too, hailed in ((False, []), (True, ["CE3QRT"])):
        on = bench({"calls": ["CE*"], "worked_too": too}, worked=log)
        on.period(CHILE)
        assert calls(on) == hailed


def test_by_default_callers_and_new_entities_are_hailed() -> None:
    log = worked_index(("OE1QRM", "40m", "FT8"), ("W1QSB", "20m", "FT8"))
    on = Bench(Worked, Reach, Lookout, worked=log, config={"lookout": {"young_log": 2}})
    on.period(CHILE, "CQ OE2QRM JN67", "CQ W2QSB FN20")
    assert {hail.call: hail.rule for hail in on.hails} == {"CE3QRT": "new entity", "OE2QRM": "new on this band"}
    on.period("DL5QRM W1QSB FN42")
    assert on.hails[-1].sentence == "W1QSB (United States) calls you on 20 m: fair, −10 dB"
    assert on.hails[-1].urgency is Urgency.URGENT


def test_a_directed_call_that_is_not_for_me_is_neither_hailed_nor_advised() -> None:
    on = bench({"need": ["entity"]})
    on.period("CQ DX OE1QRM JN88", "CQ NA CE3QRT FF46", "CQ JA VK2QRM QF56", "CQ CA W1QSB FN42")
    assert on.hails == []
    assert on.table("lookout.ranked").rows == ()
    on.period("CQ DX VK3QRM QF22", "CQ EU CE4QRT FF46", "CQ DL G4QRS IO91", "CQ TEST JA1QRV PM95")
    assert len(on.hails) == 4


@pytest.mark.parametrize(
    ("text", "is_for_me"),
    [
        ("CQ USA OE1QRM JN88", False),
        ("CQ ASIA W1QSB FN42", False),
        ("CQ AFR W1QSB FN42", False),
        ("CQ EURO W1QSB FN42", True),
        ("CQ NY W1QSB FN42", False),
        ("CQ ON VE3QRV FN03", False),
        ("CQ ON G4QRS IO91", False),
        ("CQ FD W1QSB FN42", True),
        ("CQ RU W1QSB FN42", True),
        ("CQ WW W1QSB FN42", True),
        ("CQ UP W1QSB FN42", True),
        ("CQ POTA W1QSB FN42", True),
        ("CQ 145 W1QSB FN42", True),
    ],
)
def test_a_word_behind_the_call_to_all_is_a_place_or_an_event(text: str, is_for_me: bool) -> None:
    on = bench({"calls": ["*"]})
    on.period(text)
    assert bool(on.hails) is is_for_me
    assert bool(on.table("lookout.ranked").rows) is is_for_me


def test_who_looks_for_others_looks_for_them_after_a_contact_too() -> None:
    on = bench({"calls": ["OE*"]}, {"calls_me": True})
    on.period("CQ DX OE1QRM JN88")
    on.period("OE1QRM W1QSB FN42")
    on.period("W1QSB OE1QRM -10")
    on.period("OE1QRM W1QSB R-09")
    on.period("W1QSB OE1QRM RR73")
    assert (on.hails, ranked(on)) == ([], ["W1QSB"])
    assert "not advised: its last call was for DX, which is not you" in on.host.explain("OE1QRM")
    on.skip()
    on.period("DL5QRM OE1QRM JN88")
    assert ([hail.call for hail in on.hails], ranked(on)[0]) == (["OE1QRM"], "OE1QRM")
    on.skip()
    on.period("CQ OE1QRM JN88")
    assert "OE1QRM" in ranked(on)


def test_a_directed_call_to_states_is_for_those_in_the_country() -> None:
    on = bench({"need": ["entity"]}, own=Own(call="W7QRM", locator="DN41"))
    on.period("CQ CA W1QSB FN42")
    assert calls(on) == ["W1QSB"]


# -- advice -----------------------------------------------------------------------------------------------------------


def ranked(on: Bench) -> list[str]:
    return [row.key for row in on.table("lookout.ranked").rows]


def test_who_calls_me_stands_first_then_what_is_rare_and_free() -> None:
    log = worked_index(("W1QSB", "20m", "FT8"), ("JA2QRM", "40m", "FT8"), ("G4QRS", "20m", "FT8"))
    on = bench({"calls_me": True}, worked=log)
    on.period(CHILE, "CQ JA1QRV PM95", "CQ W1QSB FN42", "G4QRS VK2QRM QF56", "DL5QRM W2QSB FN20")
    assert ranked(on) == ["W2QSB", "CE3QRT", "JA1QRV", "VK2QRM"], "W1QSB is a duplicate; VK2QRM is busy"
    first = on.table("lookout.ranked").rows[0]
    assert first.urgency is Urgency.URGENT
    assert first.data["ready"] is True
    assert first.data["to_me"] is True
    busy = on.table("lookout.ranked").rows[3]
    assert busy.data["ready"] is False
    assert busy.data["need"] == "entity: first ever"
    assert busy.data.keys() >= {"call", "band", "mode", "offset_hz", "parity", "ready", "need", "chance"}


def test_a_caller_says_where_from_what_it_lacks_and_how_long_it_has_waited() -> None:
    on = bench({"calls_me": True}, worked=worked_index(("W1QSB", "20m", "FT8"), ("W1QSA", "20m", "FT8")))
    on.period("DL5QRM W1QSB FN42", "DL5QRM CE3QRT FF46")
    rows = {row.key: row for row in on.table("lookout.ranked").rows}
    assert rows["CE3QRT"].sentence == (
        "CE3QRT calls you, first Chile for you, fair, −10 dB, on 20 m; still lacks our report to them"
    )
    assert rows["CE3QRT"].cells[1:3] == ("calls you, first Chile for you", ""), "that it calls is said once"
    on.send("CE3QRT DL5QRM -10")
    on.skip()
    on.period("DL5QRM W1QSB FN42", "DL5QRM CE3QRT R-12")
    rows = {row.key: row for row in on.table("lookout.ranked").rows}
    assert rows["W1QSB"].sentence == (
        "W1QSB (United States) calls you, fair, −10 dB, on 20 m; still lacks our report to them; has waited 30 s"
    )
    assert (rows["W1QSB"].data["entity"], rows["W1QSB"].data["waited_ms"]) == ("United States", 30_000)
    assert rows["CE3QRT"].sentence == (
        "CE3QRT calls you, first Chile for you, fair, −10 dB, on 20 m; still lacks our roger"
    )
    assert rows["CE3QRT"].cells[1:3] == ("calls you, first Chile for you", "with you")


def test_with_less_power_the_chance_sinks() -> None:
    strong = bench(own=Own(call="DL5QRM", locator="JO62", power_w=100.0))
    weak = bench(own=Own(call="DL5QRM", locator="JO62", power_w=1.0))
    for on in (strong, weak):
        on.period(CHILE, snr_db=-10)
    high, low = (on.table("lookout.ranked").rows[0].data["chance"] for on in (strong, weak))
    assert isinstance(high, float)
    assert isinstance(low, float)
    assert high > 0.9 > 0.45 > low


def test_another_power_counts_at_once_and_not_when_they_are_heard_again() -> None:
    on = bench({"calls_me": True})
    on.period("CQ CE3QRT FF46", snr_db=-14)

    def told() -> tuple[float, float]:
        (row,) = on.table("lookout.ranked").rows
        expected_db, chance = row.data["expected_db"], row.data["chance"]
        assert isinstance(expected_db, float)
        assert isinstance(chance, float)
        return expected_db, chance

    before = told()
    on.station(power_w=100.0)  # the bench begins with 10 W
    after = told()
    assert after[0] == pytest.approx(before[0] + 10)
    assert after[1] > before[1] + 0.1
    on.station(power_w=10.0)
    assert told() == before


def test_the_advice_on_top_stays_unless_clearly_beaten() -> None:
    on = bench()
    on.period("CQ CE3QRT FF46", snr_db=-18)
    on.skip()
    on.hear("CQ CE3QRT FF46", snr_db=-18)
    on.hear("CQ VK2QRM QF56", snr_db=-17.5)
    on.close()
    assert ranked(on)[0] == "CE3QRT"
    on.skip()
    on.hear("CQ CE3QRT FF46", snr_db=-18)
    on.hear("CQ VK2QRM QF56", snr_db=0)
    on.close()
    assert ranked(on)[0] == "VK2QRM"


def test_who_is_not_heard_again_sinks_and_goes() -> None:
    on = bench()
    on.period(CHILE)
    on.period("DL5QRM W2QSB FN20")
    assert ranked(on)[0] == "W2QSB"
    for _ in range(16):
        on.period("CQ VK2QRM QF56")
    assert ranked(on)[0] == "VK2QRM"
    assert "CE3QRT" not in ranked(on)


def test_a_contact_takes_its_station_off_the_list() -> None:
    on = bench({"calls_me": True})
    on.period("DL5QRM CE3QRT FF46")
    assert ranked(on) == ["CE3QRT"]
    on.log("CE3QRT")
    assert ranked(on) == []
    row = on.table("lookout.on_the_air").rows[0]
    assert "worked just now" in row.cells


def test_who_has_said_goodbye_to_me_is_no_caller() -> None:
    on = bench({"calls_me": True}, worked=worked_index(("CE3QRT", "20m", "FT8")))
    on.period("DL5QRM CE3QRT RR73")
    assert ranked(on) == []


def test_a_caller_on_a_band_that_was_left_stands_back() -> None:
    on = bench({"calls_me": True})
    on.tune(dial_hz=14_074_000)
    on.period("DL5QRM CE3QRT FF46")
    on.tune(dial_hz=7_074_000)
    for turn in range(6):
        on.hear("CQ JA1QRV PM95", dial_hz=7_074_000)
        on.close(dial_hz=7_074_000)
        assert ("CE3QRT" in ranked(on)) is (turn < 3), turn
    on.skip(12)
    on.hear("CQ JA1QRV PM95", dial_hz=7_074_000)
    on.close(dial_hz=7_074_000)
    (left,) = [one for one in on.watch.stations() if one.call == "CE3QRT"]
    assert not left.calls_me


def test_who_is_done_with_me_is_not_called_again_before_the_contact_is_in_the_log() -> None:
    on = bench({"calls_me": True})
    on.period("DL5QRM CE3QRT FF46")
    assert ranked(on) == ["CE3QRT"]
    on.send("CE3QRT DL5QRM -10")
    on.period("DL5QRM CE3QRT R-12")
    on.send("CE3QRT DL5QRM RR73")
    on.period("DL5QRM CE3QRT 73")
    assert ranked(on) == []
    on.period("CQ CE3QRT FF46")
    assert ranked(on) == ["CE3QRT"], "nobody announced the contact"


# -- on the air -------------------------------------------------------------------------------------------------------


def test_one_row_a_station_with_what_it_does_and_why_it_matters() -> None:
    on = bench({"calls_me": True}, worked=worked_index(("W1QSB", "20m", "FT8")))
    on.period("CQ DX VK2QRM QF56", "W1QSB G4QRS -10", "CQ W1QSB FN42")
    on.period("DL5QRM W1QSB FN42")
    on.period("G4QRS VK2QRM QF56", snr_db=-22)
    rows = {row.key: row for row in on.table("lookout.on_the_air").rows}
    assert rows.keys() == {"VK2QRM", "G4QRS", "W1QSB"}
    assert rows["VK2QRM"].cells[:2] == ("VK2QRM", "answering G4QRS")
    assert rows["VK2QRM"].cells[4:] == ("very weak, −22 dB", "now")
    assert rows["G4QRS"].cells[1] == "in contact with W1QSB"
    assert rows["G4QRS"].cells[5] == "45 s"
    assert rows["W1QSB"].cells[1] == "calling you"
    assert rows["W1QSB"].data["to_me"] is True
    assert rows["VK2QRM"].cells[3] == "first Australia for you"


def test_the_note_on_the_hearing_names_rules_and_urgency() -> None:
    on = bench({"calls": ["CE*"], "urgency": "urgent"}, {"need": ["entity"]})
    (hearing,) = on.hear(CHILE)
    assert hearing.note(LookoutNote) == LookoutNote(
        rules=("rule 0", "rule 1"),
        reasons=("rule 0", "first Chile for you"),
        matters=("CE3QRT|20m", "entity|112|any band"),
        urgency=Urgency.URGENT,
    )


def test_the_same_journal_gives_the_same_views_however_often_they_are_asked_for() -> None:
    def run(ask: bool) -> tuple[list[Any], list[Any]]:
        on = bench(worked=worked_index(("W1QSB", "20m", "FT8")))
        for number in range(12):
            on.hear(f"CQ VK{number % 10}QRM QF56", f"CQ CE{number % 7}QRT FF46", snr_db=-20 + number)
            if ask:
                on.views()
            on.close()
            if ask:
                on.views()
        return on.hails, on.views()

    assert run(ask=True) == run(ask=False)
