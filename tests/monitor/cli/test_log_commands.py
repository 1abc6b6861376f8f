"""``watchkeeper log import|export|find|stats|undo``, ``outbox`` and ``backup``, as they are typed."""

from __future__ import annotations

import asyncio
import io
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import adif_io
import pytest
from click.testing import CliRunner, Result
from tests.monitor.store.making import contact

from watchkeeper.adif import read
from watchkeeper.cli import cli
from watchkeeper.store import outbox
from watchkeeper.store.outbox import State
from watchkeeper.store.store import Store

ADIF = b"""a log <EOH>
<CALL:5>W1QSB <QSO_DATE:8>20260501 <TIME_ON:6>211500 <BAND:3>20m <MODE:3>FT8 <RST_SENT:3>-07 <EOR>
<CALL:6>JA1QRV <QSO_DATE:8>20260501 <TIME_ON:6>211400 <BAND:3>40m <MODE:3>FT4 <LOTW_QSL_RCVD:1>Y <EOR>
<CALL:6>JA1QRV <QSO_DATE:8>20260501 <TIME_ON:6>211430 <BAND:3>40m <MODE:4>MFSK <SUBMODE:3>FT4 <EOR>
<CALL:6>VK3QSD <QSO_DATE:8>20261301 <TIME_ON:6>211400 <BAND:3>40m <MODE:3>FT8 <EOR>
"""


class Typed:
    """Types commands on one data folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.data = folder / "data"

    def __call__(self, *words: str, given: bytes | None = None, code: int = 0) -> Result:
        done = CliRunner().invoke(cli, [*words, "--data", str(self.data)], input=given)
        assert done.exit_code == code, done.output + done.stderr
        return done

    def told(self, *words: str, given: bytes | None = None) -> Any:
        return json.loads(self(*words, "--json", given=given).stdout)


@pytest.fixture
def typed(tmp_path: Path) -> Typed:
    (tmp_path / "log.adi").write_bytes(ADIF)
    return Typed(tmp_path)


@pytest.fixture
def filled(typed: Typed) -> Typed:
    typed("log", "import", str(typed.folder / "log.adi"))
    return typed


def test_import_tells_in_words_and_names_what_it_refused(typed: Typed) -> None:
    file = str(typed.folder / "log.adi")
    done = typed("log", "import", file)
    assert done.stdout == f"{file}: 4 read: 2 new, 1 equal, 1 mended, 1 refused (import 1)\n"
    assert "record 4, line 5: refused: QSO_DATE" in done.stderr


def test_import_tells_in_numbers(typed: Typed) -> None:
    file = str(typed.folder / "log.adi")
    assert typed.told("log", "import", file) == {"read": 4, "new": 2, "equal": 1, "mended": 1, "refused": 1}
    assert typed.told("log", "import", file, file)["equal"] == 6
    assert typed.told("log", "import", "-", given=ADIF)["equal"] == 3


def test_a_file_that_cannot_be_read_is_told_and_the_others_are_imported(typed: Typed) -> None:
    done = typed("log", "import", "no-such.adi", str(typed.folder / "log.adi"), code=1)
    assert "no-such.adi: No such file or directory" in done.stderr
    assert "2 new" in done.stdout


def test_export_writes_adif_that_an_independent_reader_takes(filled: Typed) -> None:
    records, _ = adif_io.read_from_string(filled("log", "export").stdout)
    assert [(record["CALL"], record["MODE"], record.get("SUBMODE")) for record in records] == [
        ("JA1QRV", "MFSK", "FT4"),  # in the order of time
        ("W1QSB", "FT8", None),
    ]
    out = filled.folder / "out.adi"
    filled("log", "export", str(out))
    assert len(adif_io.read_from_file(str(out))[0]) == 2
    other = Typed(filled.folder / "other")
    assert other.told("log", "import", str(out))["new"] == 2


def test_export_writes_a_contact_a_line(filled: Typed) -> None:
    lines = filled("log", "export", "--json", "-").stdout.splitlines()
    found = [json.loads(line) for line in lines]
    assert [(one["call"], one["mode"], one["started_at"]) for one in found] == [
        ("JA1QRV", "FT4", "2026-05-01T21:14:00.000Z"),
        ("W1QSB", "FT8", "2026-05-01T21:15:00.000Z"),
    ]
    since = filled("log", "export", "--json", "--since", "2026-05-01T21:15").stdout.splitlines()
    until = filled("log", "export", "--json", "--until", "2026-05-01T21:15").stdout.splitlines()
    assert [json.loads(line)["call"] for line in (*since, *until)] == ["W1QSB", "JA1QRV"]


def test_what_adi_cannot_hold_is_told_at_import_and_at_export(typed: Typed) -> None:
    adx = (
        '<?xml version="1.0" encoding="UTF-8"?><ADX><HEADER/><RECORDS><RECORD><CALL>W1QSB</CALL>'
        "<QSO_DATE>20260501</QSO_DATE><TIME_ON>2115</TIME_ON><BAND>20m</BAND><MODE>FT8</MODE>"
        "<NAME_INTL>Sören</NAME_INTL></RECORD></RECORDS></ADX>"
    )
    assert typed.told("log", "import", "-", given=adx.encode())["mended"] == 1

    async def log() -> None:
        store = Store.open(typed.data)
        await store.commit(contact(call="JA1QRV", comment="Grüße"), b"digest", [])
        store.close()

    asyncio.run(log())
    for target in ("-", str(typed.folder / "out.adi")):
        assert "record 2, COMMENT: ADI is ASCII" in typed("log", "export", target).stderr


def test_find_takes_patterns(filled: Typed) -> None:
    assert filled("log", "find", "w1qsb").stdout == "2026-05-01 21:15  W1QSB         20m    FT8     -07/-\n"
    assert "JA1QRV" in filled("log", "find", "ja*", "--band", "40M", "--mode", "ft4").stdout
    assert filled("log", "find", "JA*", "--band", "20m", code=1).stdout == ""
    assert json.loads(filled("log", "find", "W?QSB", "--json").stdout)["report_sent"] == "-07"


def test_stats_count_the_log(filled: Typed) -> None:
    told = filled.told("log", "stats")
    assert (told["contacts"], told["confirmed"], told["bands"]) == (2, 1, {"20m": 1, "40m": 1})
    assert told["worked"]["entity"] == 2
    assert filled("log", "stats").stdout.startswith("2 contacts, 1 confirmed\nfrom 2026-05-01T21:14Z to")


def test_undo_takes_the_last_import_back_or_the_one_that_is_named(filled: Typed) -> None:
    filled("log", "import", "-", given=b"<CALL:5>W1QSC<QSO_DATE:8>20260502<TIME_ON:4>1200<BAND:3>20m<MODE:2>CW<EOR>")
    assert filled.told("log", "undo", "1") == {"import": 1, "name": "log.adi", "taken_back": 2}
    assert "import 2 (standard input) is taken back: 1 contacts" in filled("log", "undo").stdout
    assert "there is no import to take back" in filled("log", "undo", code=1).stderr
    assert "there is no import 7 to take back" in filled("log", "undo", "7", code=1).stderr
    assert filled.told("log", "stats")["contacts"] == 0
    assert [(one["id"], one["undone"]) for one in filled.told("log", "undo", "--list")] == [(1, True), (2, True)]
    assert "taken back" in filled("log", "undo", "--list").stdout


def test_a_folder_without_a_log_is_one_clear_error(typed: Typed) -> None:
    for words in (("log", "stats"), ("log", "export"), ("log", "find", "W1QSB"), ("outbox", "list")):
        assert "there is no log in" in typed(*words, code=1).stderr


def test_while_a_watch_holds_the_log_it_can_be_read_but_not_written(filled: Typed) -> None:
    store = Store.open(filled.data)
    assert filled.told("log", "stats")["contacts"] == 2
    done = filled("log", "import", str(filled.folder / "log.adi"), code=1)
    assert "is held by process" in done.stderr
    assert "Stop that watch" in done.stderr
    filled("backup", str(filled.folder / "copy.db"))
    store.close()


def log_one(data: Path) -> None:
    async def commit() -> None:
        store = Store.open(data)
        await store.commit(contact(), b"1", [("file", b"record", None), ("home log", None, "no locator")])
        store.close()

    asyncio.run(commit())


def test_the_outbox_is_listed_inspected_retried_and_dropped(typed: Typed) -> None:
    log_one(typed.data)
    rows = typed.told("outbox", "list")
    assert [(row["id"], row["destination"], row["call"], row["state"], row["tries"]) for row in rows] == [
        (1, "file", "W1QSB", "waiting", 0),
        (2, "home log", "W1QSB", "dead", 0),
    ]
    assert "home log  W1QSB  dead, not tried yet: cannot be encoded: no locator" in typed("outbox", "list").stdout
    assert [row["id"] for row in typed.told("outbox", "list", "--destination", "file")] == [1]
    shown = typed.told("outbox", "inspect", "1")
    assert (shown["payload"], shown["key"]) == ("record", "DL5QRM|shack|1")
    assert "record" in typed("outbox", "inspect", "1").stdout
    assert "no row 9" in typed("outbox", "inspect", "9", code=1).stderr
    assert typed("outbox", "retry", "--dead").stdout == "1 will be tried again\n"
    assert typed("outbox", "drop", "1", "2").stdout == "2 will not be forwarded\n"
    assert typed.told("outbox", "list") == []
    assert [row["state"] for row in typed.told("outbox", "list", "--all")] == ["dropped", "dropped"]
    assert typed("outbox", "retry", "1").stdout == "1 will be tried again\n"
    assert "say which rows" in typed("outbox", "retry", code=2).stderr
    store = Store.open(typed.data)
    with store.reader() as db:
        assert [row.id for row in outbox.listed(db, states=[State.WAITING])] == [1]
    store.close()


def test_backup_tells_what_it_wrote(filled: Typed) -> None:
    to = filled.folder / "copy.db"
    assert filled.told("backup", str(to)) == {"path": str(to), "bytes": to.stat().st_size}
    assert "checked" in filled("backup", str(to)).stdout
    assert "cannot be written" in filled("backup", str(filled.folder / "none" / "copy.db"), code=1).stderr


def test_what_was_imported_without_any_contact_is_not_imported_again(typed: Typed) -> None:
    for name in ("empty.adi", "binary.adi"):
        (typed.folder / name).write_bytes(b"" if name == "empty.adi" else bytes(range(256)) * 9)
        assert typed.told("log", "import", str(typed.folder / name))["new"] == 0
    assert [one["name"] for one in typed.told("log", "undo", "--list")] == ["empty.adi", "binary.adi"]


def test_fields_of_the_users_own_come_out_as_the_standard_wants_them(typed: Typed) -> None:
    """ADIF 3.1.7, "User-defined Fields": a header defines them."""
    given = b"<USERDEF1:8:N>QRP_ERPX <EOH>" + ADIF[10:].replace(b"<EOR>", b"<QRP_ERPX:2>12 <APP_MINE_X:1>y <EOR>")
    typed("log", "import", "-", given=given)
    out = typed.folder / "out.adi"
    typed("log", "export", str(out))
    typed("log", "check", str(out))
    for data in (out.read_bytes(), typed("log", "export").stdout_bytes):
        reader = read(io.BytesIO(data))
        assert list(reader.header.user_fields) == ["QRP_ERPX"]
        assert [(record["QRP_ERPX"], record["APP_MINE_X"]) for record in reader] == [("12", "y")] * 2


def test_what_looks_like_a_field_within_a_text_and_what_is_not_written_define_none(typed: Typed) -> None:
    first, second = (
        b"<CALL:5>W1QSB <QSO_DATE:8>%s <TIME_ON:4>2115 <BAND:3>20m <MODE:3>FT8 " % day
        for day in (b"20260501", b"20260601")
    )
    given = first + b"<ERPX:2>12 <EOR>" + second + b"<COMMENT:19>ant <ERPX:2>99 wire <Rig_Temp:2>31 <EOR>"
    typed("log", "import", "-", given=b"made by hand <EOH>" + given)

    def defined(*since: str) -> list[str]:
        return list(read(io.BytesIO(typed("log", "export", *since).stdout_bytes)).header.user_fields)

    assert defined() == ["ERPX", "RIG_TEMP"]
    assert defined("--since", "2026-05-15") == ["RIG_TEMP"]


def test_what_looks_impossible_in_an_imported_contact_is_flagged_and_kept(typed: Typed) -> None:
    given = (
        b"<CALL:8>DL5QRM/P <STATION_CALLSIGN:6>DL5QRM <QSO_DATE:8>20990501 <TIME_ON:4>2115 <FREQ:5>7.074 <BAND:3>20m"
        b" <MODE:3>FT8 <EOR>"
    )
    typed("log", "import", "-", given=given)
    (found,) = map(json.loads, typed("log", "export", "--json", "-").stdout.splitlines())
    assert found["flags"] == [
        "band 20m and frequency 7.074 MHz disagree",
        "own call as the other station",
        "ends in the future",
    ]
    assert typed("log", "find", "*").stdout.rstrip().endswith("own call as the other station; ends in the future")


def test_a_file_cannot_write_on_the_terminal(typed: Typed) -> None:
    given = ADIF.replace(b"<RST_SENT:3>-07", b"<RST_SENT:6>\x1b[31m7 <COUNTRY:5>a\x1b[0m <BAND:4>\x1b[2J")
    typed("log", "import", "-", given=given)
    assert "\x1b" not in typed("log", "find", "*").stdout


def test_find_says_that_there_is_nothing(filled: Typed) -> None:
    assert filled("log", "find", "ZL1QSA", code=1).stderr == "no such contact in the log\n"


def test_a_reader_that_has_enough_is_no_fault(filled: Typed) -> None:
    read_end, write_end = os.pipe()
    os.close(read_end)
    for words in (("--json",), ()):
        command = [sys.executable, "-m", "watchkeeper", "log", "export", *words, "--data", str(filled.data)]
        done = subprocess.run(command, stdout=write_end, stderr=subprocess.PIPE, check=False)
        assert done.stderr == b""
    os.close(write_end)


def test_a_copy_never_takes_the_place_of_the_log(filled: Typed) -> None:
    assert "is the log itself" in filled("backup", str(filled.data / "watchkeeper.db"), code=1).stderr


def test_rows_of_the_outbox_that_there_are_not_are_told(typed: Typed) -> None:
    log_one(typed.data)
    for verb, done in (("retry", "will be tried again"), ("drop", "will not be forwarded")):
        assert "no row of that number can be" in typed("outbox", verb, "9", code=1).stderr
        assert typed("outbox", verb, "1", "9").stdout == f"1 {done}, 1 not\n"
