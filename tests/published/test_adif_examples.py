"""Examples that ADIF 3.1.7 itself prints (field and data type tables, official test data), lengths included."""

from __future__ import annotations

import io

import pytest

from watchkeeper.adif import Record, check, encode_record, read


def only(data: str) -> Record:
    (record,) = read(io.BytesIO(data.encode("ascii") + b" <EOR>"))
    return record


@pytest.mark.parametrize(
    "example",
    [
        "<CREDIT_GRANTED:39>DXCC:card,DXCC_BAND:card,DXCC_MODE:card",
        "<CNTY_ALT:28>NZ_Regions:Hawkes Bay/Wairoa",
        "<MY_CNTY_ALT:52>NZ_Islands:North Island;NZ_Regions:Hawkes Bay/Wairoa",
        "<NOTES:81>His power was > 10 Watts & < 100 Watts.\r\n\r\nHope to meet up again in 3 days' time.",
        "<ANT_EL:3>-.5",
        "<ANT_EL:4>-0.5",
    ],
)
def test_published_fields_are_read_and_pass_the_check(example: str) -> None:
    head, _, value = example.partition(">")
    name = head[1:].partition(":")[0]
    record = only(example)
    assert dict(record) == {name: value}
    assert record.problems == []
    assert [p for p in check(io.BytesIO(f"{example} <EOR>".encode())) if p.field == name] == []
    assert encode_record(record).data.startswith(example.encode())


def test_the_published_transcript_counts_a_line_break_as_two() -> None:
    # official test data: 37 = 9 + 2 + 11 + 2 + 13; the field is the application's own
    text = "NAME FRED\r\nQTH ALENCON\r\n73 ES GOOD DX"
    assert only(f"<QSO_TRANSCRIPT:37>{text}") == {"QSO_TRANSCRIPT": text}


def test_the_one_published_example_whose_length_is_wrong_is_told_not_swallowed() -> None:
    # printed with 64, though the text has 61 characters
    text = "ADIF_CENTURY_BASIC,ADIF_CENTURY_SILVER,ADIF_SPECTRUM_100-160m"
    record = only(f"<AWARD_SUBMITTED:64>{text}\r\n<CALL:5>K1ABC")
    assert record == {"AWARD_SUBMITTED": text, "CALL": "K1ABC"}
    assert [(problem.field, problem.severity) for problem in record.problems] == [("AWARD_SUBMITTED", "error")]


def test_published_user_defined_fields() -> None:
    header = "<USERDEF2:32:E>MY_POWER_CATEGORY,{QRPP,QRP,QRO}<USERDEF3:35:N>MY_TEMPERATURE_FAHRENHEIT,{-50:150}<EOH>"
    record = "<MY_POWER_CATEGORY:3>QRP<MY_TEMPERATURE_FAHRENHEIT:4>-4.5"
    reader = read(io.BytesIO(f" <ADIF_VER:5>3.1.7{header}{record}<EOR>".encode()))
    assert [tuple(field) for field in reader.header.user_fields.values()] == [
        (2, "MY_POWER_CATEGORY", "E", "QRPP,QRP,QRO"),
        (3, "MY_TEMPERATURE_FAHRENHEIT", "N", "-50:150"),
    ]
    assert [dict(found) for found in reader] == [{"MY_POWER_CATEGORY": "QRP", "MY_TEMPERATURE_FAHRENHEIT": "-4.5"}]
