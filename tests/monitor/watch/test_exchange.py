"""What the exchange tracker makes of conversations."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.monitor.watch.build import START, Bench, contact, heard, marker, sent

from watchkeeper.model import Doing, OnAir
from watchkeeper.schema import events
from watchkeeper.watch.exchange import CALLER_TURNS, VANISHED_TURNS
from watchkeeper.watch.journal import Outcome


def station(bench: Bench, call: str) -> OnAir:
    found = bench.watch.station(call)
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("text", "doing", "partner"),
    [
        ("CQ W1QSB FN42", Doing.CALLING, None),
        ("JA1QRV W1QSB FN42", Doing.ANSWERING, "JA1QRV"),
        ("JA1QRV W1QSB -08", Doing.REPORTING, "JA1QRV"),
        ("JA1QRV W1QSB R-08", Doing.REPORTING, "JA1QRV"),
        ("JA1QRV W1QSB RRR", Doing.CLOSING, "JA1QRV"),
        ("JA1QRV W1QSB RR73", Doing.FREE, "JA1QRV"),
        ("JA1QRV W1QSB 73", Doing.FREE, "JA1QRV"),
    ],
)
def test_a_message_tells_what_its_sender_does(text: str, doing: Doing, partner: str | None) -> None:
    bench = Bench()
    bench.feed(heard(text))
    found = station(bench, "W1QSB")
    assert (found.doing, found.partner) == (doing, partner)


def test_a_farewell_frees_the_partner_that_had_only_rogered() -> None:
    bench = Bench()
    bench.feed(heard("JA1QRV W1QSB RRR"), heard("W1QSB JA1QRV 73", 1))
    assert station(bench, "W1QSB").doing is Doing.FREE
    assert station(bench, "JA1QRV").doing is Doing.FREE


def test_a_repeated_report_brings_back_who_had_said_goodbye() -> None:
    bench = Bench()
    bench.feed(heard("JA1QRV W1QSB RR73"), heard("JA1QRV W1QSB RR73", 2), heard("JA1QRV W1QSB -08", 4))
    assert station(bench, "W1QSB").doing is Doing.REPORTING


def test_the_two_addressee_form_goes_on_with_the_second() -> None:
    bench = Bench()
    bench.feed(heard("JA1QRV RR73; DL5QRM <W1QSB> -08"))
    found = station(bench, "W1QSB")
    assert (found.doing, found.partner, found.to_me) == (Doing.REPORTING, "DL5QRM", True)


def test_an_exchange_with_us_tells_what_it_lacks() -> None:
    bench = Bench()
    bench.feed(sent("CQ DL5QRM JO62", 0), heard("DL5QRM W1QSB FN42", 1))
    assert station(bench, "W1QSB").lacks == ("our report to them", "their report to us", "their roger", "our roger")
    assert station(bench, "W1QSB").waited_since_ms is not None
    bench.feed(sent("W1QSB DL5QRM -12", 2))
    assert station(bench, "W1QSB").waited_since_ms is None
    bench.feed(heard("DL5QRM W1QSB R-08", 3))
    assert station(bench, "W1QSB").lacks == ("our roger",)
    bench.feed(sent("W1QSB DL5QRM RR73", 4))
    assert station(bench, "W1QSB").lacks == ()


def test_two_callers_at_once_are_both_kept() -> None:
    bench = Bench()
    bench.feed(heard("DL5QRM W1QSB FN42", 1, offset_hz=800.0), heard("DL5QRM JA1QRV PM95", 1, offset_hz=1900.0))
    callers = [found.call for found in bench.watch.stations() if found.to_me]
    assert sorted(callers) == ["JA1QRV", "W1QSB"]


def test_a_station_on_two_bands_is_one_station() -> None:
    bench = Bench()
    bench.feed(heard("CQ W1QSB FN42", 0), heard("CQ W1QSB FN42", 1, dial_hz=7_074_000))
    assert len(list(bench.watch.stations())) == 1
    assert station(bench, "W1QSB").band == "40m"


def test_an_unresolved_hash_is_nobody() -> None:
    bench = Bench()
    bench.feed(heard("<...> W1QSB/P RR73"), heard("DL5QRM <...> -08", 1))
    assert [found.call for found in bench.watch.stations()] == ["W1QSB/P"]


def closed(bench: Bench, period: int, *texts: str, **marks: Any) -> None:
    """One period with its hearings, closed by its marker."""
    bench.feed(*[heard(text, period) for text in texts], marker(len(texts), period, final=True, **marks))


def test_a_row_tells_since_when_its_station_does_what_it_does() -> None:
    bench = Bench()
    since = []
    for period, text in enumerate(("CQ W1QSB FN42", "CQ W1QSB FN42", "JA1QRV W1QSB -08", "F5QSA W1QSB -08")):
        closed(bench, 2 * period, text)
        since.append(station(bench, "W1QSB").since_ms - START)
    assert since == [0, 0, 60_000, 90_000]


def test_who_works_two_at_once_takes_further_calls() -> None:
    bench = Bench()
    closed(bench, 0, "JA1QRV RR73; F5QSA <W1QSB> -08")
    assert (station(bench, "W1QSB").doing, station(bench, "W1QSB").free_since_ms) == (Doing.REPORTING, START)
    closed(bench, 2, "F5QSA W1QSB -08")
    assert station(bench, "W1QSB").free_since_ms is None


def test_a_directed_call_says_whom_it_is_for() -> None:
    bench = Bench()
    closed(bench, 0, "CQ DX W1QSB FN42")
    assert station(bench, "W1QSB").directed_to == "DX"
    closed(bench, 2, "CQ W1QSB FN42")
    assert station(bench, "W1QSB").directed_to is None


@pytest.mark.parametrize("answer", ["W1QSB JA1QRV PM95", "W1QSB JA1QRV -10"])
def test_calls_in_vain_are_counted_until_somebody_calls(answer: str) -> None:
    bench = Bench()
    closed(bench, 0, "CQ W1QSB FN42", "CQ W1QSB FN42")
    closed(bench, 2, "CQ W1QSB FN42")
    assert station(bench, "W1QSB").calls_in_vain == 2
    closed(bench, 3, answer)
    row = station(bench, "W1QSB")
    assert (row.calls_in_vain, row.rivals) == (0, (("JA1QRV", START + 45_000),))
    assert (row.doing, row.free_since_ms) == (Doing.CALLING, START), "who is called is not busy yet"


def test_a_station_that_answers_calls_in_vain_no_more() -> None:
    bench = Bench()
    closed(bench, 0, "CQ W1QSB FN42")
    closed(bench, 2, "JA1QRV W1QSB -08")
    assert station(bench, "W1QSB").calls_in_vain == 0


def test_rivals_are_the_newest_six_each_once() -> None:
    bench = Bench()
    closed(bench, 0, "CQ W1QSB FN42")
    calls = ["F5QSA", "F5QSB", "F5QSC", "F5QSD", "F5QSE", "F5QSF", "F5QTA"]
    for number, call in enumerate((*calls, "F5QSC")):
        closed(bench, 2 * number + 1, f"W1QSB {call} JN18")
    rivals = station(bench, "W1QSB").rivals
    assert [call for call, _ in rivals] == ["F5QSB", "F5QSD", "F5QSE", "F5QSF", "F5QTA", "F5QSC"]
    assert rivals[-1][1] == START + 15 * 15_000


def test_a_rival_is_forgotten_after_four_minutes() -> None:
    bench = Bench()
    closed(bench, 0, "CQ W1QSB FN42")
    closed(bench, 1, "W1QSB JA1QRV PM95")
    closed(bench, 3, "W1QSB F5QSA JN18")
    for period in range(4, 17):  # the last of them ends four minutes after the first rival's period began
        closed(bench, period, *["CQ W1QSB FN42"] if period % 2 == 0 else [])
    assert [call for call, _ in station(bench, "W1QSB").rivals] == ["JA1QRV", "F5QSA"]
    closed(bench, 17)
    assert [call for call, _ in station(bench, "W1QSB").rivals] == ["F5QSA"]


# -- what one side tells of the other ---------------------------------------------------------------------------------


@pytest.mark.parametrize("before", [(), ("CQ JA1QRV PM95",), ("CE3QRT JA1QRV -10",)])
def test_what_the_two_addressee_form_tells_the_second_holds_whoever_the_first_is(before: tuple[str, ...]) -> None:
    bench = Bench()
    closed(bench, 1, "CQ F5QSA JN18", *before)
    closed(bench, 2, "JA1QRV RR73; F5QSA <W1QSB> -08")
    assert [call for call, _ in station(bench, "F5QSA").rivals] == ["W1QSB"]


def test_it_holds_also_when_the_first_has_said_something_newer() -> None:
    bench = Bench()
    closed(bench, 1, "CQ F5QSA JN18")
    closed(bench, 3, "CQ JA1QRV PM95")
    bench.feed(heard("JA1QRV RR73; F5QSA <W1QSB> -08", 2))
    assert [call for call, _ in station(bench, "F5QSA").rivals] == ["W1QSB"]


def test_a_farewell_says_since_when_the_partner_is_free() -> None:
    bench = Bench()
    closed(bench, 0, "JA1QRV W1QSB RRR")
    assert station(bench, "W1QSB").free_since_ms is None
    closed(bench, 1, "W1QSB JA1QRV 73")
    row = station(bench, "W1QSB")
    assert (row.since_ms, row.free_since_ms) == (START + 15_000, START + 15_000)


@pytest.mark.parametrize("roger", ["W1QSB JA1QRV RRR", "W1QSB JA1QRV RR73"])
def test_a_roger_lets_the_partner_close(roger: str) -> None:
    bench = Bench()
    closed(bench, 0, "JA1QRV W1QSB -08")
    closed(bench, 1, "W1QSB JA1QRV R-11")
    assert station(bench, "W1QSB").doing is Doing.REPORTING, "a report is answered, not closed"
    for period in (3, 5):
        closed(bench, period, roger)
        row = station(bench, "W1QSB")
        assert (row.doing, row.since_ms) == (Doing.CLOSING, START + 45_000)


@pytest.mark.parametrize("said", ["W1QSB JA1QRV 73", "W1QSB JA1QRV RRR", "W1QSB JA1QRV R-11"])
def test_who_sent_in_the_same_period_has_not_copied_its_partner(said: str) -> None:
    bench = Bench()
    closed(bench, 0, "JA1QRV W1QSB -08", said)
    row = station(bench, "W1QSB")
    assert (row.doing, row.partner, row.since_ms) == (Doing.REPORTING, "JA1QRV", START)


# -- exchanges with us ------------------------------------------------------------------------------------------------

#: a call with a prefix that is given to nobody, far below the mode's limit, and marked by the decoder itself
PHANTOM: dict[str, Any] = {"snr_db": -25.0, "low_confidence": True}


def test_a_phantom_of_our_call_is_no_caller_unless_we_called_it() -> None:
    bench = Bench()
    bench.feed(heard("DL5QRM QX9QSB/P R-15", 1, **PHANTOM))
    row = station(bench, "QX9QSB/P")
    assert (row.to_me, row.calls_me, row.lacks) == (True, False, ())
    bench.feed(sent("<QX9QSB/P> DL5QRM", 2), heard("DL5QRM QX9QSB/P R-15", 3, **PHANTOM))
    row = station(bench, "QX9QSB/P")
    assert (row.calls_me, row.lacks) == (True, ("our report to them", "our roger"))


@pytest.mark.parametrize(
    ("text", "calls"), [("DL5QRM W1QSB R-08", True), ("DL5QRM W1QSB RRR", False), ("DL5QRM W1QSB 73", False)]
)
def test_an_acknowledged_report_wants_an_answer_and_a_mere_goodbye_does_not(text: str, calls: bool) -> None:
    bench = Bench()
    closed(bench, 1, text)
    row = station(bench, "W1QSB")
    assert row.calls_me is calls
    assert row.waited_since_ms == (START + 15_000 if calls else None)


def test_a_contest_exchange_is_known_to_its_row() -> None:
    bench = Bench()
    closed(bench, 1, "DL5QRM W1QSB 579 MA")
    assert station(bench, "W1QSB").lacks == ("our report to them", "their roger", "our roger")
    bench.feed(sent("W1QSB DL5QRM R 559 0013", 2))
    assert station(bench, "W1QSB").lacks == ("their roger",)


@pytest.mark.parametrize("first", ["JA1QRV", "<...>"])
def test_our_own_message_to_two_counts_for_the_second_whoever_the_first_is(first: str) -> None:
    bench = Bench()
    closed(bench, 1, "CQ W1QSB FN42")
    bench.feed(sent(f"{first} RR73; W1QSB <DL5QRM> -08", 2))
    row = station(bench, "W1QSB")
    assert (row.tries, row.tried_ms) == (1, START + 30_000)


@pytest.mark.parametrize("text", ["W1QSB DL5QRM JO62", "W1QSB DL5QRM -15"])
def test_whom_we_call_does_not_call_us_and_our_tries_are_forgotten_after_ten_minutes(text: str) -> None:
    bench = Bench()
    closed(bench, 0, "CQ W1QSB FN42")
    bench.feed(sent(text, 1))
    for period in range(2, 41):  # the last of them ends ten minutes after our call
        closed(bench, period, *["CQ W1QSB FN42"] if period % 2 == 0 else [])
        row = station(bench, "W1QSB")
        assert (row.tries, row.tried_ms, row.calls_me) == (1, START + 15_000, False)
    closed(bench, 41)
    row = station(bench, "W1QSB")
    assert (row.tries, row.tried_ms) == (0, None)


def test_our_last_word_ends_its_call() -> None:
    bench = Bench()
    closed(bench, 1, "DL5QRM W1QSB FN42")
    bench.feed(sent("W1QSB DL5QRM -12", 2))
    assert station(bench, "W1QSB").calls_me is True
    closed(bench, 3, "DL5QRM W1QSB R-08")
    bench.feed(sent("W1QSB DL5QRM RR73", 4))
    assert station(bench, "W1QSB").calls_me is False


def test_a_logged_contact_leaves_nothing_to_wait_for() -> None:
    bench = Bench()
    closed(bench, 1, "DL5QRM W1QSB R-08")
    bench.feed(contact("W1QSB"))
    candidate = bench.watch.candidate
    assert candidate is not None
    outcome = Outcome(key=candidate.contact.key, status="stored", contact=1)
    bench.watch.feed(bench.chunk.number(bench.t, outcome=outcome))
    row = station(bench, "W1QSB")
    assert (row.calls_me, row.waited_since_ms, row.lacks) == (False, None, ())


# -- silence ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("listened_s", "missed"), [(None, 1), (7.5, 1), (7.4, 0), (0.0, 0)])
def test_a_turn_counts_as_missed_when_we_listened_to_half_of_it(listened_s: float | None, missed: int) -> None:
    bench = Bench()
    closed(bench, 0, "CQ W1QSB FN42")
    closed(bench, 2, listened_s=listened_s)
    assert station(bench, "W1QSB").missed == missed


def test_a_turn_in_which_we_sent_is_not_missed_whatever_the_marker_says() -> None:
    bench = Bench()
    closed(bench, 0, "CQ W1QSB FN42")
    bench.feed(sent("CQ DL5QRM JO62", 2))
    closed(bench, 2)
    assert station(bench, "W1QSB").missed == 0


def test_a_station_misses_turns_of_its_own_band_and_mode_alone() -> None:
    bench = Bench()
    closed(bench, 0, "CQ W1QSB FN42")
    bench.feed(heard("CQ JA1QRV PM95", 2, dial_hz=7_074_000), marker(1, 2, dial_hz=7_074_000, final=True))
    assert station(bench, "W1QSB").missed == 0
    closed(bench, 4)
    assert (station(bench, "W1QSB").missed, station(bench, "JA1QRV").missed) == (1, 0)


def test_a_runner_that_falls_silent_was_calling_to_the_last() -> None:
    bench = Bench()
    closed(bench, 0, "CQ W1QSB FN42")
    for period in range(2, 30, 2):
        closed(bench, period)
    row = station(bench, "W1QSB")
    assert (row.doing, row.since_ms, row.free_since_ms) == (Doing.CALLING, START, START)


def test_a_caller_that_repeats_itself_waits_since_its_first_call() -> None:
    bench = Bench()
    for period in (1, 3, 5):
        closed(bench, period, "DL5QRM W1QSB FN42")
    assert station(bench, "W1QSB").waited_since_ms == START + 15_000


def test_a_caller_that_begins_with_another_beside_a_farewell_waits_no_more() -> None:
    bench = Bench()
    closed(bench, 1, "DL5QRM W1QSB FN42")
    closed(bench, 3, "JA1QRV RR73; F5QSA <W1QSB> -08")
    row = station(bench, "W1QSB")
    assert (row.calls_me, row.waited_since_ms) == (False, None)


def test_a_caller_has_given_up_after_its_turns() -> None:
    bench = Bench()
    closed(bench, 1, "DL5QRM W1QSB FN42")
    for turn in range(1, CALLER_TURNS):
        closed(bench, 1 + 2 * turn)
        assert station(bench, "W1QSB").calls_me
    closed(bench, 1 + 2 * CALLER_TURNS)
    row = station(bench, "W1QSB")
    assert (row.calls_me, row.waited_since_ms) == (False, None)


def test_after_four_minutes_nothing_is_known_of_a_caller_though_we_listened_to_no_turn() -> None:
    bench = Bench()
    closed(bench, 1, "DL5QRM W1QSB FN42")
    for period in range(2, 17):  # the last of them ends four minutes after the call's period began
        closed(bench, period, listened_s=0.0)
        assert station(bench, "W1QSB").calls_me
    closed(bench, 17, listened_s=0.0)
    assert not station(bench, "W1QSB").calls_me


def test_after_four_minutes_a_busy_station_is_free_though_we_listened_to_no_turn() -> None:
    bench = Bench()
    closed(bench, 0, "JA1QRV W1QSB -08")
    for period in range(1, 16):
        closed(bench, period, listened_s=0.0)
        assert station(bench, "W1QSB").doing is Doing.REPORTING
    closed(bench, 16, listened_s=0.0)
    row = station(bench, "W1QSB")
    end_ms = START + 17 * 15_000
    assert (row.doing, row.since_ms, row.free_since_ms) == (Doing.FREE, end_ms, end_ms)


def test_a_busy_station_is_free_after_its_turns_were_silent() -> None:
    bench = Bench()
    closed(bench, 0, "JA1QRV W1QSB -08")
    for turn in range(1, VANISHED_TURNS):
        closed(bench, 2 * turn)
        assert station(bench, "W1QSB").doing is Doing.REPORTING
    closed(bench, 2 * VANISHED_TURNS)
    assert station(bench, "W1QSB").doing is Doing.FREE


def test_in_a_mode_of_short_periods_it_is_given_a_minute_at_least() -> None:
    bench = Bench()
    bench.feed(heard("JA1QRV W1QSB -08", 0, mode="FT4"), marker(1, mode="FT4", final=True))
    freed_ms = None
    for number in range(1, 12):  # FT4: periods of 7.5 s (QEX July/August 2020)
        at = events.from_ms(START + number * 7_500)
        bench.feed(msgspec.structs.replace(marker(0, mode="FT4", final=True), at=at))
        if freed_ms is None and station(bench, "W1QSB").doing is Doing.FREE:
            freed_ms = (number + 1) * 7_500
    assert freed_ms == 67_500


@pytest.mark.parametrize(("partner_says", "busy"), [("W1QSB JA1QRV R-11", True), ("CE3QRT JA1QRV -10", False)])
def test_a_partner_that_goes_on_with_it_keeps_a_silent_station_busy(partner_says: str, busy: bool) -> None:
    bench = Bench()
    closed(bench, 0, "JA1QRV W1QSB -08")
    for period in range(1, 9):
        closed(bench, period, *[partner_says] if period % 2 else [])
    assert (station(bench, "W1QSB").doing is Doing.REPORTING) is busy


STEPS = ("{b} {a} FN42", "{b} {a} -08", "{b} {a} R-08", "{b} {a} RRR", "{b} {a} RR73", "{b} {a} 73", "CQ {a} FN42")
CALLS = ("W1QSB", "JA1QRV", "DL5QRM", "F5QSA")


@given(
    st.lists(
        st.tuples(st.sampled_from(STEPS), st.sampled_from(CALLS), st.sampled_from(CALLS), st.booleans()), max_size=30
    )
)
def test_no_conversation_however_odd_confuses_the_rows(talk: list[tuple[str, str, str, bool]]) -> None:
    """Whatever is said and lost: a heard station has one row, and it shows its newest message."""
    bench = Bench()
    newest: dict[str, str] = {}
    for period, (form, a, b, lost) in enumerate(talk):
        if a == b or a == "DL5QRM" or lost:
            continue
        text = form.format(a=a, b=b)
        bench.feed(heard(text, period), marker(1, period, final=True))
        newest[a] = text
    assert {found.call: found.text for found in bench.watch.stations()} == newest
    for found in bench.watch.stations():
        assert found.to_me == newest[found.call].startswith("DL5QRM ")
        if not found.to_me:
            continue
        assert found.lacks == () or found.lacks[-1] in ("our roger", "their roger")
