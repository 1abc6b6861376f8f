"""The configuration: what is read, from where, and that all that is wrong is told at once and in plain words."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import msgspec
import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given
from hypothesis import settings as settings_of_hypothesis
from hypothesis import strategies as st

from watchkeeper.cli import cli
from watchkeeper.config import Config, ConfigError, Theme, load, load_with_origins
from watchkeeper.config.showing import as_toml, settings, toml

CONFIGS = sorted((Path(__file__).parents[2] / "configs").glob("*.toml"))


@pytest.fixture(autouse=True)
def _nobodys_home(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Shut out the developer's own configuration."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.delenv("WATCHKEEPER_DATA", raising=False)


def write(folder: Path, text: str) -> Path:
    path = folder / "station.toml"
    path.write_text(text, encoding="utf-8")
    return path


def problems(folder: Path, text: str, **environ: str) -> list[str]:
    path = write(folder, text)
    with pytest.raises(ConfigError) as caught:
        load(path, environ=environ)
    assert str(caught.value) == "\n".join(caught.value.problems)
    return [problem.removeprefix(f"{path}: ") for problem in caught.value.problems]


def test_without_a_file_the_defaults_hold() -> None:
    config = load(environ={})
    assert config == Config()
    assert (config.listen.address, config.listen.port) == ("127.0.0.1", 41815)


def test_the_usual_file_is_read_when_none_is_named(tmp_path: Path) -> None:
    folder = tmp_path / "config" / "watchkeeper"
    folder.mkdir(parents=True)
    (folder / "watchkeeper.toml").write_text('[station]\ncall = "DL5QRM"\n')
    assert load(environ={}).station.call == "DL5QRM"


def test_a_file_sets_what_it_says(tmp_path: Path) -> None:
    path = write(
        tmp_path,
        """
        [station]
        call = "DL5QRM/P"
        locator = "JN58td"
        power_w = 10
        activations = [{programme = "LAKES", reference = "LAKES-0042"}]
        [watch]
        quiet = ["22:00-06:00", "12:30-13:00"]
        [display]
        theme = "sunlight"
        [log]
        folder = "/somewhere"
        [plugins]
        block = ["openings"]
        [plugins.lookout]
        shown = 3
        """,
    )
    config = load(path, environ={})
    assert config.station.power_w == 10.0
    assert config.station.activations[0].reference == "LAKES-0042"
    assert config.watch.quiet_minutes() == ((1320, 360), (750, 780))
    assert config.display.theme is Theme.SUNLIGHT
    assert config.log.folder == Path("/somewhere")
    assert config.plugins.block == ("openings",)
    assert config.plugins.sections == {"lookout": {"shown": 3}}


def test_all_problems_are_told_at_once(tmp_path: Path) -> None:
    found = problems(
        tmp_path,
        """
        [station]
        cal = "DL5QRM"
        locator = "XX"
        power_w = "ten"
        [[station.activations]]
        program = "LAKES"
        [listen]
        port = 99999
        address = "nowhere"
        [watch]
        quiet = ["25:00-06:00", 3]
        [display]
        theme = "sunligth"
        [statoin]
        [plugins]
        bugdet_ms = 3
        """,
    )
    assert found == [
        "station.cal: no such key (did you mean 'call'?)",
        "station.power_w: expected a number, got text 'ten'",
        "station.activations (entry 1).program: no such key (did you mean 'programme'?)",
        "station.activations (entry 1).programme: missing: it must be set",
        "station.activations (entry 1).reference: missing: it must be set",
        "station.locator: 'XX' is no locator of 4 to 10 characters, like 'JN58td'",
        "listen.port: expected a whole number <= 65535, got 99999",
        "listen.address: 'nowhere' is no IP address",
        "watch.quiet (entry 2): expected text, got 3",
        "display.theme: 'sunligth' is none of dark, light, sunlight (did you mean 'sunlight'?)",
        "statoin: no such section (did you mean 'station'?)",
        "plugins.bugdet_ms: no such key (did you mean 'budget_ms'?)",
    ]


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ('[station]\ncall = "HELLO"', "station.call: 'HELLO' is no call sign"),
        ('[station]\ncall = "12345"', "station.call: '12345' is no call sign"),
        ("[watch]\ngrace_s = -1", "watch.grace_s: expected a number >= 0.0, got -1"),
        ("[watch]\ngrace_s = nan", "watch.grace_s: expected a finite number, got nan"),
        ("[watch]\ngrace_s = true", "watch.grace_s: expected a number, got true"),
        ('[watch]\nquiet = ["24:00-06:00"]', "watch.quiet: '24:00-06:00' is no span of UTC hours, like '22:00-06:00'"),
        ('[watch]\nquiet = "22:00-06:00"', "watch.quiet: expected a list, got text '22:00-06:00'"),
        ("[station]\nregion = 4", "station.region: expected a whole number <= 3, got 4"),
        ("station = 3", "station: expected a table, got 3"),
        ("plugins = 3", "plugins: expected a table, got 3"),
        ("[log]\nfolder = 3", "log.folder: expected a path, got 3"),
        ("[listen]\nport = 41815.5", "listen.port: expected a whole number, got 41815.5"),
        ("[listen]\nport = 2026-05-01", "listen.port: expected a whole number, got 2026-05-01"),
    ],
)
def test_each_problem_in_plain_words(tmp_path: Path, text: str, problem: str) -> None:
    assert problems(tmp_path, text) == [problem]


def test_listening_to_a_network_needs_a_key(tmp_path: Path) -> None:
    (problem,) = problems(tmp_path, '[listen]\naddress = "0.0.0.0"')
    assert "seal_key_file or seal_key_env" in problem
    assert load(write(tmp_path, '[listen]\naddress = "::1"'), environ={}).listen.address == "::1"
    sealed = '[listen]\naddress = "0.0.0.0"\nseal_key_env = "KEY"'
    assert load(write(tmp_path, sealed), environ={}).listen.seal_key_env == "KEY"
    (problem,) = problems(tmp_path, sealed + '\nseal_key_file = "key"')
    assert "not both" in problem


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="No such file"):
        load(tmp_path / "none.toml", environ={})
    assert "is no TOML" in problems(tmp_path, "[station\n")[0]
    binary = tmp_path / "binary.toml"
    binary.write_bytes(b"\xff\xfe")
    with pytest.raises(ConfigError, match="is no UTF-8 text"):
        load(binary, environ={})


def test_the_environment_outweighs_the_file(tmp_path: Path) -> None:
    path = write(tmp_path, '[station]\ncall = "DL5QRM"\npower_w = 5\n[plugins.lookout]\nshown = 3')
    environ = {
        "WATCHKEEPER_STATION__CALL": "1E5QRM",
        "WATCHKEEPER_STATION__POWER_W": "50",
        "WATCHKEEPER_LISTEN__PORT": "5000",
        "WATCHKEEPER_WATCH__QUIET": '["22:00-06:00"]',
        "WATCHKEEPER_PLUGINS__LOOKOUT__SHOWN": "7",
        "WATCHKEEPER_PLUGINS__BUDGET_MS": "30",
        "WATCHKEEPER_DATA": "/not/a/key",
    }
    loaded = load_with_origins(path, environ=environ)
    config = loaded.config
    assert config.station.call == "1E5QRM", "text stays text though TOML would read a number"
    assert config.station.power_w == 50
    assert config.listen.port == 5000
    assert config.watch.quiet == ("22:00-06:00",)
    assert config.plugins.sections["lookout"] == {"shown": "7"}
    assert config.plugins.budget_ms == 30
    assert loaded.origins["station.call"] == "environment WATCHKEEPER_STATION__CALL"
    assert loaded.origins["plugins.lookout"] == str(path)


@pytest.mark.parametrize(
    ("variable", "value", "problem"),
    [
        ("WATCHKEEPER_LISTEN__PORT", "many", "listen.port: expected a whole number, got text 'many'"),
        ("WATCHKEEPER_LISTN__PORT", "1", "listn: no such section (did you mean 'listen'?)"),
        ("WATCHKEEPER_LISTEN__PORT__X", "1", "listen.port.x: names no key: WATCHKEEPER_SECTION__KEY sets one"),
        ("WATCHKEEPER_LISTEN__", "1", "listen.: names no key: WATCHKEEPER_SECTION__KEY sets one"),
    ],
)
def test_what_is_wrong_with_the_environment_names_the_variable(
    tmp_path: Path, variable: str, value: str, problem: str
) -> None:
    found = problems(tmp_path, "[listen]\nport = 5000", **{variable: value})
    assert found[0] == f"environment {variable}: {problem}"


def test_the_digest_is_that_of_the_effective_values(tmp_path: Path) -> None:
    one = load(write(tmp_path, '[station]\ncall = "DL5QRM"'), environ={})
    same = load(environ={"WATCHKEEPER_STATION__CALL": "DL5QRM"})
    other = load(write(tmp_path, '[station]\ncall = "DL6QRM"'), environ={})
    assert one.digest() == same.digest() != other.digest()
    assert len(one.digest()) == 64


@given(
    st.dictionaries(
        st.sampled_from(["station", "listen", "watch", "log", "display", "plugins", "other"]),
        st.recursive(
            st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
            lambda inner: st.lists(inner) | st.dictionaries(st.sampled_from(["call", "port", "quiet", "x"]), inner),
            max_leaves=8,
        ),
    )
)
def test_any_values_give_a_config_or_problems(data: dict[str, object]) -> None:
    from watchkeeper.config.checking import check
    from watchkeeper.config.sections import Listen, PluginSettings, Station, Watch

    for section, cls in (("station", Station), ("listen", Listen), ("watch", Watch), ("plugins", PluginSettings)):
        values = data.get(section, {})
        if isinstance(values, dict):
            made, found = check(values, cls, section)
            assert (made is None) == bool(found)


_PLAIN = st.recursive(
    st.booleans() | st.integers(-(2**63), 2**63 - 1) | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=10,
)


@given(_PLAIN.filter(lambda value: "\\ud" not in json.dumps(value)))
def test_what_is_shown_is_toml_that_reads_back_equal(value: object) -> None:
    assert tomllib.loads(f"value = {toml(value)}")["value"] == value


# -- the examples -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", CONFIGS, ids=lambda path: path.stem)
def test_the_examples_are_good(path: Path) -> None:
    ran = CliRunner().invoke(cli, ["config", "check", str(path)])
    assert (ran.exit_code, ran.output) == (0, f"{path}: good\n")


def test_the_default_file_is_the_one_that_is_in_force_without_it() -> None:
    default = next(path for path in CONFIGS if path.stem == "default")
    shown = CliRunner().invoke(cli, ["config", "show"]).output
    assert default.read_text(encoding="utf-8").partition("\n\n")[2] == shown
    assert load(default, environ={}).station == Config().station


def test_every_key_says_what_it_means() -> None:
    loaded = load_with_origins(environ={})
    shown = {f"{setting.section}.{setting.key}" for setting in settings(loaded, {})}
    for section in msgspec.structs.fields(Config):
        for field in msgspec.structs.fields(section.type):
            name = f"{section.name}.{field.name}"
            assert name in shown or name == "plugins.sections", f"{name} has no description"


# -- commands ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("action", ["check", "show"])
def test_the_file_may_be_named_as_everywhere_else(action: str, tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text('[station]\ncall = "DL5QRM"\n', encoding="utf-8")
    by_option = CliRunner().invoke(cli, ["config", action, "--config", str(path)])
    assert by_option.exit_code == 0
    assert by_option.output == CliRunner().invoke(cli, ["config", action, str(path)]).output
    twice = CliRunner().invoke(cli, ["config", action, str(path), "--config", str(path)])
    assert twice.exit_code == 2
    assert "once" in twice.output


def test_check_tells_the_problems_of_plugins_too_and_at_the_same_time(tmp_path: Path) -> None:
    path = write(
        tmp_path,
        """
        [station]
        call = "?"
        [plugins.lookuot]
        [[plugins.lookout.rule]]
        name = "south"
        entities = ["Chili"]
        [[plugins.lookout.rule]]
        name = "none"
        """,
    )
    ran = CliRunner().invoke(cli, ["config", "check", str(path), "--json"])
    told = json.loads(ran.output)
    assert ran.exit_code == 1
    assert (told["file"], told["ok"]) == (str(path), False)
    text = "\n".join(told["problems"])
    assert f"{path}: station.call: '?' is no call sign" in text
    assert "plugins.lookout.rule (entry 1).entities: no entity 'Chili' (did you mean 'Chile'?)" in text
    assert "plugins.lookout.rule (entry 2): it must say whom it waits for" in text
    assert "no plugin 'lookuot' is installed (did you mean 'lookout'?)" in text


def test_show_names_the_origin_of_what_was_set(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("WATCHKEEPER_STATION__LOCATOR", "JO62")
    path = write(tmp_path, '[station]\ncall = "DL5QRM"\n[plugins.openings]\nwindow_min = 20')
    ran = CliRunner().invoke(cli, ["config", "show", str(path), "--json"])
    told = json.loads(ran.output)
    assert told["station"]["call"] == {
        "value": "DL5QRM",
        "origin": str(path),
        "about": "own call sign as sent on the air",
    }
    assert told["station"]["locator"]["origin"] == "environment WATCHKEEPER_STATION__LOCATOR"
    assert told["station"]["power_w"]["origin"] is None
    assert told["plugins.openings"]["window_min"]["value"] == 20
    toml_text = CliRunner().invoke(cli, ["config", "show", str(path)]).output
    assert tomllib.loads(toml_text)["station"]["call"] == "DL5QRM"


def test_show_of_a_bad_file_tells_its_problems(tmp_path: Path) -> None:
    ran = CliRunner().invoke(cli, ["config", "show", str(write(tmp_path, "x = 1"))])
    assert ran.exit_code == 1
    assert "x: no such section" in ran.output


def test_toml_lines_of_what_is_not_set() -> None:
    lines = list(as_toml(list(settings(load_with_origins(environ={}), {}))))
    assert lines[:3] == ["[station]", "# own call sign as sent on the air", "# call is not set"]


_ALMOST_TOML = st.text(alphabet='[]{}=".,#\n abcdefstationlistenwatchplugins0123', max_size=200).map(str.encode)


@settings_of_hypothesis(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=50)
@given(st.binary(max_size=200) | _ALMOST_TOML)
def test_any_file_gives_a_config_or_problems(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "any.toml"
    path.write_bytes(data)
    problems: tuple[str, ...] = ()
    config = None
    try:
        config = load(path, environ={})
    except ConfigError as error:
        problems = error.problems
    assert (config is None) == bool(problems)
    assert all(problem.startswith(str(path)) for problem in problems)
