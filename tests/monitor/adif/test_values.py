"""Frequencies to the Hz, and the rule that makes a contact end after midnight."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.adif import AdifValueError, adif_date, adif_time, freq_mhz, hz, parse_when


@pytest.mark.parametrize(
    ("frequency_hz", "text"),
    [
        (14_075_123, "14.075123"),
        (7_000_000, "7"),
        (136_000, "0.136"),
        (1_240_000_001, "1240.000001"),
        (7_074_500, "7.0745"),
    ],
)
def test_frequencies_are_exact_decimal_text(frequency_hz: int, text: str) -> None:
    assert freq_mhz(frequency_hz) == text
    assert hz(text) == frequency_hz


@given(st.integers(1, 7_500_000_000_000))
def test_every_frequency_of_the_standard_comes_back(frequency_hz: int) -> None:
    assert hz(freq_mhz(frequency_hz)) == frequency_hz


@pytest.mark.parametrize(("text", "value"), [(".1357", 135_700), ("14.", 14_000_000), (" 14.0740000 ", 14_074_000)])
def test_other_spellings_of_a_number_are_read(text: str, value: int) -> None:
    assert hz(text) == value


@pytest.mark.parametrize("text", ["", "14,074", "-14.074", "1e3", "NaN", "Infinity", "14.0.7", "9" * 40, "٣"])
def test_what_is_no_frequency_is_refused(text: str) -> None:
    with pytest.raises(AdifValueError) as caught:
        hz(text)
    assert (caught.value.field, caught.value.why) == ("FREQ", f"{text!r} is not a number of MHz")


@pytest.mark.parametrize("text", ["0", "0.0000004", "10000000", "999999999999"])
def test_what_is_beyond_the_radio_spectrum_is_refused(text: str) -> None:
    with pytest.raises(AdifValueError) as caught:
        hz(text)
    assert (caught.value.field, caught.value.why) == ("FREQ", f"{text!r} MHz is not a radio frequency")
    assert (hz("9999999.999999"), hz("0.000001")) == (10**13 - 1, 1)


def when(**fields: str) -> tuple[datetime, datetime | None]:
    return parse_when({"QSO_DATE": "20200714", "TIME_ON": "2355"} | fields)


START = datetime(2020, 7, 14, 23, 55, tzinfo=UTC)


def test_the_published_example_ends_on_the_next_day() -> None:
    # ADIF 3.1.7, TIME_OFF: QSO_DATE 20200714, TIME_ON 2355, TIME_OFF 0100 ends on 15 July 2020
    assert when(TIME_OFF="0100") == (START, datetime(2020, 7, 15, 1, 0, tzinfo=UTC))


@pytest.mark.parametrize(
    ("fields", "end"),
    [
        ({}, None),
        ({"TIME_OFF": ""}, None),
        ({"TIME_OFF": "235630"}, START + timedelta(seconds=90)),
        ({"TIME_OFF": "2355"}, START),
        ({"TIME_OFF": "235500"}, START),
        ({"TIME_OFF": "0001", "QSO_DATE_OFF": "20200716"}, START + timedelta(days=1, minutes=6)),
    ],
)
def test_the_end_of_a_contact(fields: dict[str, str], end: datetime | None) -> None:
    assert when(**fields) == (START, end)


def test_an_end_given_to_the_minute_is_not_before_a_start_in_the_same_minute() -> None:
    start = START + timedelta(seconds=30)
    assert when(TIME_ON="235530", TIME_OFF="2355") == (start, start)
    assert when(TIME_ON="235530", TIME_OFF="2355", QSO_DATE_OFF="20200714") == (start, start)


@pytest.mark.parametrize(
    ("fields", "field", "why"),
    [
        ({"QSO_DATE": ""}, "QSO_DATE", "missing"),
        ({"QSO_DATE": "20200230"}, "QSO_DATE", "'20200230' is not a date of the calendar"),
        ({"QSO_DATE": "2020-07-14"}, "QSO_DATE", "'2020-07-14' is not YYYYMMDD"),
        ({"QSO_DATE": "00000101"}, "QSO_DATE", "'00000101' is not a date of the calendar"),
        ({"TIME_ON": ""}, "TIME_ON", "missing"),
        ({"TIME_ON": "2460"}, "TIME_ON", "'2460' is not a time of day"),
        ({"TIME_ON": "23:55"}, "TIME_ON", "'23:55' is not HHMM or HHMMSS"),
        ({"TIME_ON": "²³55"}, "TIME_ON", "'²³55' is not HHMM or HHMMSS"),
        ({"TIME_OFF": "1"}, "TIME_OFF", "'1' is not HHMM or HHMMSS"),
        (
            {"TIME_OFF": "0100", "QSO_DATE_OFF": "20200714"},
            "TIME_OFF",
            "the contact ends at 2020-07-14 01:00:00, before its start",
        ),
        ({"TIME_OFF": "0100", "QSO_DATE_OFF": "x"}, "QSO_DATE_OFF", "'x' is not YYYYMMDD"),
        (
            {"QSO_DATE": "99991231", "TIME_OFF": "0100"},
            "TIME_OFF",
            "the contact ends after the last day of the calendar",
        ),
        (
            {"TIME_OFF": "2354", "QSO_DATE_OFF": "20200714"},
            "TIME_OFF",
            "the contact ends at 2020-07-14 23:54:00, before its start",
        ),
        ({"TIME_OFF": "2360"}, "TIME_OFF", "'2360' is not a time of day"),
        ({"TIME_ON": "235"}, "TIME_ON", "'235' is not HHMM or HHMMSS"),
        ({"TIME_ON": "2355590"}, "TIME_ON", "'2355590' is not HHMM or HHMMSS"),
    ],
)
def test_an_impossible_time_names_its_field(fields: dict[str, str], field: str, why: str) -> None:
    with pytest.raises(AdifValueError) as caught:
        when(**fields)
    assert (caught.value.field, caught.value.why) == (field, why)
    assert str(caught.value) == f"{field}: {why}"


def test_an_end_given_to_the_second_is_held_to_the_second() -> None:
    with pytest.raises(AdifValueError, match="before its start"):
        when(TIME_ON="235530", TIME_OFF="235529", QSO_DATE_OFF="20200714")


@pytest.mark.parametrize("field", ["QSO_DATE", "TIME_ON"])
def test_a_start_that_is_not_there_is_missing(field: str) -> None:
    with pytest.raises(AdifValueError) as caught:
        parse_when({name: text for name, text in (("QSO_DATE", "20200714"), ("TIME_ON", "2355")) if name != field})
    assert str(caught.value) == f"{field}: missing"


def test_dates_and_times_are_in_utc_wherever_the_computer_stands(monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as elsewhere:
        elsewhere.setenv("TZ", "XYZ-5:45")
        time.tzset()
        found = adif_date(START), adif_time(START)
    time.tzset()
    assert found == ("20200714", "235500")


@given(st.integers(0, 40_000_000_000))
def test_dates_and_times_come_back(seconds: int) -> None:
    local = datetime.fromtimestamp(seconds, timezone(timedelta(hours=5, minutes=45)))
    assert parse_when({"QSO_DATE": adif_date(local), "TIME_ON": adif_time(local)}) == (local, None)


def test_a_year_of_less_than_four_digits_is_written_with_four() -> None:
    assert adif_date(datetime(26, 5, 1, tzinfo=UTC)) == "00260501"  # found by fuzzing: ADIF wants YYYYMMDD
