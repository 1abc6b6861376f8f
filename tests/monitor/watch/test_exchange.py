"""What the exchange tracker makes of conversations."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.monitor.watch.build import Bench, heard, marker, sent

from watchkeeper.model import Doing, OnAir


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
