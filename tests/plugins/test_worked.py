"""Worked: what the log says of each station, and the Log panel."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from watchkeeper.api import Activated, Dimension, Need, Scope, WorkedIndex
from watchkeeper.host.status import State
from watchkeeper.schema.events import Activation
from watchkeeper.testing import START_MS, Bench, worked_index
from watchkeeper.view import Gauges
from watchkeeper.watch.hails import HailRules
from watchkeeper_worked import Worked, WorkedNote, need_words

LOG = worked_index(("JA1QRV", "40m", "FT8"), ("CE3QRT", "20m", "FT8"), ("G4QRS", "20m", "CW"))


def bench(**config: Any) -> Bench:
    return Bench(Worked, config={"worked": config}, worked=worked_index(
        ("JA1QRV", "40m", "FT8"), ("CE3QRT", "20m", "FT8"), ("G4QRS", "20m", "CW"),
    ))  # fmt: skip


def note(on: Bench, text: str, **fields: Any) -> WorkedNote:
    (hearing,) = on.hear(text, **fields)
    found = hearing.note(WorkedNote)
    assert found is not None
    return found


def test_what_is_new_is_told_with_the_strongest_first() -> None:
    # entities, zones and continents by the country file: Chile is in CQ zone 12, South America, as CE3QRT is
    on = bench()
    assert note(on, "CQ VK2QRM QF56").why == "first Australia for you"
    assert note(on, "CQ VK2QRM QF56").needs[0] == Need(Dimension.ENTITY, "150", Scope.EVER)
    assert note(on, "CQ JA2QRM PM95").why == "first contact with JA2QRM"
    assert Need(Dimension.ENTITY, "339", Scope.BAND) in note(on, "CQ JA2QRM PM95").needs
    assert note(on, "CQ CE1QRM FG40").needs == (Need(Dimension.BASE, "CE1QRM", Scope.EVER),)


def test_a_duplicate_is_one_on_this_band_in_this_kind_of_mode() -> None:
    on = bench()
    assert note(on, "CQ CE3QRT FF46").duplicate
    assert note(on, "CQ CE3QRT FF46").why == "worked already on 20 m in FT8"
    assert not note(on, "CQ JA1QRV PM95").duplicate, "worked on another band"
    assert not note(on, "CQ G4QRS IO91").duplicate, "worked in CW"


def test_timed_data_modes_count_as_one_unless_told_otherwise() -> None:
    one = Bench(Worked, worked=worked_index(("CE3QRT", "20m", "FT4")))
    assert note(one, "CQ CE3QRT FF46").duplicate
    apart = Bench(
        Worked, config={"worked": {"data_modes_as_one": False}}, worked=worked_index(("CE3QRT", "20m", "FT4"))
    )
    assert not note(apart, "CQ CE3QRT FF46").duplicate


def test_a_contact_changes_what_is_said_from_then_on() -> None:
    on = bench()
    assert note(on, "CQ VK2QRM QF56").why == "first Australia for you"
    on.log("VK2QRM")
    on.skip()
    again = note(on, "CQ VK2QRM QF56")
    assert again.duplicate
    assert again.needs == ()
    on.skip()
    assert note(on, "CQ VK3QRM QF22").why == "first contact with VK3QRM"


def test_by_band_and_by_mode_are_the_operators_choice() -> None:
    assert note(bench(by_band=False), "CQ JA1QRV PM95").needs == ()
    on = bench(by_mode=True, dimensions=["entity"])
    assert note(on, "CQ G4QRS IO91").why == "first England for you in FT8"


def test_what_is_not_confirmed_is_a_weaker_need() -> None:
    found = note(bench(unconfirmed=True, dimensions=["entity"]), "CQ CE1QRM FG40")
    assert found.needs == (Need(Dimension.ENTITY, "112", Scope.UNCONFIRMED),)
    assert found.why == "Chile not confirmed yet"


def test_in_an_activation_a_station_counts_again_each_utc_day() -> None:
    on = bench(duplicate="day")
    assert not note(on, "CQ CE3QRT FF46").duplicate, "worked yesterday"
    on.log("CE3QRT")
    on.skip()
    assert note(on, "CQ CE3QRT FF46").why == "worked today on 20 m in FT8"
    on.skip(4 * 60 * 6)
    assert on.start_ms // 86_400_000 > START_MS // 86_400_000
    assert not note(on, "CQ CE3QRT FF46").duplicate


def test_the_new_utc_day_is_announced_to_those_for_whom_it_counts() -> None:
    for duplicate, hails in (("ever", 0), ("day", 1)):
        on = bench(duplicate=duplicate)
        on.close()
        on.skip(4 * 60 * 6 - 2)
        on.close()
        on.close()
        on.close()
        assert [hail.rule for hail in on.hails] == ["new UTC day"] * hails


PARK, LAKE = ("PARKS", "PARK-0042"), ("LAKES", "LAKE-0007")


def activating(*references: tuple[str, str], **config: Any) -> Bench:
    on = bench(duplicate="activation", **config)
    on.station(activations=tuple(Activation(programme=programme, reference=name) for programme, name in references))
    return on


def progress(on: Bench) -> dict[str, str]:
    gauges = [view for view in on.views() if isinstance(view, Gauges) and view.name == "worked.activations"]
    return {reading.label: reading.text for view in gauges for reading in view.readings}


def test_an_activation_is_counted_by_the_rule_of_its_programme() -> None:
    on = activating(PARK)
    assert progress(on) == {"PARK-0042": "0 of 10 today, 10 to go"}
    for number in range(7):
        on.log(f"W{number}QSB")
    on.log("W0QSB")  # once more on the same band in the same mode: it does not count
    assert progress(on) == {"PARK-0042": "7 of 10 today, 3 to go"}
    on.log("W0QSB", mode="FT4")  # data as well
    assert progress(on) == {"PARK-0042": "7 of 10 today, 3 to go"}
    on.log("W0QSB", dial_hz=7_074_000)
    on.log("W8QSB")
    assert not on.hails
    on.log("W9QSB")
    assert progress(on) == {"PARK-0042": "10 of 10 today, complete"}
    assert [hail.sentence for hail in on.hails] == ["PARK-0042: 10 of 10 today, complete"]


def test_an_activation_that_is_complete_is_told_however_many_hails_there_were() -> None:
    rules = [{"programme": programme, "minimum": 1, "per": "cumulative"} for programme, _ in (PARK, LAKE)]
    on = activating(PARK, LAKE, activation=rules)
    on.watch.hails.obey(HailRules(per_hour=1))
    on.log("W1QSB")
    assert [hail.rule for hail in on.hails] == ["activation complete"] * 2


def test_a_contact_counts_for_several_references_at_once_each_by_its_rule() -> None:
    rule = {"programme": "LAKES", "minimum": 2, "per": "cumulative", "unique": ["call"]}
    on = activating(PARK, LAKE, ("HILLS", "HILL-1"), activation=[rule])
    on.log("W1QSB")
    on.log("W1QSB", dial_hz=7_074_000)
    assert progress(on) == {
        "PARK-0042": "2 of 10 today, 8 to go",
        "LAKE-0007": "1 of 2 in all, 1 to go",
        "HILL-1": "1 in all; no rule for HILLS",
    }


def test_at_midnight_a_daily_activation_begins_anew_and_says_so() -> None:
    on = activating(PARK, LAKE)
    on.log("W1QSB")
    on.close()
    on.skip(4 * 60 * 6 - 2)
    for _ in range(3):
        on.close()
    assert [hail.sentence for hail in on.hails] == [
        "00:00 UTC: a new day, every station counts again; PARK-0042 begins at 0"
    ]
    on.skip(4)
    on.period("CQ VK2QRM QF56")
    assert progress(on) == {"PARK-0042": "0 of 10 today, 10 to go", "LAKE-0007": "1 of 44 in all, 43 to go"}


def test_a_duplicate_in_an_activation_is_one_that_counts_for_no_reference() -> None:
    on = activating(PARK)
    assert not note(on, "CQ CE3QRT FF46").duplicate, "worked before, but not in this activation"
    on.log("CE3QRT")
    on.skip()
    assert note(on, "CQ CE3QRT FF46").why == "worked in this activation on 20 m in FT8"
    on.station(activations=(Activation(programme="PARKS", reference="PARK-0043"),))
    on.skip()
    assert not note(on, "CQ CE3QRT FF46").duplicate, "another reference"


def activated(*calls: str, days_ago: int = 0) -> tuple[Activated, ...]:
    began_ms = START_MS - days_ago * 86_400_000 - 3_600_000
    return tuple(Activated(f"{call} {days_ago}", call, "20m", "FT8", began_ms) for call in calls)


def with_log(*references: tuple[str, str], read: Callable[[str, str], tuple[Activated, ...]], **config: Any) -> Bench:
    """A session that begins on a log with contacts made from references of ours."""
    index = WorkedIndex()
    index.read_activated_by(read)
    on = Bench(Worked, config={"worked": {"duplicate": "activation", **config}}, worked=index)
    on.station(activations=tuple(Activation(programme=programme, reference=name) for programme, name in references))
    return on


def test_an_activation_goes_on_where_the_log_stands_whatever_the_session() -> None:
    """A gap of hours begins a new session: the day's contacts count on, and a cumulative activation's for ever."""
    rows = activated("W1QSB", "W2QSB") + activated("W3QSB", days_ago=1)
    on = with_log(PARK, LAKE, read=lambda _programme, _reference: rows)
    assert progress(on) == {"PARK-0042": "2 of 10 today, 8 to go", "LAKE-0007": "3 of 44 in all, 41 to go"}
    assert note(on, "CQ W1QSB FN42").duplicate, "worked before, in this activation"
    on.skip()
    found = note(on, "CQ W3QSB FN42")
    assert (found.duplicate, found.counts_for) == (False, ("PARK-0042",)), "of yesterday: it counts again for the park"
    on.log("W3QSB")
    on.log("W1QSB")
    assert progress(on) == {"PARK-0042": "3 of 10 today, 7 to go", "LAKE-0007": "3 of 44 in all, 41 to go"}


def test_a_correction_takes_a_contact_of_the_log_out_of_the_count() -> None:
    rows = (Activated("DL5QRM|bench|7", "W1QSB", "20m", "FT8", START_MS - 3_600_000),)
    on = with_log(PARK, read=lambda _programme, _reference: rows)
    assert progress(on) == {"PARK-0042": "1 of 10 today, 9 to go"}
    on.log("W1QSC", id="7", source="bench", revision=1)
    assert progress(on) == {"PARK-0042": "1 of 10 today, 9 to go"}
    on.skip()
    assert not note(on, "CQ W1QSB FN42").duplicate, "it was W1QSC"


def test_what_counts_for_an_activation_is_noted_until_it_is_complete() -> None:
    rule = {"programme": "HILLS", "minimum": 2, "unique": ["call"]}
    on = activating(("hills", "HILL-1"), activation=[rule])
    assert note(on, "CQ CE3QRT FF46").counts_for == ("HILL-1",)
    on.log("CE3QRT")
    on.skip()
    assert note(on, "CQ CE3QRT FF46").counts_for == ()
    assert note(on, "CQ W1QSB FN42").counts_for == ("HILL-1",)
    on.log("W1QSB")
    on.skip()
    assert note(on, "CQ W2QSB FN42").counts_for == ()


def test_in_a_contest_a_station_counts_again_each_session() -> None:
    on = bench(duplicate="session")
    assert not note(on, "CQ CE3QRT FF46").duplicate
    on.log("CE3QRT")
    on.skip()
    assert note(on, "CQ CE3QRT FF46").why == "worked in this session on 20 m in FT8"


def test_nothing_is_said_of_a_sender_that_nobody_knows() -> None:
    (hearing,) = bench().hear("DL5QRM <...> -10")
    assert hearing.call is None
    assert hearing.note(WorkedNote) is None


def test_an_unknown_dimension_is_told_with_the_nearest() -> None:
    on = bench(dimensions=["entty"])
    assert on.status("worked").state is State.BLOCKED
    assert "did you mean 'entity'" in (on.status("worked").reason or "")


def test_the_log_panel() -> None:
    on = bench()
    assert on.table("worked.contacts").rows == ()
    on.log("CE3QRT", report_sent="-10", report_received="-12")
    on.skip(4)
    on.log("VK2QRM", dial_hz=7_074_000, locator="QF56")
    newest, oldest = on.table("worked.contacts").rows
    assert newest.cells[:4] == ("18:01", "VK2QRM", "40 m", "FT8")
    assert oldest.cells[:7] == ("18:00", "CE3QRT", "20 m", "FT8", "−10", "−12", "Chile")
    assert oldest.data["call"] == "CE3QRT"
    counts = next(view for view in on.views() if isinstance(view, Gauges))
    assert {reading.key: reading.value for reading in counts.readings} == {
        "ever": 5, "session": 2, "day": 2, "20m|FT8": 1, "40m|FT8": 1,
    }  # fmt: skip


def test_the_views_are_the_same_object_while_nothing_changed() -> None:
    on = bench()
    on.log("CE3QRT")
    before = on.table("worked.contacts")
    on.period("CQ VK2QRM QF56")
    assert on.table("worked.contacts") is before
    on.log("VK2QRM")
    assert on.table("worked.contacts") is not before


def test_the_day_turns_over_in_the_counts() -> None:
    on = bench()
    on.log("CE3QRT")
    on.skip(4 * 60 * 7)
    on.period("CQ VK2QRM QF56")
    counts = next(view for view in on.views() if isinstance(view, Gauges))
    assert {reading.key: reading.value for reading in counts.readings}["day"] == 0


@pytest.mark.parametrize(
    ("need", "words"),
    [
        (Need(Dimension.CQ_ZONE, "12", Scope.BAND), "first CQ zone 12 for you on 20 m"),
        (Need(Dimension.ITU_ZONE, "14", Scope.EVER), "first ITU zone 14 for you"),
        (Need(Dimension.CONTINENT, "SA", Scope.MODE), "first South America for you in FT8"),
        (Need(Dimension.LOCATOR, "FF46", Scope.BAND_MODE), "first locator FF46 for you on 20 m in FT8"),
        (Need(Dimension.PREFIX, "CE3", Scope.EVER), "first prefix CE3 for you"),
        (Need(Dimension.STATE, "291 WY", Scope.EVER), "first WY for you"),
        (Need(Dimension.CALL, "CE3QRT/P", Scope.BAND), "first contact with CE3QRT/P on 20 m"),
        (Need(Dimension.ENTITY, "999999", Scope.EVER), "first entity 999999 for you"),
    ],
)
def test_needs_in_words(need: Need, words: str) -> None:
    assert need_words(need, "20m", "FT8") == words
