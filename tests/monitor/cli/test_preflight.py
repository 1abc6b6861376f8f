"""``watchkeeper preflight``, ``exposure`` and ``symptoms`` as they are typed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from watchkeeper.cli import cli
from watchkeeper.cli.standing import stand
from watchkeeper.config import Config
from watchkeeper.faces.source import ask
from watchkeeper.host.context import CheckState
from watchkeeper.symptoms import SYMPTOMS, matching
from watchkeeper.watch.preflight import core_checks


def run(*arguments: str) -> tuple[int, str]:
    result = CliRunner().invoke(cli, arguments)
    return result.exit_code, result.output


def status(**changes: Any) -> dict[str, Any]:
    intake = {"received": 10, "rejected": {}, "lost": 0}
    return {"sources": {"decoder": {}}, "listening": "127.0.0.1:1", "intake": intake, "outbox": {}, **changes}


def states(told: dict[str, Any], worked: int = 1) -> dict[str, CheckState]:
    return {check.key: check.state for check in core_checks(told, worked)}


def test_a_clean_watch_is_good() -> None:
    assert set(states(status()).values()) == {CheckState.GOOD}


def test_it_waits_for_a_source() -> None:
    told = status(sources={}, intake={"received": 0, "rejected": {}, "lost": 0})
    assert states(told) == {"source": CheckState.WAITING, "schema": CheckState.WAITING, "log": CheckState.GOOD}


def test_it_waits_for_a_log_to_find_duplicates_in() -> None:
    assert states(status(), worked=0)["log"] is CheckState.WAITING


def test_a_stray_datagram_of_long_ago_is_forgotten_and_the_usual_reason_is_named() -> None:
    intake = {"received": 1000, "rejected": {"json": 1}, "lost": 0}
    assert states(status(intake=intake))["schema"] is CheckState.GOOD
    intake = {"received": 40, "rejected": {"json": 1, "schema": 3}, "lost": 0}
    (found,) = [check for check in core_checks(status(intake=intake), 1) if check.key == "schema"]
    assert (found.state, found.evidence) == (CheckState.POOR, "40 events, 4 refused (schema), 0 lost")


def test_losses_and_a_log_that_is_down_are_poor() -> None:
    told = status(
        intake={"received": 10, "rejected": {"bad": 1}, "lost": 2},
        outbox={"home": {"down_since": "2026-05-01T18:00:00Z", "why": "refused", "dead": 0}},
    )
    found = states(told)
    assert found["schema"] is found["destination:home"] is CheckState.POOR


async def test_a_standing_watch_answers(tmp_path: Path) -> None:
    import asyncio

    async with stand(Config(), tmp_path, port=0):
        found = await asyncio.to_thread(ask, tmp_path / "watch.sock", "/api/preflight")
    keys = [check["key"] for check in found["checks"]]
    assert keys[:2] == ["source", "schema"]
    assert keys.index("own") < keys.index("audio") < keys.index("match") < keys.index("log"), "as one sets up"
    assert {"own", "clock", "audio", "passband", "match", "log"} <= set(keys)


def test_without_a_watch_it_says_so(tmp_path: Path) -> None:
    code, output = run("preflight", "--data", str(tmp_path))
    assert code == 1
    assert "no watch is running" in output


def test_exposure_by_hand() -> None:
    """100 W × ½, 2.15 dBi at 14.35 MHz: S = 2.56·EIRP/(4πd²) against 1800/f² W/m² = 10·180/f² (47 CFR 1.1310)."""
    code, output = run("exposure", "--power", "100", "--band", "20m", "--json")
    told = json.loads(output)
    assert code == 0
    eirp_w = 50 * 10 ** (2.15 / 10)
    assert told["general_m"] == round((2.56 * eirp_w / (4 * 3.141592653589793) / (1800 / 14.35**2)) ** 0.5, 2)
    assert told["controlled_m"] < told["general_m"]
    assert any("rules" in sentence for sentence in told["cautions"])


@pytest.mark.parametrize(
    "arguments",
    [
        ["--power", "100"],
        ["--power", "100", "--band", "20m", "--frequency", "14.1M"],
        ["--power", "0", "--band", "20m"],
        ["--power", "100", "--band", "21m"],
        ["--power", "100", "--frequency", "twenty"],
        ["--power", "100", "--frequency", "1k"],
        ["--power", "100", "--band", "20m", "--mode", "semaphore"],
        ["--power", "100", "--band", "20m", "--share", "1.5"],
        ["--power", "100", "--band", "20m", "--share", "150%"],
        ["--power", "100", "--band", "20m", "--share", "half%"],
        ["--power", "100", "--band", "20m", "--share", "nan"],
        ["--power", "-5", "--band", "20m"],
        ["--power", "nan", "--band", "20m"],
        ["--power", "inf", "--band", "20m"],
        ["--power", "100", "--band", "20m", "--gain", "nan"],
        ["--power", "100", "--band", "2190m"],
        ["--power", "100", "--frequency", "100G", "--rules", "icnirp"],
    ],
)
def test_what_makes_no_sense_is_a_usage_error(arguments: list[str]) -> None:
    assert run("exposure", *arguments)[0] == 2


@pytest.mark.parametrize(("band", "edge_hz"), [("20m", 14_350_000), ("70cm", 420_000_000)])
def test_of_a_band_the_stricter_edge_counts(band: str, edge_hz: int) -> None:
    """To 30 MHz the limit falls with frequency, from 300 MHz on it rises: f/1500 mW/cm² (47 CFR 1.1310)."""
    assert json.loads(run("exposure", "--power", "100", "--band", band, "--json")[1])["frequency_hz"] == edge_hz


@pytest.mark.parametrize("rules", ["fcc", "icnirp"])
def test_it_says_over_what_it_averages_and_what_to_beware_of(rules: str) -> None:
    """47 CFR 1.1310: 30 and 6 min; ICNIRP 2020: 30 min for the whole body, 6 min for local exposure."""
    code, output = run("exposure", "--power", "100", "--band", "20m", "--rules", rules)
    assert code == 0
    assert "averaged over 30 min" in output
    assert "6 min" in output
    assert "Your country's rules and licensed practice decide." in output


def test_a_share_may_be_given_in_percent() -> None:
    found = [
        run("exposure", "--power", "100", "--band", "20m", "--share", share, "--json") for share in ("0.25", "25%")
    ]
    assert found[0] == found[1]
    assert json.loads(found[0][1])["average_w"] == 25.0


@pytest.mark.parametrize("frequency", ["14350000", "14.35M", "14350k", "14.35 MHz"])
def test_frequencies_are_read_as_they_are_written(frequency: str) -> None:
    told = json.loads(run("exposure", "--power", "100", "--frequency", frequency, "--json")[1])
    assert told["frequency_hz"] == 14_350_000


def test_symptoms_are_found_by_words() -> None:
    assert len(matching("")) == len(SYMPTOMS)
    assert all("decodes" in one.symptom for one in matching("nothing decodes"))
    assert run("symptoms", "nothing", "decodes")[0] == 0
    assert run("symptoms", "zeppelin")[0] == 1
