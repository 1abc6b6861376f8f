"""Reads the configuration: a TOML file, then the environment above it.

``WATCHKEEPER_SECTION__KEY`` sets one key: ``WATCHKEEPER_STATION__CALL``, ``WATCHKEEPER_PLUGINS__LOOKOUT__ENABLED``.
Secrets are never written in the file: keys that end in ``_file`` and ``_env`` name where each one is kept.
"""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import msgspec

from .checking import EnvText, Problem, check, suggest
from .sections import Config, PluginSettings

_PREFIX = "WATCHKEEPER_"
_ENTRY = re.compile(r" \(entry \d+\)")
_SECTIONS = {field.name: field.type for field in msgspec.structs.fields(Config)}


class Loaded(msgspec.Struct, frozen=True):
    """A configuration and where each key that was set came from (``section.key`` → file or environment variable)."""

    config: Config
    path: Path | None
    origins: dict[str, str]

    def named(self, problem: Problem) -> str:
        """The problem with the place its value came from before it."""
        where = _ENTRY.sub("", problem.where)
        while where and where not in self.origins:
            where = where.rpartition(".")[0]
        within = (origin for key, origin in self.origins.items() if key.startswith(f"{problem.where}."))
        origin = self.origins.get(where) or next(within, None) or (str(self.path) if self.path else "configuration")
        return f"{origin}: {problem}"


class ConfigError(Exception):
    """Everything that is wrong with a configuration; each problem as ``file: section.key: what is wrong``.

    ``loaded`` is what there is without the sections that are wrong, where the file could be read at all.
    """

    def __init__(self, problems: tuple[str, ...], loaded: Loaded | None = None) -> None:
        super().__init__("\n".join(problems))
        self.problems = problems
        self.loaded = loaded


def default_path() -> Path:
    """Where the configuration is looked for when no file is named."""
    import platformdirs

    return platformdirs.user_config_path("watchkeeper") / "watchkeeper.toml"


def load(path: Path | None = None, *, environ: Mapping[str, str] | None = None) -> Config:
    """The checked configuration: of ``path``, else of the default place if there is a file, else the defaults.

    Raises ConfigError with every problem. ``environ`` stands in for the process's environment.
    """
    return load_with_origins(path, environ=environ).config


def load_with_origins(path: Path | None = None, *, environ: Mapping[str, str] | None = None) -> Loaded:
    """As :func:`load`, with where each value came from."""
    if path is None and default_path().is_file():
        path = default_path()
    data = _read(path) if path is not None else {}
    origins = {key: str(path) for key in _keys(data)}
    problems = _overlay(data, origins, os.environ if environ is None else environ)
    values: dict[str, Any] = {}
    for section, table in data.items():
        wanted = _SECTIONS.get(section)
        if wanted is None:
            problems.append(Problem(section, f"no such section{suggest(section, _SECTIONS)}"))
        elif wanted is PluginSettings:
            values[section], found = _plugins(table)
            problems += found
        else:
            values[section], found = check(table, wanted, section)
            problems += found
    loaded = Loaded(Config(**{section: made for section, made in values.items() if made is not None}), path, origins)
    if problems:
        raise ConfigError(tuple(map(loaded.named, problems)), loaded)
    return loaded


def _read(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise ConfigError((f"{path}: cannot be read: {error.strerror}",)) from None
    except UnicodeDecodeError as error:
        raise ConfigError((f"{path}: is no UTF-8 text (byte {error.start})",)) from None
    except tomllib.TOMLDecodeError as error:
        raise ConfigError((f"{path}: is no TOML: {error}",)) from None
    except RecursionError:
        raise ConfigError((f"{path}: is nested too deeply",)) from None


def _keys(data: Mapping[str, Any], before: str = "") -> Iterator[str]:
    for key, value in data.items():
        yield before + key
        if isinstance(value, Mapping):
            yield from _keys(value, f"{before}{key}.")


def _overlay(data: dict[str, Any], origins: dict[str, str], environ: Mapping[str, str]) -> list[Problem]:
    """Put the environment's values into ``data``."""
    problems: list[Problem] = []
    for variable in sorted(environ):
        if not variable.startswith(_PREFIX) or "__" not in variable:
            continue
        parts = variable.removeprefix(_PREFIX).lower().split("__")
        table: Any = data
        for part in parts[:-1]:
            table = table.setdefault(part, {}) if isinstance(table, dict) else None
        origins[".".join(parts)] = f"environment {variable}"
        if isinstance(table, dict) and all(parts):
            table[parts[-1]] = EnvText(environ[variable])
        else:
            problems.append(Problem(".".join(parts), "names no key: WATCHKEEPER_SECTION__KEY sets one"))
    return problems


def _plugins(table: object) -> tuple[PluginSettings | None, list[Problem]]:
    """Take the tables of single plugins apart from the settings for all."""
    if not isinstance(table, Mapping):
        return check(table, PluginSettings, "plugins")
    sections = {name: dict(value) for name, value in table.items() if isinstance(value, Mapping)}
    settings = {key: value for key, value in table.items() if key not in sections}
    made, problems = check(settings, PluginSettings, "plugins")
    if made is not None:
        made = msgspec.structs.replace(made, sections=sections)
    return made, problems
