"""The script that makes the tables from the standard's CSV files: anyone can run it on a newer release."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from watchkeeper.adif import RELEASE, build_tables


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with every table of the standard, one row each."""
    for file, columns in build_tables.TABLES.values():
        with (tmp_path / file).open("w", encoding="utf-8", newline="") as stream:
            writer = csv.writer(stream)
            writer.writerow(["Comments", *columns])
            writer.writerow(["left out", *columns[:1], *[""] * (len(columns) - 1)])
    return tmp_path


def test_the_file_states_source_and_release_and_keeps_named_columns_only(folder: Path) -> None:
    output = folder / "made.json"
    build_tables.main([str(folder), "--release", "9.9.9", "--released", "2030-01-01", "--output", str(output)])
    made = json.loads(output.read_text(encoding="utf-8"))
    assert (made["release"], made["released"]) == ("9.9.9", "2030-01-01")
    assert "adif.org" in made["source"]
    assert made["Submode"] == [["Submode"]]
    assert set(made) >= set(build_tables.TABLES)
    assert "left out" not in output.read_text(encoding="utf-8")


def test_a_table_that_lacks_a_column_stops_the_run(folder: Path) -> None:
    (folder / "mode.csv").write_text("Mode\nFT8\n", encoding="utf-8")
    with pytest.raises(KeyError, match="Import-only"):
        build_tables.text(folder, "9.9.9", "2030-01-01")


def test_the_file_in_the_tree_is_of_the_release_that_the_package_names() -> None:
    kept = json.loads(build_tables.OUTPUT.read_text(encoding="utf-8"))
    assert (kept["release"], kept["released"]) == (RELEASE, "2026-03-22")
