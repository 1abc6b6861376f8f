"""Where plugins come from: installed packages, and single files in a folder; and the command that lists them."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from importlib.metadata import entry_points
from pathlib import Path

import pytest
from click.testing import CliRunner

from watchkeeper.cli import cli
from watchkeeper.config import PluginSettings, load
from watchkeeper.host import discovery
from watchkeeper.host.idle import idle_host
from watchkeeper.host.loading import settled
from watchkeeper.host.status import State
from watchkeeper.watch.journal import plain

GOOD = """
from watchkeeper.api import hookimpl

class Counter:
    name = "counter"
    api = 1

    def __init__(self, config, context):
        self.seen = 0

    @hookimpl
    def annotate(self):
        self.seen += 1
"""


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    made = tmp_path / "plugins"
    made.mkdir()
    yield made
    for name in [name for name in sys.modules if name.startswith("watchkeeper_plugin_")]:
        del sys.modules[name]


def states(folder: Path, **more: object) -> dict[str, tuple[State, str]]:
    host = idle_host(PluginSettings(folder=folder, **more), folder)  # type: ignore[arg-type]
    return {status.name: (status.state, status.reason or "") for status in host.status()}


def test_the_first_party_plugins_come_through_the_public_door() -> None:
    named = {point.name for point in entry_points(group=discovery.GROUP)}
    found = {each.name: each for each in discovery.installed()}
    assert set(found) == named >= {"lookout", "worked", "openings", "forward"}
    assert found["worked"].distribution == "watchkeeper"


def test_a_file_in_the_folder_is_a_plugin(folder: Path) -> None:
    (folder / "counter.py").write_text(GOOD)
    (folder / "_helper.py").write_text("raise AssertionError")
    (folder / "notes.txt").write_text("no plugin")
    found = states(folder)
    assert found["counter"] == (State.RUNNING, "")
    assert "_helper" not in found
    status = next(each for each in idle_host(PluginSettings(folder=folder), folder).status() if each.name == "counter")
    assert status.distribution == str(folder / "counter.py")


@pytest.mark.parametrize(
    ("text", "state", "words"),
    [
        ("import sys; sys.exit(3)", State.FAILED, "SystemExit"),
        ("import no_such_module_anywhere", State.FAILED, "ModuleNotFoundError"),
        ("class (", State.FAILED, "SyntaxError"),
        ("x = 1", State.FAILED, "it holds 0 plugin classes"),
        (GOOD + "\nclass Other(Counter): pass", State.FAILED, "it holds 2 plugin classes"),
        (GOOD.replace('"counter"', '"other"'), State.BLOCKED, "calls itself 'other'"),
        (GOOD.replace("api = 1", "api = 7"), State.BLOCKED, "update Watchkeeper"),
    ],
)
def test_a_bad_file_is_told_and_hinders_nobody(folder: Path, text: str, state: State, words: str) -> None:
    (folder / "counter.py").write_text(text)
    found = states(folder)
    assert found["counter"][0] is state
    assert words in found["counter"][1]
    assert found["worked"][0] is State.RUNNING


def test_an_installed_plugin_goes_before_a_file_of_its_name(folder: Path) -> None:
    (folder / "worked.py").write_text(GOOD.replace("counter", "worked"))
    host = idle_host(PluginSettings(folder=folder), folder)
    assert any(str(folder / "worked.py") in notice for notice in host.notices)


def test_a_folder_that_is_not_there_is_noticed(tmp_path: Path) -> None:
    host = idle_host(PluginSettings(folder=tmp_path / "gone"), tmp_path)
    assert any("gone is no folder" in notice for notice in host.notices)


def test_the_command_lists_every_plugin_and_why_it_does_not_run(folder: Path, tmp_path: Path) -> None:
    (folder / "counter.py").write_text(GOOD)
    config = tmp_path / "station.toml"
    config.write_text(f'[plugins]\nfolder = "{folder}"\nblock = ["openings"]\n[plugins.lookout]\nrul = []\n')
    arguments = ["plugins", "--config", str(config), "--data", str(tmp_path / "data")]
    told = json.loads(CliRunner().invoke(cli, [*arguments, "--json"]).output)
    assert told["daemon"] is False
    found = {each["name"]: (each["state"], each["reason"]) for each in told["plugins"]}
    assert found["counter"] == ("ready", None)
    assert found["openings"] == ("off", "the config blocks it (plugins.block)")
    assert found["lookout"] == ("blocked", "plugins.lookout.rul: no such key (did you mean 'rule'?)")
    shown = CliRunner().invoke(cli, arguments).output
    assert f"counter: ready ({folder / 'counter.py'})" in shown
    assert "did you mean 'rule'" in shown


def test_the_command_tells_what_is_wrong_with_the_config(tmp_path: Path) -> None:
    config = tmp_path / "station.toml"
    config.write_text("[statoin]")
    ran = CliRunner().invoke(cli, ["plugins", "--config", str(config), "--data", str(tmp_path / "data")])
    assert ran.exit_code == 1
    assert "did you mean 'station'" in ran.output


TYPED = """
from pathlib import Path
import msgspec

class Inner(msgspec.Struct, frozen=True):
    depth: int = 0

class Config(msgspec.Struct, frozen=True):
    rows: int = 10
    title: str = ""
    file: Path | None = None
    names: tuple[str, ...] = ()
    inner: Inner = Inner()

class Typed:
    name = "typed"
    api = 1
    Config = Config

    def __init__(self, config, context):
        pass
"""


def test_what_the_environment_says_is_settled_as_the_values_that_the_plugin_wants(tmp_path: Path) -> None:
    """So a journal holds numbers as numbers, and reads the same without that environment."""
    (tmp_path / "typed.py").write_text(TYPED)
    told = {
        "ROWS": "7",
        "TITLE": "7",
        "FILE": "there",
        "NAMES": '["a"]',
        "INNER__DEPTH": "3",
        "ENABLED": "true",
        "NONE": "7",
    }
    environ = {"WATCHKEEPER_PLUGINS__FOLDER": str(tmp_path)}
    environ |= {f"WATCHKEEPER_PLUGINS__TYPED__{key}": value for key, value in told.items()}
    config = load(environ={**environ, "WATCHKEEPER_PLUGINS__GONE__X": "8"})
    settings = settled(config.plugins)
    assert settings.sections == {
        "typed": {
            "rows": 7,
            "title": "7",
            "file": "there",
            "names": ["a"],
            "inner": {"depth": 3},
            "enabled": True,
            "none": 7,
        },
        "gone": {"x": 8},
    }
    assert settled(settings) is settings
    assert plain(config)["plugins"]["sections"]["typed"]["rows"] == "7"


def test_a_plugin_that_the_environment_switches_off_is_not_even_imported(tmp_path: Path) -> None:
    (tmp_path / "typed.py").write_text("raise SystemExit(3)")
    environ = {"WATCHKEEPER_PLUGINS__FOLDER": str(tmp_path), "WATCHKEEPER_PLUGINS__TYPED__ENABLED": "false"}
    assert settled(load(environ=environ).plugins).sections == {"typed": {"enabled": False}}
