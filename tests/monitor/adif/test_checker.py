"""The checker: what it finds, where it says it is, and what it advises."""

from __future__ import annotations

import io

import pytest

from watchkeeper.adif import Problem, check, tables
from watchkeeper.adif.types import fault

GOOD = {"CALL": "DL5QRM", "QSO_DATE": "20260713", "TIME_ON": "201509", "BAND": "20m", "MODE": "FT8"}


def adi(fields: dict[str, str], header: str = "") -> bytes:
    text = "".join(f"<{name}:{len(value)}>{value}\n" for name, value in fields.items())
    return f"{header}{text}<EOR>\n".encode("latin-1")


def problems(changed: dict[str, str], header: str = "") -> list[Problem]:
    return list(check(io.BytesIO(adi(GOOD | changed, header))))


def test_a_good_record_has_no_problem() -> None:
    assert problems({"FREQ": "14.074123", "SUBMODE": "", "DXCC": "230", "CQZ": "14", "GRIDSQUARE": "JO62qm"}) == []


@pytest.mark.parametrize(
    ("fields", "field", "severity", "words"),
    [
        ({"QSO_DATE": "20260231"}, "QSO_DATE", "error", "not a date of the calendar"),
        ({"QSO_DATE": "19291231"}, "QSO_DATE", "error", "before 1930"),
        ({"TIME_ON": "20:15"}, "TIME_ON", "error", "HHMM or HHMMSS"),
        ({"BAND": "21m"}, "BAND", "error", "Band table"),
        ({"BAND": "20m", "FREQ": "7.074"}, "FREQ", "error", "on 40m, but BAND says '20m'"),
        ({"BAND_RX": "2m", "FREQ_RX": "435.1"}, "FREQ_RX", "error", "on 70cm"),
        ({"FREQ": "14074"}, "FREQ", "error", "outside all bands"),
        ({"BAND": "", "FREQ": "14074"}, "FREQ", "warning", "is it in MHz?"),
        ({"MODE": "FT4"}, "MODE", "error", "write MODE MFSK and SUBMODE FT4"),
        ({"MODE": "C4FM"}, "MODE", "warning", "write MODE DIGITALVOICE and SUBMODE C4FM"),
        ({"MODE": "WARBLE"}, "MODE", "error", "Mode table"),
        ({"MODE": "SSB", "SUBMODE": "FT4"}, "SUBMODE", "warning", "belongs to MFSK"),
        ({"MODE": "MFSK", "SUBMODE": "X"}, "SUBMODE", "warning", "not in the standard's table"),
        ({"DXCC": "2"}, "DXCC", "warning", "deleted"),
        ({"DXCC": "9999"}, "DXCC", "error", "DXCC_Entity_Code table"),
        ({"DXCC": "291", "STATE": "ZZ"}, "STATE", "error", "entity 291"),
        ({"STATE": "ZZZZ"}, "STATE", "warning", "DXCC is missing"),
        # ADIF 3.1.7, Primary_Administrative_Subdivision, entity 15: UO is marked as deleted
        ({"DXCC": "15", "STATE": "UO"}, "STATE", "warning", "UO is no longer a subdivision of entity 15"),
        ({"CQZ": "41"}, "CQZ", "error", "between 1 and 40"),
        ({"AGE": "-1"}, "AGE", "error", "between 0 and 120"),
        ({"TX_PWR": "5W"}, "TX_PWR", "error", "not a number"),
        ({"GRIDSQUARE": "JO6"}, "GRIDSQUARE", "error", "locator"),
        ({"GUEST_OP": "JA1QRV"}, "GUEST_OP", "warning", "write OPERATOR"),
        ({"CONTEST_ID": "MY-OWN"}, "CONTEST_ID", "warning", "Contest_ID table"),
        ({"QSL_RCVD": "V"}, "QSL_RCVD", "warning", "import only"),
        ({"QSL_SENT": "X"}, "QSL_SENT", "error", "one of Y, N, R, Q, I"),
        ({"NAME_INTL": "Jose"}, "NAME_INTL", "error", "write NAME"),
        ({"NAME": "José"}, "NAME", "error", "not ASCII"),
        ({"NAME": "a\tb"}, "NAME", "error", "control character 9"),
        ({"COMMENT": "a\r\nb"}, "COMMENT", "error", "line break"),
        ({"NOTES": "a\nb"}, "NOTES", "error", "write CR LF"),
        ({"WHATEVER": "x"}, "WHATEVER", "error", "define it"),
        ({"APP_X": "x"}, "APP_X", "error", "APP_PROGRAMID_FIELDNAME"),
        ({"PROGRAMID": "x"}, "PROGRAMID", "warning", "header"),
        ({"CREDIT_GRANTED": "DXCC:paper"}, "CREDIT_GRANTED", "error", "DXCC:card&lotw"),
        ({"CREDIT_GRANTED": "GOLD-AWARD"}, "CREDIT_GRANTED", "warning", "import only"),
        ({"QSO_DATE_OFF": "20260712", "TIME_OFF": "2016"}, "TIME_OFF", "error", "before its start"),
        ({"CALL": ""}, "CALL", "warning", "missing"),
        ({"BAND": ""}, "BAND", "warning", "FREQ"),
    ],
)
def test_one_fault_is_one_problem_with_its_place(fields: dict[str, str], field: str, severity: str, words: str) -> None:
    (problem,) = problems(fields)
    assert (problem.record, problem.field, problem.severity) == (1, field, severity)
    assert words in problem.why
    assert problem.line == list(GOOD | fields).index(field) + 1


HEADER = "log <ADIF_VER:5>3.1.7<USERDEF1:3:N>EPC<USERDEF2:19:E>SweaterSize,{S,M,L}<USERDEF3:15:N>ShoeSize,{5:20}<EOH>"


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"EPC": "1x"}, "not a number"),
        ({"SWEATERSIZE": "XL"}, "none of 'S,M,L'"),
        ({"SHOESIZE": "21"}, "between 5 and 20"),
    ],
)
def test_user_defined_fields_are_held_to_their_definition(fields: dict[str, str], words: str) -> None:
    (problem,) = problems(fields, f"{HEADER}\n")
    assert words in problem.why
    assert (problem.record, problem.field, problem.severity, problem.line) == (1, *fields, "error", 7)
    assert problems({"EPC": "12", "SWEATERSIZE": "m", "SHOESIZE": "7.5"}, HEADER) == []


@pytest.mark.parametrize(
    ("header", "field", "severity", "words"),
    [
        ("<ADIF_VER:3>4.0", "ADIF_VER", "error", "'4.0' is not a release as 3.1.7"),
        ("<ADIF_VER:8>3.1.1000", "ADIF_VER", "error", "'3.1.1000' is not a release as 3.1.7"),
        ("<ADIF_VER:5>3.2.0", "ADIF_VER", "warning", "3.2.0"),
        (
            "<CREATED_TIMESTAMP:8>20260713",
            "CREATED_TIMESTAMP",
            "error",
            "'20260713' is not a UTC time as 20260713 201509",
        ),
        ("<CREATED_TIMESTAMP:15>20260713 251509", "CREATED_TIMESTAMP", "error", "is not a UTC time"),
        ("<PROGRAMID:3>M\tn", "PROGRAMID", "error", "control character 9"),
        ("<PROGRAMID:9>Mine", "PROGRAMID", "error", ""),
        ("<USERDEF1:4:N>CALL", "USERDEF1", "error", ""),
        ("<USERDEF1:3:Q>EPC", "USERDEF1", "error", "'Q' is not a data type indicator"),
        ("<FOO:1>x", "FOO", "warning", "not a header field of the standard"),
    ],
)
def test_headers_are_checked(header: str, field: str, severity: str, words: str) -> None:
    (problem,) = problems({}, f"log\n{header}\n<EOH>")
    assert (problem.record, problem.line, problem.field, problem.severity) == (0, 2, field, severity)
    assert words in problem.why


def test_a_good_header_has_no_problem() -> None:
    good = "<ADIF_VER:5>3.1.7<CREATED_TIMESTAMP:15>20260713 201509<PROGRAMID:4>Mine<PROGRAMVERSION:1>1<USERDEF1:3:N>EPC"
    assert problems({}, f"log {good}<EOH>") == []


def test_every_value_of_every_table_passes_in_its_field() -> None:
    for field in tables.fields().values():
        if field.depends_on is not None or field.name == "MODE":
            continue
        for name in field.enumerations:
            for value in (tables.enumeration(name) or {}).values():
                found = [p for p in problems({"FREQ": "", field.name: value.code}) if p.field == field.name]
                expected = ["warning"] if value.import_only or value.deleted else []
                assert [problem.severity for problem in found] == expected, (field.name, value)


def test_every_type_of_every_field_can_be_checked() -> None:
    for field in tables.fields().values():
        for type_name in field.types:
            assert fault(type_name, "\x00") is not None or type_name.startswith("Intl")


def test_a_hostile_entity_code_is_just_wrong() -> None:
    (problem,) = problems({"DXCC": "9" * 5000, "STATE": "ZZ"})
    assert problem.field == "DXCC"


def test_a_text_without_any_field_is_one_error() -> None:
    assert [problem.why for problem in check(io.BytesIO(b"no log at all"))] == [
        "no field of ADIF can be found in this text"
    ]
