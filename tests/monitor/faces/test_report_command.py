"""``watchkeeper report`` on a rehearsed session: the report tells what the rehearsal says it did."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from tests.monitor.cli.daemon import last_json, run

from watchkeeper.cli import cli


@pytest.fixture(scope="module")
def rehearsed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    """A data folder, and what the rehearsal that filled it told."""
    folder = tmp_path_factory.mktemp("rehearsed")
    options = ("--plain", "--periods", "20", "--pace", "max", "--seed", "7", "--json", "--data", str(folder))
    return folder, last_json(run("rehearse", *options))


def test_it_tells_what_was_rehearsed(rehearsed: tuple[Path, dict[str, Any]], tmp_path: Path) -> None:
    folder, told = rehearsed
    out = tmp_path / "report.json"
    result = CliRunner().invoke(cli, ["report", "--data", str(folder), "--out", str(out)])
    assert result.exit_code == 0, result.output
    report = json.loads(out.read_text(encoding="utf-8"))
    assert report["own"]["call"] == "DL5QRM"
    assert len(report["contacts"]) == told["contacts_stored"]
    assert {state for one in report["contacts"] for state in one["forwarded"].values()} == {"delivered"}
    assert report["hearings"] == sum(one["hearings"] for one in report["bins"])
    assert report["events_lost"] == 0
    assert len(report["hails"]) == told["hails"]
    assert report["ended_ms"] - report["started_ms"] <= 21 * 15_000
    placed = sum(one["heard"] for one in report["directions"])
    assert 0 < placed <= report["stations"]


def test_a_session_that_is_not_there_and_an_unknown_form_are_clear_errors(
    rehearsed: tuple[Path, dict[str, Any]], tmp_path: Path
) -> None:
    folder, _ = rehearsed
    for arguments, words in (
        (["99", "--out", str(tmp_path / "r.json")], "no session 99"),
        (["--out", str(tmp_path / "r.docx")], "a report is written as"),
        (["--out", str(tmp_path / "missing" / "r.json")], "No such file"),
    ):
        result = CliRunner().invoke(cli, ["report", "--data", str(folder), *arguments])
        assert result.exit_code == 1
        assert words in result.output
