"""A plugin to start from: written whole, by a name that is free, and good by every check that a project has."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from watchkeeper.cli import cli

#: the longest name there can be: no line of the project may grow too long by it
LONGEST = "abcdefghijklmnopqrstuvwxyz_abcde"


def new(*arguments: str) -> Result:
    return CliRunner().invoke(cli, ["plugin", "new", *arguments])


def python(folder: Path, *arguments: str) -> None:
    done = subprocess.run([sys.executable, "-m", *arguments], cwd=folder, capture_output=True, text=True, check=False)
    assert done.returncode == 0, (arguments, done.stdout[-3000:], done.stderr[-3000:])


def test_the_project_has_hooks_config_tests_and_packaging(tmp_path: Path) -> None:
    made = new("far_away", "--in", str(tmp_path))
    assert made.exit_code == 0
    folder = tmp_path / "far_away"
    assert str(folder) in made.output
    files = sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file())
    assert files == [
        "README.md",
        "pyproject.toml",
        "tests/test_plugin.py",
        "watchkeeper_far_away/__init__.py",
        "watchkeeper_far_away/notes.py",
        "watchkeeper_far_away/plugin.py",
        "watchkeeper_far_away/py.typed",
        "watchkeeper_far_away/settings.py",
    ]
    assert 'far_away = "watchkeeper_far_away:FarAwayPlugin"' in (folder / "pyproject.toml").read_text()
    assert not [path for path in folder.rglob("*") if path.is_file() and re.search(r"\$\{?\w", path.read_text())]


@pytest.mark.parametrize("name", ["a", LONGEST])
def test_it_passes_its_own_tests_and_the_linters(tmp_path: Path, name: str) -> None:
    assert new(name, "--in", str(tmp_path)).exit_code == 0
    folder = tmp_path / name
    python(folder, "pytest", "-q", "-p", "no:cacheprovider")
    python(folder, "ruff", "check", "--no-cache", ".")
    python(folder, "ruff", "format", "--no-cache", "--check", ".")


@pytest.mark.long
def test_it_is_typed_to_the_last(tmp_path: Path) -> None:
    assert new("hail", "--in", str(tmp_path)).exit_code == 0
    python(tmp_path / "hail", "mypy")


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("Far-Away", "'far_away' would do"),
        ("9lives", "no name for a plugin"),
        ("", "no name for a plugin"),
        ("../up", "'up' would do"),
        ("a" * 33, "no name for a plugin"),
        ("far away", "'far_away' would do"),
        ("lookout", "taken by the plugin of watchkeeper"),
    ],
)
def test_a_bad_or_taken_name_is_refused_with_nothing_written(tmp_path: Path, name: str, why: str) -> None:
    made = new(name, "--in", str(tmp_path))
    assert made.exit_code == 1
    assert len(made.output.splitlines()) == 1
    assert why in made.output
    assert not [*tmp_path.iterdir()]


def test_what_is_there_already_is_left_alone(tmp_path: Path) -> None:
    kept = tmp_path / "far_away" / "kept.txt"
    kept.parent.mkdir()
    kept.write_text("mine")
    made = new("far_away", "--in", str(tmp_path))
    assert made.exit_code == 1
    assert made.output == f"watchkeeper: {kept.parent} exists already\n"
    assert [*tmp_path.rglob("*")] == [kept.parent, kept]


def test_a_place_that_is_no_folder_is_named(tmp_path: Path) -> None:
    place = tmp_path / "file"
    place.write_text("")
    made = new("far_away", "--in", str(place / "below"))
    assert made.exit_code == 1
    assert str(place) in made.output
