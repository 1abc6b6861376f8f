"""The examples of the page for adapters: run as they stand, but for the port and address of the watch of the test."""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from click.testing import CliRunner
from tests.monitor.cli.daemon import Daemon, daemon, until

from watchkeeper.cli import cli
from watchkeeper.intake.pattern import load

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "adapters.md").read_text(encoding="utf-8")
BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def examples(heading: str, language: str) -> list[str]:
    """The blocks of that language under the heading, up to the next one."""
    section = re.split(r"^#+ ", PAGE, flags=re.MULTILINE)
    (text,) = [part for part in section if part.partition("\n")[0] == heading]
    return [block for kind, block in BLOCK.findall(text) if kind == language]


@pytest.fixture
def adapter(tmp_path: Path) -> Path:
    """The folder of an adapter: the sender file is copied there."""
    folder = tmp_path / "adapter"
    folder.mkdir()
    shutil.copy(ROOT / "monitor" / "watchkeeper" / "sender" / "send.py", folder)
    return folder


@pytest.fixture
def watch(tmp_path: Path) -> Iterator[Daemon]:
    with daemon(tmp_path / "data") as running:
        yield running


def run(folder: Path, code: str, watch: Daemon) -> str:
    """Run an example of Python as a file of its own; what it prints."""
    told = code.replace("41815", str(watch.address[1])).replace("192.168.1.20", watch.address[0])
    (folder / "example.py").write_text(told)
    done = subprocess.run([sys.executable, "example.py"], cwd=folder, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_the_sender_file_brings_a_burst_in(adapter: Path, watch: Daemon) -> None:
    (code,) = examples("The sender file", "python")
    run(adapter, code, watch)
    intake = until(lambda: (found := watch.ask("/api/status")["intake"])["accepted"] == 4 and found, "all is in")
    assert sum(intake["rejected"].values()) == 0
    assert watch.ask("/api/snapshot")["own"]["call"] == "DL5QRM"


def test_a_contact_gets_its_receipt_and_a_second_run_makes_no_second_contact(adapter: Path, watch: Daemon) -> None:
    (code,) = examples("Receipts and repeats", "python")
    again = code.replace("now = time.time()", f"now = {int(time.time())}")
    assert again != code
    assert run(adapter, again, watch) == "2026-0001 stored\nstill waiting: []\n"
    assert run(adapter, again, watch) == "2026-0001 repeated\nstill waiting: []\n"
    assert watch.ask("/api/snapshot")["contacts"] == 1


def test_a_line_gets_in_by_a_pattern(watch: Daemon) -> None:
    (script,) = examples("Lines of text", "bash")
    command = script.replace("41815", str(watch.address[1])).replace(
        "watchkeeper feed", f"{sys.executable} -m watchkeeper feed"
    )
    done = subprocess.run(["bash", "-c", command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    until(lambda: watch.ask("/api/status")["intake"]["accepted"] == 1, "the line is in")


def test_the_pattern_reads_what_it_says(tmp_path: Path) -> None:
    (text,) = examples("Lines of text", "toml")
    (tmp_path / "pattern.toml").write_text(text)
    assert load(tmp_path / "pattern.toml", {}).title == "my decoder's lines"


def test_a_sealed_sender_is_answered(tmp_path: Path, adapter: Path) -> None:
    (script,) = examples("From another computer", "bash")
    subprocess.run(["bash", "-c", script], cwd=adapter, check=True)
    key = adapter / "seal.key"
    assert key.stat().st_mode & 0o777 == 0o600
    (config,) = examples("From another computer", "toml")
    told = config.replace("0.0.0.0", "127.0.0.1").replace('"seal.key"', f'"{key}"')
    (code,) = examples("From another computer", "python")
    with daemon(tmp_path / "data", told) as watch:
        assert run(adapter, code, watch) == "confirmed\n"


@pytest.mark.parametrize("heading", ["From another computer", "A multicast group"])
def test_the_config_is_good(tmp_path: Path, heading: str) -> None:
    (text,) = examples(heading, "toml")
    (tmp_path / "watch.toml").write_text(text)
    checked = CliRunner().invoke(cli, ["config", "check", str(tmp_path / "watch.toml")])
    assert checked.exit_code == 0, checked.output


def test_every_command_of_the_page_is_understood(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "broker.txt").write_text("secret")
    scripts = "\n".join(block for kind, block in BLOCK.findall(PAGE) if kind == "bash").replace("\\\n", " ")
    commands = re.findall(r"^\s*watchkeeper (.+)$", scripts, re.MULTILINE)
    assert len(commands) >= 4
    for words in map(shlex.split, commands):
        command: click.Command = cli
        while isinstance(command, click.Group):
            found = command.get_command(click.Context(command), words.pop(0))
            assert found is not None
            command = found
        command.make_context("watchkeeper", words)
