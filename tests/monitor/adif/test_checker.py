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
    assert problems({"QSO_DATE": "19300101"}) == []  # ADIF 3.1.7, data type Date: the first year is 1930


@pytest.mark.parametrize(
    ("fields", "field", "severity", "why"),
    [
        ({"QSO_DATE": "20260231"}, "QSO_DATE", "error", "'20260231' is not a date of the calendar"),
        ({"QSO_DATE": "2026-07-13"}, "QSO_DATE", "error", "'2026-07-13' is not a UTC date YYYYMMDD"),
        ({"QSO_DATE": "19291231"}, "QSO_DATE", "error", "'19291231' is before 1930"),
        ({"TIME_ON": "20:15"}, "TIME_ON", "error", "'20:15' is not a UTC time HHMM or HHMMSS"),
        ({"BAND": "21m"}, "BAND", "error", "'21m' is not in the standard's Band table"),
        ({"BAND": "20m", "FREQ": "7.074"}, "FREQ", "error", "'7.074' MHz is on 40m, but BAND says '20m'"),
        ({"BAND_RX": "2m", "FREQ_RX": "435.1"}, "FREQ_RX", "error", "'435.1' MHz is on 70cm, but BAND_RX says '2m'"),
        ({"FREQ": "14074"}, "FREQ", "error", "'14074' MHz is outside all bands, but BAND says '20m'"),
        (
            {"BAND": "", "FREQ": "14074"},
            "FREQ",
            "warning",
            "'14074' is outside all bands of the standard: is it in MHz?",
        ),
        (
            {"MODE": "FT4"},
            "MODE",
            "error",
            "'FT4' is not in the standard's Mode table: write MODE MFSK and SUBMODE FT4",
        ),
        ({"MODE": "C4FM"}, "MODE", "warning", "C4FM is for import only: write MODE DIGITALVOICE and SUBMODE C4FM"),
        ({"MODE": "WARBLE"}, "MODE", "error", "'WARBLE' is not in the standard's Mode table"),
        ({"MODE": "SSB", "SUBMODE": "FT4"}, "SUBMODE", "warning", "SUBMODE FT4 belongs to MFSK, not to MODE SSB"),
        ({"MODE": "MFSK", "SUBMODE": "X"}, "SUBMODE", "warning", "SUBMODE 'X' is not in the standard's table"),
        (
            {"DXCC": "2"},
            "DXCC",
            "warning",
            "'2' is deleted from the standard's DXCC_Entity_Code table: right for old contacts only",
        ),
        ({"DXCC": "9999"}, "DXCC", "error", "'9999' is not in the standard's DXCC_Entity_Code table"),
        ({"DXCC": "291", "STATE": "ZZ"}, "STATE", "error", "'ZZ' is no subdivision of entity 291"),
        ({"STATE": "ZZZZ"}, "STATE", "warning", "'ZZZZ' is no subdivision of any entity, and DXCC is missing"),
        # ADIF 3.1.7, Primary_Administrative_Subdivision, entity 15: UO is marked as deleted
        ({"DXCC": "15", "STATE": "UO"}, "STATE", "warning", "UO is no longer a subdivision of entity 15"),
        ({"CQZ": "41"}, "CQZ", "error", "'41' is not between 1 and 40"),
        ({"AGE": "-1"}, "AGE", "error", "'-1' is not between 0 and 120"),
        ({"TX_PWR": "5W"}, "TX_PWR", "error", "'5W' is not a number with a decimal point"),
        ({"GRIDSQUARE": "JO6"}, "GRIDSQUARE", "error", "'JO6' is not a locator of 2, 4, 6 or 8 characters"),
        ({"GUEST_OP": "JA1QRV"}, "GUEST_OP", "warning", "for import only: write OPERATOR"),
        ({"CONTEST_ID": "MY-OWN"}, "CONTEST_ID", "warning", "'MY-OWN' is not in the standard's Contest_ID table"),
        ({"QSL_RCVD": "V"}, "QSL_RCVD", "warning", "'V' is for import only: newer files use another value"),
        ({"QSL_SENT": "X"}, "QSL_SENT", "error", "'X' is not in the standard's QSL_Sent table: one of Y, N, R, Q, I"),
        ({"NAME_INTL": "Jose"}, "NAME_INTL", "error", "for ADX only: write NAME in ASCII"),
        (
            {"NAME": "José"},
            "NAME",
            "error",
            "'José' holds '\\xe9', which is not ASCII: spell it in ASCII, or use the _INTL field in ADX",
        ),
        ({"NAME": "a\tb"}, "NAME", "error", "'a\\tb' holds the control character 9: leave it out"),
        (
            {"COMMENT": "a\r\nb"},
            "COMMENT",
            "error",
            "'a\\r\\nb' holds a line break, which this field cannot: write it in one line",
        ),
        *(
            (
                {"COMMENT": text},
                "COMMENT",
                "error",
                f"{text!a} holds a line break, which this field cannot: write it in one line",
            )
            for text in ("a\nb", "a\rb")
        ),
        ({"NOTES": "a\nb"}, "NOTES", "error", "'a\\nb' has a line break that is not CR LF: write CR LF"),
        (
            {"WHATEVER": "x"},
            "WHATEVER",
            "error",
            "neither a field of the standard nor defined in the header: define it there",
        ),
        ({"APP_X": "x"}, "APP_X", "error", "not of the form APP_PROGRAMID_FIELDNAME"),
        ({"PROGRAMID": "x"}, "PROGRAMID", "warning", "a header field: it means nothing in a record"),
        (
            {"CREDIT_GRANTED": "DXCC:paper"},
            "CREDIT_GRANTED",
            "error",
            "'DXCC:paper' is not credits as DXCC:card&lotw with commas between them",
        ),
        (
            {"CREDIT_GRANTED": "GOLD-AWARD"},
            "CREDIT_GRANTED",
            "warning",
            "'GOLD-AWARD' is a list for import only, as it is not credits as DXCC:card&lotw with commas between them",
        ),
        (
            {"QSO_DATE_OFF": "20260712", "TIME_OFF": "2016"},
            "TIME_OFF",
            "error",
            "the contact ends at 2026-07-12 20:16:00, before its start",
        ),
        ({"CALL": ""}, "CALL", "warning", "missing: no log can place this contact without it"),
        ({"BAND": ""}, "BAND", "warning", "missing, and so is FREQ: give one of them"),
        ({"BAND": "20m", "FREQ": "5"}, "FREQ", "error", "'5' MHz is outside all bands, but BAND says '20m'"),
        ({"MY_STATE": "ZZZZ"}, "MY_STATE", "warning", "'ZZZZ' is no subdivision of any entity, and MY_DXCC is missing"),
        ({"MY_DXCC": "291", "MY_STATE": "ZZ"}, "MY_STATE", "error", "'ZZ' is no subdivision of entity 291"),
        ({"DXCC": "x", "STATE": "ZZ"}, "DXCC", "error", "'x' is not in the standard's DXCC_Entity_Code table"),
        (
            {"CONT": "XX"},
            "CONT",
            "error",
            "'XX' is not in the standard's Continent table: one of NA, SA, EU, AF, OC, AS, AN",
        ),
        # a short table is told in full, without what is for import only
        ({"QSL_RCVD": "X"}, "QSL_RCVD", "error", "'X' is not in the standard's QSL_Rcvd table: one of Y, N, R, I"),
        (
            {"REGION": "ZZ"},
            "REGION",
            "error",
            "'ZZ' is not in the standard's Region table: one of NONE, IV, AI, SY, BI, SI, KO, ET",
        ),
        ({"PROP_MODE": "XX"}, "PROP_MODE", "error", "'XX' is not in the standard's Propagation_Mode table"),
        ({"NOTES": "a\nb\r\nc"}, "NOTES", "error", "'a\\nb\\r\\nc' has a line break that is not CR LF: write CR LF"),
        (
            {"NOTES": "a\nb\xe9"},
            "NOTES",
            "error",
            "'a\\nb\\xe9' holds '\\xe9', which is not ASCII: spell it in ASCII, or use the _INTL field in ADX",
        ),
        ({"NOTES": "a\n\x07 ~"}, "NOTES", "error", "'a\\n\\x07 ~' holds the control character 7: leave it out"),
        (
            {"NAME": " ~é"},
            "NAME",
            "error",
            "' ~é' holds '\\xe9', which is not ASCII: spell it in ASCII, or use the _INTL field in ADX",
        ),
        ({"NAME": " ~\x7f"}, "NAME", "error", "' ~\\x7f' holds the control character 127: leave it out"),
        ({"AGE": "121"}, "AGE", "error", "'121' is not between 0 and 120"),
        ({"DISTANCE": "-1"}, "DISTANCE", "error", "'-1' is not from 0 up"),
        ({"VE_PROV": "ON"}, "VE_PROV", "warning", "for import only: write STATE"),
        ({"SUBMODE": "FT8"}, "SUBMODE", "warning", "SUBMODE 'FT8' only repeats MODE: write MODE FT8"),
        ({"APP_A_": "x"}, "APP_A_", "error", "not of the form APP_PROGRAMID_FIELDNAME"),
        ({"QSO_RANDOM": "Q"}, "QSO_RANDOM", "error", "'Q' is not Y or N"),
        ({"ARRL_SECT": "XX"}, "ARRL_SECT", "error", "'XX' is not in the standard's ARRL_Section table"),
    ],
)
def test_one_fault_is_one_problem_with_its_place_and_mend(
    fields: dict[str, str], field: str, severity: str, why: str
) -> None:
    line = list(GOOD | fields).index(field) + 1
    assert problems(fields) == [(1, line, field, severity, why)]


HEADER = "log <ADIF_VER:5>3.1.7<USERDEF1:3:N>EPC<USERDEF2:19:E>SweaterSize,{S,M,L}<USERDEF3:15:N>ShoeSize,{5:20}<EOH>"


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"EPC": "1x"}, "'1x' is not a number with a decimal point"),
        ({"SWEATERSIZE": "XL"}, "'XL' is none of 'S,M,L', as the header defines"),
        ({"SHOESIZE": "21"}, "'21' is not between 5 and 20"),
        ({"SHOESIZE": "4.9"}, "'4.9' is not between 5 and 20"),
    ],
)
def test_user_defined_fields_are_held_to_their_definition(fields: dict[str, str], why: str) -> None:
    assert problems(fields, f"{HEADER}\n") == [(1, 7, *fields, "error", why)]
    assert problems({"EPC": "12", "SWEATERSIZE": "m", "SHOESIZE": "7.5"}, HEADER) == []


@pytest.mark.parametrize("limits", ["5:x", "x:5", "5", ":5", "5:"])
def test_limits_that_are_no_range_are_a_list(limits: str) -> None:
    text = f"SIZE,{{{limits}}}"
    header = f"log <USERDEF1:{len(text)}:N>{text}<EOH>"
    (problem,) = problems({"SIZE": "6"}, header)
    assert problem.why == f"'6' is none of '{limits}', as the header defines"
    (problem,) = problems({"SIZE": "4"}, header)
    assert problem.field == "SIZE"


def test_fields_of_applications_are_held_to_the_type_that_they_say() -> None:
    def faults(field: str) -> list[Problem]:
        return list(check(io.BytesIO(adi(GOOD).replace(b"<EOR>", f"{field}<EOR>".encode()))))

    assert faults("<APP_A_B:2:n>12") == []
    assert faults("<APP_A_B:1:N>x") == [(1, 6, "APP_A_B", "error", "'x' is not a number with a decimal point")]
    assert faults("<APP_A_B:1:Q>x") == [(1, 6, "APP_A_B", "error", "'Q' is not a data type indicator")]
    # ADIF 3.1.7, application-defined fields: without an indicator a field is a MultilineString
    assert faults("<APP_A_B:4>a\r\nb") == []
    assert faults("<APP_A_B:1>\x07") == [
        (1, 6, "APP_A_B", "error", "'\\x07' holds the control character 7: leave it out")
    ]


@pytest.mark.parametrize(
    ("header", "field", "severity", "why"),
    [
        ("<ADIF_VER:3>4.0", "ADIF_VER", "error", "'4.0' is not a release as 3.1.7"),
        ("<ADIF_VER:8>3.1.1000", "ADIF_VER", "error", "'3.1.1000' is not a release as 3.1.7"),
        ("<ADIF_VER:5>3.2.0", "ADIF_VER", "warning", "3.2.0 is newer than 3.1.7, by which this check goes"),
        (
            "<CREATED_TIMESTAMP:8>20260713",
            "CREATED_TIMESTAMP",
            "error",
            "'20260713' is not a UTC time as 20260713 201509",
        ),
        (
            "<CREATED_TIMESTAMP:15>20260713 251509",
            "CREATED_TIMESTAMP",
            "error",
            "'20260713 251509' is not a UTC time as 20260713 201509",
        ),
        ("<PROGRAMID:3>M\tn", "PROGRAMID", "error", "'M\\tn' holds the control character 9: leave it out"),
        (
            "<PROGRAMID:9>Mine",
            "PROGRAMID",
            "error",
            "length 9 runs over the next field: the data is taken as the 4 bytes before it; mend the length",
        ),
        ("<USERDEF1:4:N>CALL", "USERDEF1", "error", "CALL is a field of the standard: choose another name"),
        ("<USERDEF1:3:Q>EPC", "USERDEF1", "error", "'Q' is not a data type indicator"),
        ("<FOO:1>x", "FOO", "warning", "not a header field of the standard"),
        ("<ADIF_VER:5>3.1.8", "ADIF_VER", "warning", "3.1.8 is newer than 3.1.7, by which this check goes"),
        ("<ADIF_VER:5>3.1.x", "ADIF_VER", "error", "'3.1.x' is not a release as 3.1.7"),
        ("<ADIF_VER:7>3.1.7.1", "ADIF_VER", "error", "'3.1.7.1' is not a release as 3.1.7"),
        (
            "<CREATED_TIMESTAMP:13>20260713 2015",
            "CREATED_TIMESTAMP",
            "error",
            "'20260713 2015' is not a UTC time as 20260713 201509",
        ),
        (
            "<CREATED_TIMESTAMP:15>20260732 201509",
            "CREATED_TIMESTAMP",
            "error",
            "'20260732 201509' is not a UTC time as 20260713 201509",
        ),
        (
            "<CREATED_TIMESTAMP:16>2026 0713 201509",
            "CREATED_TIMESTAMP",
            "error",
            "'2026 0713 201509' is not a UTC time as 20260713 201509",
        ),
    ],
)
def test_headers_are_checked(header: str, field: str, severity: str, why: str) -> None:
    assert problems({}, f"log\n{header}\n<EOH>") == [(0, 2, field, severity, why)]


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
