"""From the event to the contact: what is filled, what is flagged, what makes two the same."""

from __future__ import annotations

import pytest
from tests.monitor.watch.build import OWN, START, Bench, contact, heard, sent

from watchkeeper.model import Own
from watchkeeper.schema import events
from watchkeeper.watch import contacts


def build(event: events.Contact, own: Own = OWN, locator: str | None = None) -> contacts.Candidate:
    return contacts.build(event, own, locator, None, event.at_ms)


def test_missing_parts_come_from_the_station_and_the_hearings_and_say_so() -> None:
    bench = Bench()
    bench.feed(
        heard("DL5QRM JA1QRV PM95", 1),
        sent("JA1QRV DL5QRM -12", 2),
        heard("DL5QRM JA1QRV R-08", 3),
        sent("JA1QRV DL5QRM RR73", 4),
        contact("JA1QRV"),
    )
    assert bench.watch.candidate is not None
    made = bench.watch.candidate.contact
    assert (made.locator, made.report_sent, made.report_received) == ("PM95", "-12", "-08")
    assert (made.station_call, made.own_locator, made.power_w) == ("DL5QRM", "JO62qm", 10.0)
    assert set(made.filled) >= {"locator", "report_sent", "report_received", "station_call", "own_locator", "power_w"}


def test_what_the_source_says_outweighs_what_we_know() -> None:
    made = build(contact("JA1QRV", locator="PM96", report_sent="-01", power_w=5.0), locator="PM95").contact
    assert (made.locator, made.report_sent, made.power_w) == ("PM96", "-01", 5.0)
    assert not {"locator", "report_sent", "power_w"} & set(made.filled)


def test_place_and_frequency_are_worked_out() -> None:
    made = build(contact("JA1QRV", offset_hz=1234.6, locator="PM95")).contact
    assert made.frequency_hz == 14_075_235
    assert made.band == "20m"
    # ADIF 3.1.7, DXCC_Entity_Code: 339 is Japan
    assert (made.entity_code, made.continent, made.cq_zone) == (339, "AS", 25)
    assert made.distance_km == pytest.approx(8_950, abs=100)


def test_what_adi_cannot_hold_is_flagged_as_it_will_be_written() -> None:
    # ADIF 3.1.7, "ADI Data Format": all of it is ASCII
    made = build(contact("JA1QRV", comment="Grüße", contest_id="WINTER")).contact
    assert made.comment == "Grüße", "the log keeps it as it came"
    (flag,) = made.flags
    assert flag.startswith("COMMENT is written 'Gr")
    assert flag.isascii()
    assert build(contact("JA1QRV", comment="tnx")).contact.flags == ()


@pytest.mark.parametrize("mode", ["FT8", "NOSUCH", "x.y/z", "MFSK", "A" * 16])
def test_any_mode_makes_a_contact(mode: str) -> None:
    assert build(contact("JA1QRV", mode=mode)).contact.mode == mode.upper()


@pytest.mark.parametrize(
    ("change", "flag"),
    [
        ({"ended_at": events.from_ms(START + 86_400_000)}, "future"),
        ({"ended_at": events.from_ms(START - 1000)}, "before it starts"),
        ({"dial_hz": 13_000_000}, "outside every amateur band"),
        ({"call": "DL5QRM/P"}, "own call"),
        ({"call": "NOCALL"}, "no valid call"),
        ({"locator": "ZZ99"}, "no valid locator"),
    ],
)
def test_the_impossible_is_flagged_and_kept(change: dict[str, object], flag: str) -> None:
    made = build(contact(**{"call": "JA1QRV", **change})).contact  # type: ignore[arg-type]
    assert any(flag in words for words in made.flags), made.flags


def test_a_plain_contact_has_no_flags() -> None:
    assert build(contact("JA1QRV", locator="PM95")).contact.flags == ()


def test_the_digest_knows_the_content_and_not_the_envelope() -> None:
    one = contact("JA1QRV")
    repeat = contact("JA1QRV", seq=99, run="other", ack=True, receiver="b")
    assert contacts.digest(one) == contacts.digest(repeat)
    assert contacts.digest(one) != contacts.digest(contact("JA1QRV", report_sent="-01"))


def test_only_a_stored_contact_counts_as_worked() -> None:
    from watchkeeper.store.worked import Dimension
    from watchkeeper.watch.journal import Outcome

    bench = Bench()
    for number, status in enumerate(("refused", "repeated", "failed", "stored"), 1):
        call = f"JA{number}QRV"
        bench.feed(contact(call, f"c-{number}"))
        outcome = Outcome(key="k", status=status, contact=number)
        bench.watch.feed(bench.chunk.number(bench.t, outcome=outcome))
        assert bench.watch.worked.is_worked(Dimension.CALL, call) is (status == "stored")
    assert [made.call for made in bench.seen.logged] == ["JA4QRV"]
    assert bench.watch.contacts_logged == 1
