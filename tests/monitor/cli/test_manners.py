"""What all commands have in common: help with an example, exit codes, completion."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterator

import click
import pytest
from click.testing import CliRunner

from watchkeeper.cli import COMMANDS, cli
from watchkeeper.cli.exits import MEANINGS, Exit


def commands(group: click.Group, path: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """Every command and group of commands, by the words that call it."""
    context = click.Context(group)
    for name in group.list_commands(context):
        found = group.get_command(context, name)
        assert found is not None, name
        yield (*path, name)
        if isinstance(found, click.Group):
            yield from commands(found, (*path, name))


EVERY = [(), *sorted(commands(cli))]


@pytest.mark.parametrize("words", EVERY, ids=lambda words: " ".join(words) or "watchkeeper")
def test_the_help_says_what_it_does_and_gives_an_example(words: tuple[str, ...]) -> None:
    ran = CliRunner().invoke(cli, [*words, "--help"])
    assert ran.exit_code == 0
    assert "Example" in ran.output
    assert " ".join(("watchkeeper", *words)) in ran.output.partition("Example")[2]


def test_the_overview_names_every_command_and_exit_code() -> None:
    output = CliRunner().invoke(cli, ["--help"]).output
    assert all(f"  {name} " in output for name in COMMANDS)
    assert all(f"  {code.value}  {meaning}" in output for code, meaning in MEANINGS.items())
    assert set(MEANINGS) == set(Exit)


def test_a_command_line_that_is_not_understood_ends_with_2() -> None:
    assert CliRunner().invoke(cli, ["watch", "--prot", "1"]).exit_code == Exit.USAGE
    assert CliRunner().invoke(cli, ["wacth"]).exit_code == Exit.USAGE


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_the_completion_script_is_for_its_shell(shell: str) -> None:
    ran = CliRunner().invoke(cli, ["completion", shell])
    assert ran.exit_code == 0
    assert f"_WATCHKEEPER_COMPLETE={shell}_complete" in ran.output


def test_bash_reads_the_completion_script() -> None:
    script = CliRunner().invoke(cli, ["completion", "bash"]).output
    bash = shutil.which("bash")
    assert bash is not None
    read = subprocess.run([bash, "-n"], input=script, text=True, capture_output=True, check=False)
    assert (read.returncode, read.stderr) == (0, "")
