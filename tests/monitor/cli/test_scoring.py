"""``watchkeeper rehearse --score``: every figure of a short rehearsal is there, and made of what the watch put out."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from tests.monitor.cli.daemon import last_json, run

#: a contract: whoever reads the figures reads them by these names
KEYS = {
    "hails": {"precision", "recall", "doubled", "median_delay_s"},
    "report": {"median_abs_error_db"},
    "chance": {"brier", "brier_constant", "worst_bin_gap"},
    "vitals": {"injected", "found", "false_per_day", "median_delay_periods"},
    "openings": {"median_delay_min", "false_per_day"},
    "phantoms": {"precision", "recall"},
    "contacts": {"made", "stored", "forwarded", "needed_per_hour"},
}


def scored(scenario: str, periods: int, folder: Path, *more: str) -> dict[str, Any]:
    arguments = ("--scenario", scenario, "--periods", str(periods), "--seed", "3", "--data", str(folder))
    return last_json(run("rehearse", "--score", "--json", *arguments, *more))


def test_openings_and_contacts_are_measured(tmp_path: Path) -> None:
    found = scored("evening-20m", 20, tmp_path)
    assert {name: KEYS[name] - set(found[name]) for name in KEYS} == {name: set() for name in KEYS}
    assert found["openings"]["count"] > 0
    assert found["openings"]["median_delay_min"] >= 0
    assert found["openings"]["false_per_day"] is not None
    assert found["contacts"]["made"] == found["contacts"]["stored"] == found["contacts"]["forwarded"] > 0
    assert found["report"]["median_abs_error_db"] is not None
    assert found["chance"]["brier"] is not None


def test_the_hail_of_a_vital_is_matched_with_the_fault_that_caused_it(tmp_path: Path) -> None:
    found = scored("evening-20m", 20, tmp_path, "--faults", "audio@60")["vitals"]
    assert (found["injected"], found["found"]) == (1, 1)
    assert found["median_delay_periods"] >= 0


def test_a_rehearsal_beside_an_earlier_one_is_measured_by_itself(tmp_path: Path) -> None:
    first, second = scored("evening-20m", 20, tmp_path), scored("evening-20m", 20, tmp_path)
    for found in (first, second):
        assert found["contacts"]["made"] == found["contacts"]["stored"] == found["contacts"]["forwarded"] > 0
        assert found["hails"]["doubled"] == 0


def test_a_person_reads_a_line_a_figure_with_the_reason_where_there_is_none(tmp_path: Path) -> None:
    shown = run("rehearse", "--score", "--scenario", "dead-band", "--periods", "4", "--data", str(tmp_path))
    told = shown.decode().splitlines()
    assert told[0] == "dead-band, seed 1, world usual, operator advice"
    assert told[3].split(maxsplit=2) == ["recall", "–", "no call to the own station was copied"]
    assert [line for line in told[1:] if not line.startswith(" ")] == list(KEYS)


def test_a_world_that_is_not_there_is_told_in_one_line(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "watchkeeper", "rehearse", "--score", "--world", "mars", "--data", str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert done.stderr == (
        "watchkeeper: rehearsal: no world is named 'mars': there are all, decoder, habits, noise, propagation, usual\n"
    )


@pytest.mark.long
@pytest.mark.parametrize("world", ["usual", "propagation", "noise", "habits", "decoder", "all"])
@pytest.mark.parametrize("scenario", ["evening-20m", "park-activation", "contest-hour", "dead-band", "club", "bad-day"])
def test_each_scenario_in_each_world_can_be_measured(scenario: str, world: str, tmp_path: Path) -> None:
    found = scored(scenario, 6, tmp_path, "--world", world)
    assert {name: KEYS[name] - set(found[name]) for name in KEYS} == {name: set() for name in KEYS}
    missing = {f"{name}.{key}" for name in KEYS for key, value in found[name].items() if value is None}
    assert missing == set(found["lacking"])


@pytest.mark.long
def test_a_bad_days_faults_are_found(tmp_path: Path) -> None:
    found = scored("bad-day", 720, tmp_path)["vitals"]
    assert found["injected"] > 8
    assert found["found"] >= 0.8 * found["injected"]


def test_warnings_go_to_the_log_of_the_run_and_not_between_the_figures(tmp_path: Path) -> None:
    config = tmp_path / "config.toml"
    config.write_text("[plugins]\nbudget_ms = 0.0001\n", encoding="utf-8")
    arguments = ("--periods", "4", "--seed", "3", "--data", str(tmp_path / "data"), "--config", str(config))
    done = subprocess.run(
        [sys.executable, "-m", "watchkeeper", "rehearse", "--score", "--json", *arguments],
        capture_output=True,
        check=True,
    )
    assert len(done.stdout.splitlines()) == 1
    assert done.stderr == b""
    logged = [json.loads(line) for line in (tmp_path / "data" / "watch.log").read_text(encoding="utf-8").splitlines()]
    assert any("allowed are 0.0001" in one["message"] for one in logged), logged
