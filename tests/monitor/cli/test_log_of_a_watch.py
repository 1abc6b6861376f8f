"""The log of a standing watch is changed by that watch: an import and its undo, told in words and judged by at once."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from tests.monitor.cli.daemon import Daemon, complaint, daemon, run

from watchkeeper.cli import cli
from watchkeeper.faces.source import ActRefusedError, tell
from watchkeeper.store.folder import ADIF_COPY

ADIF = b"""a log <EOH>
<CALL:5>W1QSB <QSO_DATE:8>20260501 <TIME_ON:6>211500 <BAND:3>20m <MODE:3>FT8 <EOR>
<CALL:6>JA1QRV <QSO_DATE:8>20260501 <TIME_ON:6>211400 <BAND:3>40m <MODE:3>FT4 <EOR>
<CALL:6>VK3QSD <QSO_DATE:8>20261301 <TIME_ON:6>211400 <BAND:3>40m <MODE:3>FT8 <EOR>
"""
CONFIG = '[station]\ncall = "DL5QRM"\n[plugins]\nallow = ["worked"]\n'


def in_the_log(watch: Daemon) -> Any:
    """How many contacts the watch judges by."""
    views = watch.ask("/api/snapshot")["views"]
    counts = next(view for view in views if view["name"] == "worked.counts")
    return next(reading["value"] for reading in counts["readings"] if reading["key"] == "ever")


def test_an_import_goes_through_the_standing_watch_which_judges_by_it_and_can_be_taken_back(tmp_path: Path) -> None:
    folder, file = tmp_path / "data", tmp_path / "old.adi"
    file.write_bytes(ADIF)
    words = ("--data", str(folder))
    with daemon(folder, CONFIG) as watch:
        assert in_the_log(watch) == 0
        told = json.loads(run("log", "import", str(file), "--json", *words))
        assert told == {"read": 3, "new": 2, "equal": 0, "mended": 1, "refused": 1}
        assert in_the_log(watch) == 2
        assert b"2 equal" in run("log", "import", "-", *words, given=ADIF)
        assert not list(folder.glob(".import-*"))
        assert [one["name"] for one in json.loads(run("log", "undo", "--list", "--json", *words))] == [
            "old.adi",
            "standard input",
        ]
        assert "there is no import 9 to take back" in complaint("log", "undo", "9", *words)
        assert "missing.adi: No such file" in complaint("log", "import", str(tmp_path / "missing.adi"), *words)
        assert json.loads(run("log", "undo", "1", "--json", *words))["taken_back"] == 2
        assert in_the_log(watch) == 0
        run("log", "import", str(file), *words)
        watch.kill()
    with daemon(folder, CONFIG) as watch:  # the session goes on, and knows the log as it was changed
        assert in_the_log(watch) == 2
        assert watch.stop() == 0


def test_a_file_that_cannot_be_taken_in_is_told_as_without_a_watch(tmp_path: Path) -> None:
    (tmp_path / "old.adi").write_bytes(ADIF)
    files = [str(tmp_path / name) for name in ("missing.adi", "old.adi", "old.adi")]

    def tried(folder: Path) -> tuple[int, str, str]:
        folder.mkdir(exist_ok=True)
        (folder / ADIF_COPY).write_bytes(b"in the way")
        command = [sys.executable, "-m", "watchkeeper", "log", "import", *files, "--json", "--data", str(folder)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        return done.returncode, done.stdout, done.stderr.replace(str(folder), "FOLDER")

    alone = tried(tmp_path / "alone")
    with daemon(tmp_path / "watched", CONFIG):
        assert tried(tmp_path / "watched") == alone
    code, told, complaints = alone
    assert code == 1
    assert json.loads(told)["read"] == 0
    missing, *others = complaints.splitlines()
    assert missing == f"watchkeeper: {files[0]}: No such file or directory"
    why = f"no copy of it can be kept in {Path('FOLDER', ADIF_COPY)}: File exists"
    assert others == [f"watchkeeper: {files[1]}: {why}"] * 2


def test_the_standard_input_is_laid_into_the_folder_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "data"
    with daemon(folder, CONFIG):
        seen: list[int] = []

        def told(*given: Any, **more: Any) -> Any:
            seen.append(len(list(folder.glob(".import-*"))))
            return tell(*given, **more)

        monkeypatch.setattr("watchkeeper.cli.log_import.tell", told)
        done = CliRunner().invoke(cli, ["log", "import", "-", "--data", str(folder)], input=ADIF)
        assert done.exit_code == 0
    assert seen == [1]


def test_a_watch_imports_no_file_but_what_was_laid_beside_its_log(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    with daemon(folder, CONFIG):
        for name in ("../old.adi", "/etc/hostname", ".import-/../x", "watchkeeper.db"):
            with pytest.raises(ActRefusedError, match="file"):
                tell(folder / "watch.sock", {"act": "log-import", "file": name, "name": "x"})
