"""Contacts as ADIF records: field names and enumerations by ADIF 3.1.7, the way there and back by property."""

from __future__ import annotations

import io
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.adif import AdifValueError, read, tables, write_record
from watchkeeper.adif.checker import check
from watchkeeper.adif.contact import digest, from_record, own_references, received_fields, to_record
from watchkeeper.model import Contact
from watchkeeper.radio.band import BANDS

WHEN_MS = 1_777_670_100_000  # 2026-05-01 21:15:00 UTC


def contact(**changes: Any) -> Contact:
    values: dict[str, Any] = {
        "key": "DL5QRM|shack|17",
        "source": "shack",
        "source_id": "17",
        "call": "JA1QRV",
        "started_ms": WHEN_MS,
        "ended_ms": WHEN_MS + 75_000,
        "band": "20m",
        "frequency_hz": 14_075_523,
        "mode": "FT4",
        "station_call": "DL5QRM",
    }
    return Contact(**(values | changes))


def there_and_back(one: Contact) -> Contact:
    (record,) = read(io.BytesIO(write_record(to_record(one))))
    return from_record(record).contact


texts = st.text(st.characters(min_codepoint=33, max_codepoint=126), min_size=1, max_size=12)
upper = texts.map(str.upper)
locators = st.from_regex(r"[A-R]{2}[0-9]{2}([A-X]{2}([0-9]{2}([A-X]{2})?)?)?", fullmatch=True)
references = st.lists(
    st.tuples(
        st.sampled_from(["POTA", "SOTA", "WWFF", "IOTA", "CASTLES"]),
        st.from_regex(r"[A-Z]{2}-[0-9]{4}", fullmatch=True),
    ),
    max_size=4,
).map(tuple)
numbers = st.integers(0, 10**8).map(lambda n: n / 1000)
contacts = st.builds(
    contact,
    call=upper,
    started_ms=st.integers(0, 4_000_000_000_000),
    ended_ms=st.integers(0, 4_000_000_000_000),
    band=st.sampled_from([band.name for band in BANDS]),
    frequency_hz=st.none(),
    dial_hz=st.none() | st.integers(0, 10**12),
    offset_hz=st.none() | st.floats(-20_000, 200_000),
    mode=st.sampled_from(["FT8", "FT4", "SSB", "USB", "CW", "JT65", "Q65", "RTTY", "PSK31"]),
    revision=st.integers(0, 9),
    report_sent=st.none() | texts,
    report_received=st.none() | texts,
    locator=st.none() | locators,
    own_locator=st.none() | locators,
    station_call=upper,
    operator=st.none() | upper,
    power_w=st.none() | numbers,
    distance_km=st.none() | numbers,
    entity_code=st.none() | st.integers(0, 999),
    cq_zone=st.none() | st.integers(1, 40),
    itu_zone=st.none() | st.integers(1, 90),
    serial_sent=st.none() | st.integers(0, 10**6),
    serial_received=st.none() | st.integers(0, 10**6),
    name=st.none() | texts,
    comment=st.none() | texts,
    contest_id=st.none() | texts,
    exchange_sent=st.none() | texts,
    activations=references,
    their_activations=references,
    confirmed=st.booleans(),
    filled=st.lists(st.sampled_from(["locator", "power_w"]), unique=True).map(tuple),
    flags=st.lists(st.sampled_from(["ends in the future", "no valid locator"]), unique=True).map(tuple),
)


@given(contacts)
def test_a_contact_comes_back_as_it_was(one: Contact) -> None:
    assert there_and_back(one) == one


def test_the_fields_are_the_standards() -> None:
    one = contact(
        operator="DL5QRT",
        locator="PM95UQ",
        own_locator="JO62QM12AB",
        power_w=5.0,
        distance_km=8945.3,
        entity_code=339,
        entity="Japan",
        cq_zone=25,
        itu_zone=45,
        continent="AS",
        propagation="F2",
        report_sent="-07",
        report_received="-12",
        activations=(("POTA", "DE-0123"), ("POTA", "DE-0124"), ("SOTA", "DM/BW-001")),
    )
    record = to_record(one)
    own = {name for name in record if name.startswith("APP_")}
    assert record.keys() - own <= tables.fields().keys()
    assert [p for p in check(io.BytesIO(b"x<EOH>" + write_record(record))) if p.severity == "error"] == []
    assert (record["MODE"], record["SUBMODE"]) == ("MFSK", "FT4")  # ADIF 3.1.7, Submode table
    assert record["FREQ"] == "14.075523"
    assert (record["MY_GRIDSQUARE"], record["MY_GRIDSQUARE_EXT"]) == ("JO62QM12", "AB")  # 9th and 10th go to _EXT
    assert (record["MY_SIG"], record["MY_SIG_INFO"]) == ("POTA", "DE-0123")
    assert (record["MY_POTA_REF"], record["MY_SOTA_REF"]) == ("DE-0123,DE-0124", "DM/BW-001")
    assert "COMMENT" not in record


def test_what_a_contact_does_not_have_has_no_field() -> None:
    bare = contact(band=None, frequency_hz=None, mode="FT8", station_call=None)
    assert to_record(bare) == {
        "CALL": "JA1QRV",
        "QSO_DATE": "20260501",
        "TIME_ON": "211500",
        "QSO_DATE_OFF": "20260501",
        "TIME_OFF": "211615",
        "MODE": "FT8",
        "APP_WATCHKEEPER_KEY": "DL5QRM|shack|17",
        "APP_WATCHKEEPER_SOURCE": "shack",
        "APP_WATCHKEEPER_ID": "17",
    }
    assert there_and_back(bare) == bare


FOREIGN = {
    "CALL": "ja1qrv",
    "QSO_DATE": "20260501",
    "TIME_ON": "2115",
    "FREQ": "14.075523",
    "MODE": "FT4",
    "OPERATOR": "DL5QRM",
    "LOTW_QSL_RCVD": "Y",
    "NAME": "Taro",
    "NAME_INTL": "太郎",
    "APP_OTHER_THING": "kept",
}


def test_a_foreign_record_is_understood_and_mended() -> None:
    taken = from_record(FOREIGN)
    one = taken.contact
    assert (one.call, one.band, one.mode, one.frequency_hz) == ("JA1QRV", "20m", "FT4", 14_075_523)
    assert (one.started_ms, one.ended_ms) == (WHEN_MS, WHEN_MS)
    assert one.station_call == "DL5QRM"  # ADIF 3.1.7, OPERATOR: the station's call where STATION_CALLSIGN is missing
    assert one.confirmed
    assert one.name == "太郎"
    assert one.extra == {"LOTW_QSL_RCVD": "Y", "APP_OTHER_THING": "kept"}
    assert (one.source, one.source_id) == ("import", digest(FOREIGN))
    assert taken.mends == ("'FT4' is a submode of MFSK", "BAND is missing: 20m by the frequency")


def test_band_and_frequency_that_disagree_are_flagged_and_kept() -> None:
    one = from_record(FOREIGN | {"BAND": "40m"}).contact
    assert (one.band, one.frequency_hz) == ("40m", 14_075_523)
    assert one.flags == ("band 40m and frequency 14.075523 MHz disagree",)


@pytest.mark.parametrize(
    ("changes", "field", "why"),
    [
        ({"CALL": ""}, "CALL", "missing"),
        ({"CALL": "  "}, "CALL", "missing"),
        ({"CALL": "JA1\x07QRV"}, "CALL", "has control characters"),
        ({"QSO_DATE": ""}, "QSO_DATE", "missing"),
        ({"QSO_DATE": "20260230"}, "QSO_DATE", "'20260230' is not a date of the calendar"),
        ({"TIME_ON": "2515"}, "TIME_ON", "'2515' is not a time of day"),
        ({"MODE": ""}, "MODE", "missing"),
        ({"MODE": "FT\x074"}, "MODE", "has control characters"),
    ],
)
def test_what_makes_no_contact_is_refused(changes: dict[str, str], field: str, why: str) -> None:
    with pytest.raises(AdifValueError) as caught:
        from_record(FOREIGN | changes)
    assert (caught.value.field, caught.value.why) == (field, why)


def test_numbers_that_are_none_stay_as_they_came() -> None:
    taken = from_record(FOREIGN | {"TX_PWR": "QRP", "DXCC": "Japan"})
    assert taken.contact.power_w is None
    assert taken.contact.extra["TX_PWR"] == "QRP"
    assert taken.mends[-2:] == (
        "DXCC 'Japan' is no number: kept as it came",
        "TX_PWR 'QRP' is no number: kept as it came",
    )


def test_own_fields_that_somebody_edited_do_no_harm() -> None:
    record = to_record(contact(offset_hz=1523.0)) | {"APP_WATCHKEEPER_OFFSET_HZ": "wide"}
    taken = from_record(record)
    assert (taken.contact.call, taken.contact.extra) == ("JA1QRV", {})
    (mend,) = taken.mends
    assert mend.startswith("APP_WATCHKEEPER_… fields cannot be understood (")
    assert mend.endswith("'wide'): left out")


@pytest.mark.parametrize("references", ["[", "5", '["POTA"]', '[["POTA"]]', "[1]"])
def test_own_references_that_somebody_edited_do_no_harm(references: str) -> None:
    record = to_record(contact(activations=(("CASTLES", "DE-0001"), ("CASTLES", "DE-0002"))))
    taken = from_record(record | {"APP_WATCHKEEPER_MY_REFERENCES": references})
    assert taken.contact.activations == (("CASTLES", "DE-0001"),)
    assert taken.contact.extra == {}


def test_the_references_of_a_record_are_read_without_the_contact() -> None:
    activations = (("POTA", "DE-0123"), ("POTA", "DE-0124"), ("SOTA", "DM/BW-001"), ("CASTLES", "DE-0001"))
    fields = to_record(contact(activations=activations, their_activations=(("POTA", "JA-0001"),)))
    before = dict(fields)
    assert own_references(fields) == activations
    assert fields == before
    assert own_references({"SIG": "POTA", "SIG_INFO": "JA-0001"}) == ()


def test_references_are_read_from_every_field_of_the_standard() -> None:
    fields = {
        "MY_SIG": "POTA",
        "MY_SIG_INFO": "DE-0123",
        "MY_POTA_REF": "DE-0123, DE-0124,",
        "MY_SOTA_REF": "DM/BW-001",
        "MY_WWFF_REF": "DLFF-0001",
        "MY_IOTA": "EU-005",
        "POTA_REF": "JA-0001",
        "IOTA": "AS-007",
    }
    taken = from_record(STRANGE | fields).contact
    assert taken.activations == (
        ("POTA", "DE-0123"), ("POTA", "DE-0124"), ("SOTA", "DM/BW-001"), ("WWFF", "DLFF-0001"), ("IOTA", "EU-005"),
    )  # fmt: skip
    assert taken.their_activations == (("POTA", "JA-0001"), ("IOTA", "AS-007"))
    assert taken.extra == {}


def test_what_was_received_is_picked_from_the_fields_of_the_standard() -> None:
    # ADIF 3.1.7, fields: QSL_RCVD, QSLRDATE, QSL_RCVD_VIA; LOTW_, EQSL_ and DCL_QSL_RCVD and …_QSLRDATE
    received = {
        "QSL_RCVD": "Y",
        "QSLRDATE": "20260601",
        "QSL_RCVD_VIA": "B",
        "LOTW_QSL_RCVD": "Y",
        "LOTW_QSLRDATE": "20260602",
        "EQSL_QSL_RCVD": "V",
        "EQSL_QSLRDATE": "20260603",
        "DCL_QSL_RCVD": "Y",
        "DCL_QSLRDATE": "20260604",
    }
    assert received.keys() <= tables.fields().keys()
    others = {"QSL_SENT": "Y", "QSLSDATE": "20260601", "CALL": "W1QSB", "LOTW_QSL_SENT": "Y"}
    assert received_fields(received | others) == received
    assert received_fields({"QSL_RCVD": "", "QSLRDATE": "20260601"}) == {"QSLRDATE": "20260601"}


@pytest.mark.parametrize("name", ["QSL_RCVD", "LOTW_QSL_RCVD", "EQSL_QSL_RCVD", "DCL_QSL_RCVD"])
def test_a_contact_is_confirmed_by_any_of_the_ways_and_by_nothing_else(name: str) -> None:
    assert [from_record(STRANGE | {name: value}).contact.confirmed for value in "YVynR"] == [
        True, True, True, False, False,
    ]  # fmt: skip


def test_an_own_confirmation_is_written_only_where_the_standards_fields_do_not_say_it() -> None:
    assert to_record(contact(confirmed=True))["APP_WATCHKEEPER_CONFIRMED"] == "Y"
    said = to_record(contact(confirmed=True, extra={"QSL_RCVD": "v"}))
    assert "APP_WATCHKEEPER_CONFIRMED" not in said
    assert from_record(said).contact.confirmed


def test_fields_of_other_programs_give_way_to_our_own() -> None:
    record = to_record(contact(name="Taro", extra={"NAME": "Jiro", "RIG": "home made"}))
    assert (record["NAME"], record["RIG"]) == ("Taro", "home made")
    assert to_record(contact(extra={"NAME": "Jiro"}))["NAME"] == "Jiro"


def test_a_record_of_our_own_that_lost_some_of_its_fields_is_read_by_the_standards() -> None:
    record = to_record(contact())
    for name in ("SOURCE", "ID"):
        del record[f"APP_WATCHKEEPER_{name}"]
    taken = from_record(record).contact
    assert (taken.key, taken.source, taken.source_id, taken.revision) == ("DL5QRM|shack|17", "", "", 0)
    assert (taken.started_ms, taken.ended_ms, taken.filled, taken.flags) == (WHEN_MS, WHEN_MS + 75_000, (), ())


def test_fractions_of_a_second_are_kept_and_only_where_there_are_some() -> None:
    whole = to_record(contact())
    assert not {"APP_WATCHKEEPER_STARTED_MS", "APP_WATCHKEEPER_ENDED_MS"} & whole.keys()
    record = to_record(contact(started_ms=WHEN_MS + 1, ended_ms=WHEN_MS + 999))
    assert record["APP_WATCHKEEPER_STARTED_MS"] == str(WHEN_MS + 1)
    assert record["APP_WATCHKEEPER_ENDED_MS"] == str(WHEN_MS + 999)
    assert (record["TIME_ON"], record["TIME_OFF"]) == ("211500", "211500")


def test_the_digest_does_not_hang_on_order_or_case() -> None:
    turned = {name.lower(): value for name, value in reversed(FOREIGN.items())}
    assert digest(turned) == digest(FOREIGN)
    assert digest(FOREIGN | {"NAME": "Jiro"}) != digest(FOREIGN)


STRANGE = {"CALL": "ja1qrv", "QSO_DATE": "20260501", "TIME_ON": "2115", "BAND": "20M", "MODE": "FT8"}


def test_a_foreign_record_gets_a_key_of_its_own_and_capitals_where_the_standard_has_them() -> None:
    fields = STRANGE | {"STATION_CALLSIGN": "dl5qrm"}
    found = from_record(fields, source="old log").contact
    assert (found.call, found.band, found.station_call) == ("JA1QRV", "20m", "DL5QRM")
    assert found.key == f"DL5QRM|old log|{digest(fields)}"
    assert (found.confirmed, found.flags) == (False, ())
    assert from_record(STRANGE | {"LOTW_QSL_RCVD": "y"}).contact.confirmed


def test_a_long_locator_comes_from_both_of_its_fields() -> None:
    long = {"GRIDSQUARE": "PM95UQ12", "GRIDSQUARE_EXT": "AB", "MY_GRIDSQUARE": "JO62QM12", "MY_GRIDSQUARE_EXT": "CD34"}
    found = from_record(STRANGE | long).contact
    assert (found.locator, found.own_locator, found.extra) == ("PM95UQ12AB", "JO62QM12CD34", {})


@pytest.mark.parametrize("station", ["JA1QRV", "JA1QRV/P", "PJ4/JA1QRV"])
def test_a_contact_with_the_own_call_is_flagged_in_whatever_form(station: str) -> None:
    assert from_record(STRANGE | {"STATION_CALLSIGN": station}).contact.flags
    assert not from_record(STRANGE | {"STATION_CALLSIGN": "JA1QRX"}).contact.flags


def test_an_award_needs_both_its_name_and_the_reference() -> None:
    assert from_record(STRANGE | {"MY_SIG": "POTA", "MY_SIG_INFO": "DE-0001"}).contact.activations == (
        ("POTA", "DE-0001"),
    )
    for half in ({"MY_SIG": "POTA"}, {"MY_SIG_INFO": "DE-0001"}):
        found = from_record(STRANGE | half).contact
        assert (found.activations, {name: found.extra[name] for name in half}) == ((), half)


@pytest.mark.parametrize(
    ("fields", "mends"),
    [
        ({"TIME_OFF": "9999"}, ["TIME_OFF: '9999' is not a time of day: the end is left out"]),
        ({"SUBMODE": "\x1b"}, ["SUBMODE has control characters: left out"]),
        ({"BAND": "2\x000m"}, ["BAND has control characters: left out"]),
        ({"TX_PWR": "ten"}, ["TX_PWR 'ten' is no number: kept as it came"]),
        ({"TX_PWR": "-1"}, ["TX_PWR '-1' is no number: kept as it came"]),
        ({"TX_PWR": "1000000000"}, ["TX_PWR '1000000000' is no number: kept as it came"]),
        ({"TX_PWR": "nan"}, ["TX_PWR 'nan' is no number: kept as it came"]),
        ({"CQZ": "x"}, ["CQZ 'x' is no number: kept as it came"]),
        ({"FREQ": "x"}, ["FREQ: 'x' is not a number of MHz: kept as it came"]),
        ({"FREQ": "5", "BAND": ""}, []),
        ({"TX_PWR": "0"}, []),
        ({"TX_PWR": " 5 "}, []),
    ],
)
def test_what_cannot_be_understood_is_told_and_the_rest_is_taken(fields: dict[str, str], mends: list[str]) -> None:
    taken = from_record(STRANGE | fields)
    assert list(taken.mends) == mends
    assert taken.contact.started_ms == WHEN_MS
    assert taken.contact.ended_ms == WHEN_MS
