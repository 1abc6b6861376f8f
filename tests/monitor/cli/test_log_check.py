"""``watchkeeper log check``: its lines, its JSON and its exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from watchkeeper.cli import cli

GOOD = b"<CALL:6>DL5QRM <QSO_DATE:8>20260713 <TIME_ON:4>2015 <BAND:3>20m <MODE:3>FT8 <EOR>\n"
BAD = GOOD.replace(b"<BAND:3>20m", b"<BAND:3>21m")
POOR = GOOD.replace(b"<MODE:3>FT8", b"<MODE:5>PSK31")


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return tmp_path / "log.adi"


@pytest.mark.parametrize(("data", "code"), [(GOOD, 0), (POOR, 0), (BAD, 1), (GOOD + BAD[:-7], 1), (b"", 0)])
def test_the_exit_code_tells_errors(log: Path, data: bytes, code: int) -> None:
    log.write_bytes(data)
    assert CliRunner().invoke(cli, ["log", "check", str(log)]).exit_code == code


def test_json_has_the_agreed_keys(log: Path) -> None:
    log.write_bytes(GOOD + BAD)
    result = CliRunner().invoke(cli, ["log", "check", str(log), "--json"])
    assert json.loads(result.stdout) == {
        "records": 2,
        "problems": [
            {
                "record": 2,
                "line": 2,
                "field": "BAND",
                "severity": "error",
                "why": "'21m' is not in the standard's Band table",
            }
        ],
    }


def test_a_line_names_file_line_record_and_field(log: Path) -> None:
    log.write_bytes(BAD)
    result = CliRunner().invoke(cli, ["log", "check", str(log)])
    assert result.stdout.splitlines() == [
        f"{log}:1: error: record 1, BAND: '21m' is not in the standard's Band table",
        "1 record, 1 error, 0 warnings",
    ]


def test_standard_input_and_several_files(log: Path) -> None:
    log.write_bytes(GOOD)
    result = CliRunner().invoke(cli, ["log", "check", str(log), "-", "--json"], input=BAD)
    found = json.loads(result.stdout)
    assert (found["records"], [problem["file"] for problem in found["problems"]]) == (2, ["standard input"])
    assert result.exit_code == 1


def test_a_file_that_cannot_be_read_is_one_clear_error(tmp_path: Path) -> None:
    for path in (tmp_path / "none.adi", tmp_path):
        result = CliRunner().invoke(cli, ["log", "check", str(path), "--json"])
        assert result.exit_code == 2
        assert result.stdout == ""
        assert result.stderr.startswith(f"{path} cannot be read: ")
        assert len(result.stderr.splitlines()) == 1


def test_what_a_file_holds_cannot_steer_the_terminal(log: Path) -> None:
    log.write_bytes(
        b"<CALL:12>\x1b[31mDL5QRM\x07<MODE:4>\x1b[2J<SUBMODE:3>\x1b[H<STATE:4>\x1b[2J<BAND:4>\x1b[2J<X\x1bY:1>1<EOR>"
    )
    result = CliRunner().invoke(cli, ["log", "check", str(log)])
    assert result.exit_code == 1
    assert all(character.isprintable() or character == "\n" for character in result.stdout)
