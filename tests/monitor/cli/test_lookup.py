"""``watchkeeper lookup``."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from watchkeeper.cli import cli
from watchkeeper.radio import entity

KEYS = [
    "call",
    "valid",
    "entity",
    "entity_code",
    "cq_zone",
    "itu_zone",
    "continent",
    "latitude",
    "longitude",
    "matched",
    "status",
]


@pytest.fixture(autouse=True)
def own_data_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("WATCHKEEPER_DATA", str(tmp_path))
    return tmp_path


def told(*arguments: str, lines: str | None = None) -> list[dict[str, object]]:
    result = CliRunner().invoke(cli, ["lookup", "--json", *arguments], input=lines, catch_exceptions=False)
    assert result.exit_code == 0
    return [json.loads(line) for line in result.stdout.splitlines()]


def test_one_object_a_call_with_the_agreed_keys() -> None:
    answers = told("VE3/G4QRS", "W1QSB/MM", "HELLO")
    assert all(list(answer) == KEYS for answer in answers)
    assert answers[0] == {
        "call": "VE3/G4QRS",
        "valid": True,
        "entity": "Canada",
        "entity_code": 1,
        "cq_zone": 5,
        "itu_zone": 9,
        "continent": "NA",
        "latitude": 44.35,
        "longitude": -78.75,
        "matched": "VE",
        "status": "portable",
    }
    nothing = dict.fromkeys(KEYS[2:10])
    assert answers[1] == {"call": "W1QSB/MM", "valid": True, **nothing, "status": "maritime"}
    assert answers[2] == {"call": "HELLO", "valid": False, **nothing, "status": "unknown"}


def test_lines_are_answered_in_order_blank_ones_left_out() -> None:
    answers = told("-", lines="DL5QRM\n\n  w1qsb  \r\nnonsense\nJA1QRV")
    assert [answer["call"] for answer in answers] == ["DL5QRM", "W1QSB", "NONSENSE", "JA1QRV"]


def test_arguments_and_lines_can_be_mixed() -> None:
    assert [answer["call"] for answer in told("G4QRS", "-", "VK2QRN", lines="DL5QRM\n")] == [
        "G4QRS",
        "DL5QRM",
        "VK2QRN",
    ]


def test_bytes_that_are_no_text_are_answered_too() -> None:
    result = CliRunner().invoke(cli, ["lookup", "--json", "-"], input=b"DL5QRM\n\xff\xfe\nG4QRS\n")
    assert [json.loads(line)["valid"] for line in result.stdout.splitlines()] == [True, False, True]


def test_for_people() -> None:
    result = CliRunner().invoke(cli, ["lookup", "VE3/G4QRS", "W1QSB/AM", "VP8", "HELLO"])
    assert result.stdout.splitlines() == [
        "VE3/G4QRS    Canada (1), NA, CQ zone 5, ITU zone 9, 44.35° N 78.75° W, portable, by VE",
        "W1QSB/AM     aeronautical: no entity",
        "VP8          no call sign; the prefix is that of Falkland Islands",
        "HELLO        no call sign",
    ]


def test_what_a_terminal_would_obey_is_not_repeated() -> None:
    lines = "\x1b[31mW1QSB\nW1\x00QSB\n\u202eW1QSB\n"
    told = CliRunner().invoke(cli, ["lookup", "-"], input=lines, catch_exceptions=False).stdout
    assert [line.split()[0] for line in told.splitlines()] == ["W1QSB"] * 3
    assert told.count("no call sign") == 3
    assert told.replace("\n", "").isprintable()


def test_a_call_is_needed() -> None:
    result = CliRunner().invoke(cli, ["lookup"])
    assert result.exit_code == 2
    assert "CALL" in result.stderr


def test_a_damaged_refreshed_release_is_named_and_passed_over(own_data_folder: Path) -> None:
    (own_data_folder / "entities.tsv").write_text("rubbish\n", encoding="utf-8")
    result = CliRunner().invoke(cli, ["lookup", "DL5QRM"])
    assert result.exit_code == 0
    assert "Germany" in result.stdout
    assert result.stderr.startswith(f"{own_data_folder / 'entities.tsv'} is not used: line 1")


def test_a_refreshed_release_damaged_in_the_middle_is_passed_over(own_data_folder: Path) -> None:
    text = entity.BUNDLED.read_text(encoding="utf-8")
    (own_data_folder / "entities.tsv").write_text(text + "X\t1\n", encoding="utf-8")
    result = CliRunner().invoke(cli, ["lookup", "DL5QRM"])
    assert "Germany" in result.stdout
    assert "is not used: line" in result.stderr


def test_two_hundred_thousand_calls_in_one_go() -> None:
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    prefixes = ["DL", "W", "JA", "VK", "G", "PY", "OH", "F"]
    calls = [f"{p}{d}Q{x}{y}" for p in prefixes for d in range(10) for x in "RSTU" for y in letters for _ in range(25)][
        :200_000
    ]
    assert len(calls) == 200_000
    result = subprocess.run(
        [sys.executable, "-m", "watchkeeper", "lookup", "--json", "-"],
        input="\n".join(calls).encode(),
        capture_output=True,
        check=True,
        timeout=60,
    )
    lines = result.stdout.splitlines()
    assert len(lines) == 200_000
    assert [json.loads(line)["call"] for line in lines[::997]] == calls[::997]
