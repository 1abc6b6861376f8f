"""The command that takes messages apart."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from watchkeeper.cli import cli

#: the contract, in its order
KEYS = (
    "text type sender addressee step report_db locator directed_to exchange free_text sender_hashed addressee_hashed "
    "parts credible reasons"
)
PART_KEYS = {"sender", "addressee", "step", "report_db", "sender_hashed", "addressee_hashed"}


@pytest.fixture
def run(tmp_path: Path) -> Any:
    def call(*arguments: str, stdin: str | bytes = "") -> Result:
        return CliRunner().invoke(cli, ["read", "--data", str(tmp_path), *arguments], input=stdin)

    return call


def objects(result: Result) -> list[dict[str, Any]]:
    assert result.exit_code == 0, result.output
    return [json.loads(line) for line in result.stdout.splitlines()]


def test_one_object_a_line_with_every_key(run: Any) -> None:
    found = objects(run("--json", "CQ DX DL5QRM JO62", "W1QSB DL5QRM RR73", "MORE THAN A MESSAGE HOLDS"))
    assert [list(one) for one in found] == [KEYS.split()] * 3
    assert found[0] == {
        "text": "CQ DX DL5QRM JO62",
        "type": "standard",
        "sender": "DL5QRM",
        "addressee": None,
        "step": "calling",
        "report_db": None,
        "locator": "JO62",
        "directed_to": "DX",
        "exchange": None,
        "free_text": None,
        "sender_hashed": False,
        "addressee_hashed": False,
        "parts": None,
        "credible": True,
        "reasons": found[0]["reasons"],
    }
    assert "locator JO62 can lie in Fed. Rep. of Germany" in found[0]["reasons"]
    assert (found[1]["step"], found[1]["locator"]) == ("roger_farewell", None)
    assert (found[2]["type"], found[2]["step"], found[2]["credible"]) == ("other", None, False)


def test_the_two_addressee_form(run: Any) -> None:
    [found] = objects(run("--json", "DL5QRM RR73; G4QRS <KH1/W9QTA> -08"))
    assert (found["sender"], found["addressee"], found["step"]) == ("KH1/W9QTA", "DL5QRM", "roger_farewell")
    assert found["sender_hashed"]
    assert [set(part) for part in found["parts"]] == [PART_KEYS, PART_KEYS]
    assert [(part["sender"], part["addressee"], part["step"], part["report_db"]) for part in found["parts"]] == [
        ("KH1/W9QTA", "DL5QRM", "roger_farewell", None),
        ("KH1/W9QTA", "G4QRS", "report", -8),
    ]


def test_many_from_the_standard_input_in_order(run: Any) -> None:
    texts = [f"W1QSB DL5QRM {report:+03d}" for report in range(-24, 20)]
    found = objects(run("--json", "-", stdin="\n".join(texts) + "\r\n\n"))
    assert [one["text"] for one in found] == texts
    assert [one["report_db"] for one in found] == list(range(-24, 20))


def test_arguments_and_standard_input_together(run: Any) -> None:
    found = objects(run("--json", "CQ W1QSB", "-", "CQ G4QRS", stdin="CQ JA1QRV\n"))
    assert [one["sender"] for one in found] == ["W1QSB", "JA1QRV", "G4QRS"]


def test_what_would_steer_a_terminal_is_not_shown(run: Any) -> None:
    result = run("CQ W1QSB \x1b[31mFN42")
    assert result.exit_code == 0
    assert "\x1b" not in result.stdout


def test_bytes_that_are_no_text(run: Any) -> None:
    found = objects(run("--json", "-", stdin=b"\xff\xfe\x1b[31m\nCQ W1QSB FN42\n"))
    assert [one["type"] for one in found] == ["other", "standard"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("CQ DX DL5QRM JO62", "DL5QRM calls DX, locator JO62; credible"),
        ("W1QSB DL5QRM", "DL5QRM answers W1QSB; credible"),
        ("<...> W1QSB R-12", "W1QSB acknowledges and gives a report of −12 dB to an unresolved station; "),
        ("W1QSB DL5QRM 6A WI", "DL5QRM gives a report to W1QSB, exchange 6A WI; "),
        ("DL5QRM RR73; G4QRS <KH1/W9QTA> -08", "KH1/W9QTA (told by a hash) gives a report of −8 dB to G4QRS; "),
        ("-73 GL", "free text; credible (a text as operators write them)"),
        ("<...> AZEEU9LTISO RR73", "doubtful ("),
        ("MORE THAN A MESSAGE HOLDS", "no message of the protocol; doubtful"),
    ],
)
def test_for_people(run: Any, text: str, says: str) -> None:
    result = run(text)
    assert result.exit_code == 0
    assert result.stdout.startswith(f"{text}: ")
    assert says in result.stdout


def test_an_argument_that_is_no_text(run: Any) -> None:
    [found] = objects(run("--json", "CQ W1QSB \udcff"))
    assert found["text"] == "CQ W1QSB \ufffd"


def test_wrong_use(run: Any) -> None:
    assert run().exit_code == 2
    unknown = run("--jsonn", "CQ W1QSB")
    assert unknown.exit_code == 2
    assert "No such option" in unknown.stderr
