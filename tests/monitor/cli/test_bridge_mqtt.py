"""The command line of ``watchkeeper bridge-mqtt``; what it passes on is tried with a broker beside the plugin."""

from __future__ import annotations

import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from watchkeeper.cli import cli
from watchkeeper.cli.exits import Exit


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "Missing option '--broker'"),
        (["--broker", "x:y"], "'y' is no port"),
        (["--broker", "x", "--topic", "a/#"], "is not the name of one topic"),
        (["--broker", "x", "--topic", "+"], "is not the name of one topic"),
        (["--broker", "x", "--to", "host:99999"], "'99999' is no port"),
    ],
)
def test_what_cannot_be_right_is_refused(arguments: list[str], words: str) -> None:
    ran = CliRunner().invoke(cli, ["bridge-mqtt", *arguments])
    assert ran.exit_code == Exit.USAGE
    assert words in ran.output


@pytest.mark.parametrize("option", ["--password-file", "--key-file"])
def test_a_secret_that_cannot_be_read_is_named(tmp_path: Path, option: str) -> None:
    ran = CliRunner().invoke(cli, ["bridge-mqtt", "--broker", "x", option, str(tmp_path / "gone")])
    assert ran.exit_code == Exit.CONFIG
    assert str(tmp_path / "gone") in ran.output


def test_without_the_library_it_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda _name: None)
    ran = CliRunner().invoke(cli, ["bridge-mqtt", "--broker", "x"])
    assert (ran.exit_code, "extra 'mqtt'" in ran.output) == (Exit.FAILED, True)


def test_it_waits_for_a_broker_that_is_away_and_ends_on_sigterm() -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    process = subprocess.Popen(
        [sys.executable, "-m", "watchkeeper", "bridge-mqtt", "--broker", f"127.0.0.1:{port}"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stderr is not None
        assert "no connection to 127.0.0.1" in process.stderr.readline()
        process.send_signal(signal.SIGTERM)
        out, _ = process.communicate(timeout=20)
    finally:
        process.kill()
    assert (process.returncode, out) == (0, "0 events passed on, 0 refused, 0 without a receipt\n")
