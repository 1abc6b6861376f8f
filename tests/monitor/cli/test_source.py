"""``watchkeeper source check`` as a process of its own."""

from __future__ import annotations

import json
import re
import signal
import socket
import subprocess
import sys
import time
from typing import Any

import pytest

from watchkeeper.sender import Sender


def check(*arguments: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", "from watchkeeper.cli import main; main()", "source", "check", *arguments]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def judged(events: list[tuple[str, dict[str, Any]]], *options: str) -> tuple[int, str, str]:
    """Exit status, output and errors of a check that is ended once the events are out."""
    with check("60", "--port", "0", *options) as process:
        assert process.stderr is not None
        found = re.search(r"on (\S+) port (\d+) for 60 s", process.stderr.readline())
        assert found is not None
        sender = Sender("bench", (found[1], int(found[2])))
        for kind, fields in events:
            sender.send(kind, **fields)
        sender.close()
        process.send_signal(signal.SIGTERM)
        output, errors = process.communicate(timeout=10)
    return process.returncode, output, errors


def heard(**changes: Any) -> tuple[str, dict[str, Any]]:
    start = (time.time() - 13.5) // 15 * 15
    fields = {"mode": "FT8", "dial_hz": 14_074_000, "offset_hz": 1520, "snr_db": -12, "text": "CQ DL5QRM JO62"}
    return "heard", {"at": start, **fields, **changes}


def test_a_good_sender_passes() -> None:
    status, output, errors = judged([heard()], "--json", "--show")
    told = json.loads(output)
    assert (status, told["passed"], told["kinds"]["heard"]) == (0, True, 1)
    assert {"rule": "at is a period's start", "verdict": "done", "why": ""} in told["checks"]
    assert '"text":"CQ DL5QRM JO62"' in errors


def test_a_bad_one_fails_and_is_told_why() -> None:
    status, output, _ = judged([heard(dial_hz=14_074), heard(text="a\x1b[2J")])
    assert status == 1
    assert output.startswith("2 heard\n")
    assert "failed   dial frequencies lie in a band: 1 of 2: 14074 Hz in heard\n" in output
    assert "missing  period events: for an early list, and empty periods\n" in output
    assert "\x1b" not in output


def test_nothing_at_all_is_no_pass() -> None:
    status, output, _ = judged([])
    assert (status, output.splitlines()[0]) == (1, "nothing came")


def test_it_ends_by_itself() -> None:
    with check("0.1", "--port", "0", "--json") as process:
        output, _ = process.communicate(timeout=10)
    assert json.loads(output)["passed"] is False


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        (["1", "--address", "0.0.0.0"], "0.0.0.0 can be reached by others"),
        (["1", "--key-file", "gone"], "cannot read the key file gone"),
        (["soon"], "'soon' is not a valid"),
    ],
)
def test_what_cannot_work_is_one_clear_error(arguments: list[str], complaint: str) -> None:
    with check(*arguments) as process:
        _, errors = process.communicate(timeout=10)
    assert process.returncode != 0
    assert complaint in errors
    assert "Traceback" not in errors


def test_a_watch_that_stands_there_already_is_named() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as taken:
        taken.bind(("127.0.0.1", 0))
        with check("1", "--port", str(taken.getsockname()[1])) as process:
            _, errors = process.communicate(timeout=10)
    assert "is taken: another watch may be standing there" in errors
