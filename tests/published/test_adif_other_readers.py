"""What we write is read equal by two independent libraries, and what they write is read equal by us.

Reference libraries: adif-io 0.6 and pyadif-file 1.5 (ADI and ADX).
"""

from __future__ import annotations

import io
from datetime import UTC, datetime
from pathlib import Path

import adif_file.adi
import adif_file.adx
import adif_io
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from watchkeeper.adif import read, read_file, tables, write_file

CREATED = datetime(2026, 7, 13, 20, 15, 9, tzinfo=UTC)
MULTILINE = {name for name, field in tables.fields().items() if "MultilineString" in field.types}
PLAIN = sorted(name for name, field in tables.fields().items() if not field.header and not name.endswith("_INTL"))
#: printable ASCII; pyadif-file looks for end marks inside the data, so the marks themselves are left to our own tests
TEXT = st.text(st.characters(min_codepoint=32, max_codepoint=126), min_size=1, max_size=40).filter(
    lambda text: "<eo" not in text.lower()
)
CONTACTS = st.lists(
    st.dictionaries(st.sampled_from(PLAIN) | st.just("APP_MINE_NOTE"), TEXT, min_size=1, max_size=10),
    min_size=1,
    max_size=5,
)


def written(folder: Path, contacts: list[dict[str, str]]) -> Path:
    path = folder / "log.adi"
    write_file(path, contacts, program_version="1.0", created=CREATED)
    return path


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("adif")


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(contacts=CONTACTS)
def test_adif_io_reads_what_we_write(folder: Path, contacts: list[dict[str, str]]) -> None:
    found, header = adif_io.read_from_file(str(written(folder, contacts)))
    assert [dict(contact) for contact in found] == contacts
    assert header["ADIF_VER"] == tables.RELEASE


@given(contacts=CONTACTS)
def test_pyadif_file_reads_what_we_write(folder: Path, contacts: list[dict[str, str]]) -> None:
    document = adif_file.adi.load(str(written(folder, contacts)))
    assert document["RECORDS"] == contacts
    assert document["HEADER"]["CREATED_TIMESTAMP"] == "20260713 201509"


@given(lines=st.lists(TEXT, min_size=2, max_size=8))
def test_several_lines_reach_both_and_spoil_no_field_behind_them(folder: Path, lines: list[str]) -> None:
    path = written(folder, [{"NOTES": "\n".join(lines), "CALL": "DL5QRM"}])
    # both open the file as text, which folds each CR LF: they read one blank behind for each, and the next field stands
    for contact in (adif_io.read_from_file(str(path))[0][0], adif_file.adi.load(str(path))["RECORDS"][0]):
        assert contact["NOTES"].rstrip(" ") == "\n".join(lines).rstrip(" ")
        assert contact["CALL"] == "DL5QRM"
    assert adif_io.read_from_string(path.read_bytes().decode("ascii"))[0][0]["NOTES"] == "\r\n".join(lines)


@given(contacts=CONTACTS)
def test_we_read_what_adif_io_writes(contacts: list[dict[str, str]]) -> None:
    text = "log" + adif_io.headers_to_adif(adif_io.Headers({"ADIF_VER": "3.1.6"}))
    for contact in contacts:
        text += adif_io.qso_to_adif(adif_io.QSO(contact))
    found = list(read(io.BytesIO(text.encode("ascii"))))
    # adif-io writes its five leading fields in capitals
    capitals = {"QSO_DATE", "TIME_ON", "CALL", "FREQ", "MODE"}
    expected = [{k: v.upper() if k in capitals else v for k, v in contact.items()} for contact in contacts]
    assert [dict(record) for record in found] == expected
    assert all(record.problems == [] for record in found)


@given(contacts=CONTACTS)
def test_we_read_what_pyadif_file_writes(folder: Path, contacts: list[dict[str, str]]) -> None:
    path = folder / "theirs.adi"
    defined = [{"dtype": "E", "userdef": "SWEATER,{S,M,L}"}]
    adif_file.adi.dump(str(path), {"HEADER": {"USERDEFS": defined}, "RECORDS": contacts})
    found = list(read_file(path))
    assert [dict(record) for record in found] == contacts
    assert all(record.problems == [] for record in found)


def test_we_read_the_adx_that_pyadif_file_writes(folder: Path) -> None:
    path = folder / "theirs.adx"
    record = {"CALL": "DL5QRM", "QSO_DATE": "20260713", "TIME_ON": "201509", "NAME_INTL": "Jürgen <Strauß>"}
    own = [{"@PROGRAMID": "MINE", "@FIELDNAME": "POWER", "@TYPE": "N", "$": "5"}]
    adif_file.adx.dump(str(path), {"HEADER": {"PROGRAMID": "Mine"}, "RECORDS": [record | {"APP": own}]})
    (found,) = read_file(path)
    assert found == record | {"APP_MINE_POWER": "5"}
    assert found.types == {"APP_MINE_POWER": "N"}
