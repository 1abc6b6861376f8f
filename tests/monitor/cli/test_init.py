"""A first configuration: asked for or given by flags, checked, explained, and never written over another."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from watchkeeper.cli import cli
from watchkeeper.cli.exits import Exit
from watchkeeper.config import load


def init(path: Path, *arguments: str, said: str = "") -> Result:
    return CliRunner().invoke(cli, ["init", str(path), *arguments], input=said)


def test_flags_alone_give_a_config_that_loads(tmp_path: Path) -> None:
    path = tmp_path / "new" / "watchkeeper.toml"
    flags = ["--call", "dl5qrm", "--locator", "JO62qm", "--power", "10", "--log-url", "https://log.example/in", "--yes"]
    ran = init(path, *flags)
    assert (ran.exit_code, str(path) in ran.output) == (0, True), ran.output
    config = load(path, environ={})
    assert (config.station.call, config.station.locator, config.station.power_w) == ("DL5QRM", "JO62qm", 10.0)
    assert config.plugins.sections["forward"]["http"] == [{"name": "home log", "url": "https://log.example/in"}]
    checked = CliRunner().invoke(cli, ["config", "check", str(path), "--json"])
    assert not [p for p in json.loads(checked.output)["problems"] if "forward" in p or "station" in p]


def test_five_questions_are_asked_and_a_wrong_answer_again(tmp_path: Path) -> None:
    path = tmp_path / "watchkeeper.toml"
    ran = init(path, said="what\nDL5QRM/P\nZZ99\nJN58td\n-3\n10 W\n\nudp://10.0.0.2:2000\n")
    assert ran.exit_code == 0, ran.output
    assert "'WHAT' is no call sign" in ran.output
    assert "'ZZ99' is no locator" in ran.output
    found = tomllib.loads(path.read_text())
    assert found["station"] == {"call": "DL5QRM/P", "locator": "JN58td", "power_w": 10.0}
    assert found["plugins"]["forward"]["udp"] == [{"name": "home log", "host": "10.0.0.2", "port": 2000}]
    assert "supply" not in found["plugins"]


def test_every_key_is_explained(tmp_path: Path) -> None:
    path = tmp_path / "watchkeeper.toml"
    init(path, "--call", "DL5QRM", "--yes")
    lines = path.read_text().splitlines()
    for number, line in enumerate(lines):
        if " = " in line and not line.startswith("#"):
            assert lines[number - 1].startswith("# ")
    assert "# locator is not set" in lines


def test_a_file_that_is_there_stays_unless_forced(tmp_path: Path) -> None:
    path = tmp_path / "watchkeeper.toml"
    path.write_text("# mine\n")
    ran = init(path, "--call", "DL5QRM", "--yes")
    assert (ran.exit_code, path.read_text()) == (Exit.FAILED, "# mine\n")
    assert "--force" in ran.output
    assert init(path, "--call", "DL5QRM", "--yes", "--force").exit_code == 0
    assert load(path, environ={}).station.call == "DL5QRM"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize(
    ("flags", "words"),
    [
        ([], "--call must be given"),
        (["--call", "?"], "'?' is no call sign"),
        (["--call", "DL5QRM", "--locator", "here"], "'here' is no locator"),
        (["--call", "DL5QRM", "--power", "-1"], "expected"),
        (["--call", "DL5QRM", "--power", "nan"], "expected"),
        (["--call", "DL5QRM", "--battery", "much"], "is no capacity"),
        (["--call", "DL5QRM", "--battery", "20 cheese"], "'cheese' is none of"),
        (["--call", "DL5QRM", "--log-url", "ftp://x"], "is none of http://"),
        (["--call", "DL5QRM", "--log-url", "udp://x"], "is none of http://"),
    ],
)
def test_a_flag_that_cannot_be_right_is_refused(tmp_path: Path, flags: list[str], words: str) -> None:
    path = tmp_path / "watchkeeper.toml"
    ran = init(path, *flags, "--yes")
    assert (ran.exit_code, path.exists()) == (Exit.USAGE, False)
    assert words in ran.output


@pytest.mark.parametrize(("said", "made"), [("20", (20.0, "LiFePO4")), ("7.2 Ah agm", (7.2, "AGM"))])
def test_the_battery_is_the_supplys(tmp_path: Path, said: str, made: tuple[float, str]) -> None:
    path = tmp_path / "watchkeeper.toml"
    assert init(path, "--call", "DL5QRM", "--battery", said, "--yes").exit_code == 0
    assert load(path, environ={}).plugins.sections["supply"] == {"capacity_ah": made[0], "chemistry": made[1]}
    assert CliRunner().invoke(cli, ["config", "check", str(path)]).output == f"{path}: good\n"


def test_every_key_is_listed_with_its_variable() -> None:
    ran = CliRunner().invoke(cli, ["config", "keys", "--json"])
    told: dict[str, dict[str, Any]] = json.loads(ran.output)
    assert told["station"]["call"]["variable"] == "WATCHKEEPER_STATION__CALL"
    assert told["plugins.forward"]["file"]["variable"] == "WATCHKEEPER_PLUGINS__FORWARD__FILE"
    assert told["listen"]["port"]["default"] == 41815
    assert all(key["about"] for section in told.values() for key in section.values())
    text = CliRunner().invoke(cli, ["config", "keys"]).output
    assert "listen.port: UDP port to listen on\n    default 41815; WATCHKEEPER_LISTEN__PORT\n" in text


def test_the_listed_variable_does_what_it_says(monkeypatch: pytest.MonkeyPatch) -> None:
    told = json.loads(CliRunner().invoke(cli, ["config", "keys", "--json"]).output)
    monkeypatch.setenv(told["plugins.forward"]["file"]["variable"], "false")
    shown = json.loads(CliRunner().invoke(cli, ["config", "show", "--json"]).output)
    assert shown["plugins.forward"]["file"]["value"] is False
    assert shown["plugins.forward"]["file"]["origin"] == "environment WATCHKEEPER_PLUGINS__FORWARD__FILE"
