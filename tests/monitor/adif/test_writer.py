"""The ADI writer: ASCII, honest about what it changed, and read back as it was."""

from __future__ import annotations

import io
import os
import re
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.adif import (
    Header,
    Record,
    UserField,
    check,
    encode_record,
    header,
    read,
    read_file,
    tables,
    write_file,
    write_record,
)

CREATED = datetime(2026, 7, 13, 20, 15, 9, tzinfo=UTC)


def back(data: bytes) -> Record:
    (record,) = read(io.BytesIO(data))
    return record


def test_one_record_is_one_line() -> None:
    assert write_record({"CALL": "DL5QRM", "band": "20m", "NAME": ""}) == b"<CALL:6>DL5QRM <BAND:3>20m <EOR>\n"


def test_letters_that_ascii_lacks_are_spelled_and_told() -> None:
    encoded = encode_record({"CALL": "DL5QRM", "NAME": "Jürgen Strauß", "QTH": "Ålesund"}, number=7)
    assert encoded.data == b"<CALL:6>DL5QRM <NAME:14>Jurgen Strauss <QTH:7>Alesund <EOR>\n"
    why = "ADI is ASCII: spelled without the other characters"
    assert encoded.changes == (
        (7, "NAME", "Jürgen Strauß", "Jurgen Strauss", why),
        (7, "QTH", "Ålesund", "Alesund", why),
    )


def test_a_value_of_which_nothing_is_left_in_ascii_is_left_out_and_told() -> None:
    encoded = encode_record({"CALL": "DL5QRM", "NAME": "ь"})
    assert encoded.data == b"<CALL:6>DL5QRM <EOR>\n"
    assert [(change.field, change.before, change.after) for change in encoded.changes] == [("NAME", "ь", "")]


def test_international_fields_give_their_text_to_the_plain_ones() -> None:
    alone = encode_record({"NAME_INTL": "José"})
    assert alone.data == b"<NAME:4>Jose <EOR>\n"
    assert alone.changes == ((1, "NAME_INTL", "José", "Jose", "NAME_INTL is for ADX only: written as NAME"),)
    both = encode_record({"NAME": "Joe", "NAME_INTL": "José"})
    assert both.data == b"<NAME:3>Joe <EOR>\n"
    assert both.changes == ((1, "NAME_INTL", "José", None, "NAME_INTL is for ADX only, and NAME is there already"),)
    assert encode_record({"APP_MINE_INTL": "x"}).data == b"<APP_MINE_INTL:1>x <EOR>\n"


def test_line_breaks_are_cr_lf_where_they_may_stand_and_blanks_elsewhere() -> None:
    encoded = encode_record({"NOTES": "a\nb\rc\r\nd", "COMMENT": "a\nb"})
    assert encoded.data.startswith(b"<NOTES:10>a\r\nb\r\nc\r\nd")
    assert b"<COMMENT:3>a b" in encoded.data
    why = "line breaks and control characters are written as blanks"
    assert encoded.changes == ((1, "COMMENT", "a\nb", "a b", why),)
    assert encode_record({"NOTES": "a\x07b\x7f\tc"}, number=3) == (
        b"<NOTES:6>a b  c <EOR>\n",
        ((3, "NOTES", "a\x07b\x7f\tc", "a b  c", why),),
    )
    assert encode_record({"APP_MINE_X": "a\nb\x1fc"}) == (
        b"<APP_MINE_X:6>a\r\nb c  <EOR>\n",
        ((1, "APP_MINE_X", "a\nb\x1fc", "a\r\nb c", why),),
    )
    assert encode_record({"COMMENT": "a\r\nb\x00c"}).data == b"<COMMENT:5>a b c <EOR>\n"


def test_a_reader_that_folds_line_breaks_still_finds_the_next_field() -> None:
    folded = write_record({"NOTES": "1\n2\n3\n4\n5\n6", "CALL": "DL5QRM"}).replace(b"\r\n", b"\n")
    start = folded.index(b">") + 1
    assert folded[start + int(folded[7:9]) :].lstrip().startswith(b"<CALL:6>DL5QRM")


@pytest.mark.parametrize("name", ["", " CALL", "A:B", "A<B", "A>B", "A,B", "{A}", "CÄLL", "A\nB"])
def test_a_name_that_adif_cannot_spell_is_refused(name: str) -> None:
    with pytest.raises(ValueError, match=re.escape(f"{name.upper()!r} cannot be the name of an ADIF field")):
        write_record({name: "x"})


def test_the_header_says_release_program_and_time_in_utc() -> None:
    fields = [UserField(1, "EPC", "N"), UserField(5, "SWEATER", "E", "S,M,L"), UserField(6, "SHOE", "N", "5:20")]
    reader = read(io.BytesIO(header("0.1.0", CREATED, fields)))
    assert reader.header.fields == {
        "ADIF_VER": "3.1.7",
        "CREATED_TIMESTAMP": "20260713 201509",
        "PROGRAMID": "Watchkeeper",
        "PROGRAMVERSION": "0.1.0",
        "USERDEF1": "EPC",
        "USERDEF2": "SWEATER,{S,M,L}",
        "USERDEF3": "SHOE,{5:20}",
    }
    assert [field[1:] for field in reader.header.user_fields.values()] == [field[1:] for field in fields]


def test_a_file_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    target = tmp_path / "contacts.adi"
    changes = write_file(target, [{"CALL": "DL5QRM"}, {"NAME": "é"}], program_version="1", created=CREATED)
    assert [(change.record, change.field) for change in changes] == [(2, "NAME")]
    assert [dict(record) for record in read_file(target)] == [{"CALL": "DL5QRM"}, {"NAME": "e"}]
    before = target.read_bytes()
    with pytest.raises(ValueError, match="cannot be the name"):
        write_file(target, [{"CALL": "DL5QRM"}, {"<": "x"}], program_version="1", created=CREATED)
    assert target.read_bytes() == before
    assert list(tmp_path.iterdir()) == [target]


def test_a_file_gets_its_head_and_takes_its_place_when_it_is_on_the_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done: list[str] = []
    sync, replace = os.fsync, Path.replace

    def noted_sync(number: int) -> None:
        done.append("sync")
        sync(number)

    def noted_replace(path: Path, target: Path) -> Path:
        done.append("replace")
        return replace(path, target)

    monkeypatch.setattr(os, "fsync", noted_sync)
    monkeypatch.setattr(Path, "replace", noted_replace)
    target = tmp_path / "contacts.adi"
    fields = [UserField(1, "EPC", "N")]
    write_file(str(target), [{"CALL": "DL5QRM"}], program_version="2.0", created=CREATED, user_fields=fields)
    assert target.read_bytes() == header("2.0", CREATED, fields) + write_record({"CALL": "DL5QRM"})
    assert done == ["sync", "replace"]


def test_the_header_is_ascii_with_one_field_a_line() -> None:
    assert header("2.0 über", CREATED, [UserField(9, "Größe", "E", "S,Ü")]) == (
        b"ADIF log written by Watchkeeper\n<ADIF_VER:5>3.1.7\n<CREATED_TIMESTAMP:15>20260713 201509\n"
        b"<PROGRAMID:11>Watchkeeper\n<PROGRAMVERSION:8>2.0 uber\n<USERDEF1:12:E>Grosse,{S,U}\n<EOH>\n"
    )


def test_a_record_brings_its_types_and_others_go_before_them() -> None:
    record = Record({"APP_X_Y": "1", "CALL": "DL5QRM"})
    record.types["APP_X_Y"] = "N"
    assert write_record(record) == b"<APP_X_Y:1:N>1 <CALL:6>DL5QRM <EOR>\n"
    assert write_record(record, {"APP_X_Y": "S"}) == b"<APP_X_Y:1:S>1 <CALL:6>DL5QRM <EOR>\n"
    assert write_record(record, {}) == b"<APP_X_Y:1>1 <CALL:6>DL5QRM <EOR>\n"


def test_a_link_and_what_is_no_file_stay_what_they_are(tmp_path: Path) -> None:
    target, link, pipe = tmp_path / "contacts.adi", tmp_path / "link.adi", tmp_path / "pipe"
    link.symlink_to(target)
    write_file(link, [{"CALL": "DL5QRM"}], program_version="1", created=CREATED)
    assert link.is_symlink()
    assert [dict(record) for record in read_file(target)] == [{"CALL": "DL5QRM"}]
    os.mkfifo(pipe)
    reading = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    write_file(pipe, [{"CALL": "DL5QRM"}], program_version="1", created=CREATED)
    assert os.read(reading, 1 << 16) == target.read_bytes()
    os.close(reading)
    assert pipe.is_fifo()


def test_a_pipe_is_written_to_by_the_name_of_its_descriptor(tmp_path: Path) -> None:
    target = tmp_path / "contacts.adi"
    write_file(target, [{"CALL": "DL5QRM"}], program_version="1", created=CREATED)
    reading, writing = os.pipe()
    write_file(f"/dev/fd/{writing}", [{"CALL": "DL5QRM"}], program_version="1", created=CREATED)
    os.close(writing)
    assert os.read(reading, 1 << 16) == target.read_bytes()
    os.close(reading)


def test_what_is_written_has_no_error_by_the_standard() -> None:
    fields = {"CALL": "DL5QRM", "QSO_DATE": "20260713", "TIME_ON": "2015", "BAND": "20m", "MODE": "MFSK"}
    fields |= {"SUBMODE": "FT4", "NAME": "Jürgen", "NOTES": "one\ntwo", "APP_MINE_X": "é", "COMMENT": "\t\x1b[31m"}
    data = header("1", CREATED) + write_record(fields)
    assert list(check(io.BytesIO(data))) == []


_ASCII = st.text(st.characters(min_codepoint=32, max_codepoint=126), min_size=1, max_size=60)
_PLAIN_FIELDS = sorted(
    name for name, field in tables.fields().items() if not field.header and not name.endswith("_INTL")
)
_OWN_FIELDS = st.from_regex(r"APP_[A-Z0-9]{1,8}_[A-Z0-9_ ]{0,8}[A-Z0-9]", fullmatch=True)
_NAMES = st.sampled_from(_PLAIN_FIELDS) | _OWN_FIELDS


@given(st.lists(st.dictionaries(_NAMES, _ASCII, min_size=1, max_size=12), min_size=1, max_size=6))
def test_ascii_fields_come_back_as_they_went(contacts: list[dict[str, str]]) -> None:
    data = header("1", CREATED) + b"".join(map(write_record, contacts))
    found = list(read(io.BytesIO(data)))
    assert [dict(record) for record in found] == contacts
    assert all(not record.problems for record in found)


@given(st.dictionaries(_NAMES, st.text(max_size=40), max_size=8))
def test_any_text_is_written_in_ascii_and_every_change_is_told(fields: dict[str, str]) -> None:
    encoded = encode_record(fields)
    assert encoded.data.isascii()
    record = Record() if encoded.data == b"<EOR>\n" else back(encoded.data)
    told = {change.field for change in encoded.changes}
    for name, value in fields.items():
        same = record.get(name, "").replace("\r\n", "\n") == value.replace("\r\n", "\n").replace("\r", "\n")
        assert same or name in told


@given(st.sampled_from("BNDTSEIL"), _OWN_FIELDS, _ASCII)
def test_type_indicators_come_back(indicator: str, name: str, value: str) -> None:
    record = back(write_record({name: value}, {name: indicator}))
    assert (dict(record), dict(record.types)) == ({name: value}, {name: indicator})


@given(st.text(min_size=1, max_size=20).filter(lambda name: name.isascii()), st.sampled_from(["S,M,L", "-50:150"]))
def test_a_header_defines_what_it_was_told(name: str, limits: str) -> None:
    defined = Header()
    defined.define(1, f"{name},{{{limits}}}", "N")
    assert defined.user_fields[name.strip().upper()].limits == limits
