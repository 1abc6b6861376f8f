"""One matter hails once; the rarest first; never too many."""

from __future__ import annotations

import msgspec
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.model import Hail
from watchkeeper.view import Urgency
from watchkeeper.watch.hails import KEPT, HailBook, HailRules

MINUTE = 60_000


def hail(key: str, urgency: Urgency = Urgency.WANTED, at_ms: int = 0) -> Hail:
    return Hail(key=key, urgency=urgency, sentence=key, rule="r", at_ms=at_ms)


def test_one_matter_goes_out_once_until_its_hold_off_ends() -> None:
    book = HailBook(HailRules(hold_off_min=30))
    out = []
    for minute in (0, 1, 29, 30):
        book.hail(hail("a"))
        out.append(len(book.settle(minute * MINUTE)))
    assert out == [1, 0, 0, 1]


def test_a_rule_may_have_a_hold_off_of_its_own() -> None:
    book = HailBook(HailRules(hold_off_min=30))
    book.hail(Hail(key="a", urgency=Urgency.NOTE, sentence="", rule="r", at_ms=0, hold_off_min=5))
    book.settle(0)
    book.hail(hail("a"))
    assert len(book.settle(5 * MINUTE)) == 1


def test_under_the_cap_the_most_urgent_go_first_and_the_urgent_always() -> None:
    book = HailBook(HailRules(per_hour=2))
    for key, urgency in (("note", 1), ("wanted", 2), ("urgent", 3), ("also wanted", 2)):
        book.hail(hail(key, Urgency(urgency)))
    assert [found.key for found in book.settle(0)] == ["urgent", "also wanted"]
    assert book.held_back == 2
    book.hail(hail("urgent 2", Urgency.URGENT))
    assert len(book.settle(MINUTE)) == 1


def test_no_limit_means_no_limit() -> None:
    book = HailBook(HailRules(per_hour=0))
    for number in range(200):
        book.hail(hail(str(number)))
    assert len(book.settle(0)) == 200


def test_quiet_hours_past_midnight_hold_all_but_the_urgent() -> None:
    book = HailBook(HailRules(quiet=((22 * 60, 6 * 60),)))
    for hour, expected in ((21, 1), (22, 0), (2, 0), (6, 1)):
        book.hail(hail(f"at {hour}"))
        assert len(book.settle(hour * 60 * MINUTE)) == expected, hour
    book.hail(hail("now", Urgency.URGENT))
    assert len(book.settle(23 * 60 * MINUTE)) == 1


def test_done_stays_quiet_and_released_hails_again() -> None:
    book = HailBook(HailRules(hold_off_min=1))
    book.done("a", 0)
    book.hail(hail("a"))
    assert not book.settle(60 * MINUTE)
    book.release("a")
    book.hail(hail("a"))
    assert len(book.settle(61 * MINUTE)) == 1


def test_who_has_seen_to_the_second_hail_of_a_matter_has_seen_to_the_first() -> None:
    book = HailBook(HailRules(hold_off_min=1))
    book.hail(hail("a"))
    book.hail(hail("a|again", Urgency.URGENT))
    book.settle(5)
    assert book.unheeded_ms("a") == book.unheeded_ms("a|again") == 5
    book.done("a|again", 6)
    assert book.unheeded_ms("a") is book.unheeded_ms("a|again") is None
    book.hail(hail("a"))
    assert not book.settle(60 * MINUTE)
    book.release("a|again")
    book.hail(hail("a"))
    assert len(book.settle(61 * MINUTE)) == 1


def test_what_is_held_back_does_not_count_as_told() -> None:
    book = HailBook(HailRules(quiet=((0, 60),)))
    book.hail(hail("a"))
    book.settle(0)
    assert book.unheeded_ms("a") is None


def test_it_says_why_a_hail_was_held_back() -> None:
    book = HailBook(HailRules(per_hour=4, quiet=((120, 180),)))

    def told(key: str, minute: int, rarity: float = 0.5) -> str | None:
        book.hail(Hail(key=key, urgency=Urgency.WANTED, sentence="", rule="r", at_ms=minute * MINUTE, rarity=rarity))
        book.settle(minute * MINUTE)
        return book.why_silent(key)

    assert [told(key, 1) for key in "abc"] == [None, None, None]
    assert told("a", 5) == "it went out at 00:01:00, held off until 00:31:00"
    assert told("d", 6, rarity=0.1) == "3 of the 4 hails that you want an hour went out, the rest is for what is rarer"
    assert told("e", 7) is None
    assert told("f", 8) == "4 hails went out within the hour, as many as you want"
    book.done("a", 9 * MINUTE)
    assert told("a", 10) == "you have seen to it, held off until 00:09:00"
    book.pause(30, 80 * MINUTE)
    assert told("g", 90) == "hails are paused until 01:50:00"
    assert told("h", 130) == "these are quiet hours"
    assert told("h", 190) is None


def test_hails_of_the_own_station_and_of_those_heard_do_not_crowd_each_other_out() -> None:
    book = HailBook(HailRules(per_hour=2, quiet=((120, 180),)))

    def goes_out(key: str, minute: int, *, own_station: bool) -> bool:
        wanted = hail(key, at_ms=minute * MINUTE)
        book.hail(msgspec.structs.replace(wanted, own_station=own_station, rarity=0.0 if own_station else 0.5))
        return bool(book.settle(minute * MINUTE))

    assert all(goes_out(f"own {number}", number, own_station=True) for number in range(4))
    assert goes_out("a", 5, own_station=False)
    assert goes_out("b", 6, own_station=False)
    assert not goes_out("c", 7, own_station=False)
    assert goes_out("own 4", 8, own_station=True), "though the hour's hails are used up"
    assert not goes_out("own 5", 130, own_station=True), "quiet hours hold it all the same"
    book.pause(30, 190 * MINUTE)
    assert not goes_out("own 5", 191, own_station=True)


def test_what_is_raised_in_vain_again_and_again_is_one_hail_held_back_and_not_forgotten() -> None:
    book = HailBook(HailRules(quiet=((0, 720),)))
    for number in range(10 * KEPT + 1):
        book.hail(hail("stands"))
        book.hail(hail(f"station {number}"))
        book.settle(number * 1000)
    assert book.why_silent("stands") == "these are quiet hours"
    assert book.held_back == 10 * KEPT + 2


@given(st.lists(st.tuples(st.sampled_from("abc"), st.integers(0, 90)), max_size=60))
def test_never_twice_within_a_hold_off(raised: list[tuple[str, int]]) -> None:
    book = HailBook(HailRules(hold_off_min=30))
    last: dict[str, int] = {}
    for key, minute in sorted(raised, key=lambda item: item[1]):
        book.hail(hail(key))
        for found in book.settle(minute * MINUTE):
            assert minute - last.get(found.key, -30) >= 30
            last[found.key] = minute
