"""``watchkeeper config``: check a configuration, or show what is in force."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from .options import FAILED, config_option

if TYPE_CHECKING:
    from ..config import Loaded
    from ..host.loading import Section

_file = click.argument("file", required=False, type=click.Path(dir_okay=False, path_type=Path))


def _named(file: Path | None, config_path: Path | None) -> Path | None:
    """The file that was named as FILE, or with ``--config`` as everywhere else."""
    if file is not None and config_path is not None:
        raise click.UsageError("name the configuration once: as FILE or with --config")
    return file or config_path


@click.group()
def command() -> None:
    """Check the configuration, or show what is in force.

    Without FILE it is the usual one, or the defaults if there is none. Every key can be set from the environment as
    well: WATCHKEEPER_STATION__CALL, WATCHKEEPER_PLUGINS__LOOKOUT__ENABLED.

    \b
    Example:
      watchkeeper config show
    """


@command.command()
@_file
@config_option
@click.option("--json", "as_json", is_flag=True, help='One JSON object: {"file", "ok", "problems"}.')
def check(file: Path | None, config_path: Path | None, as_json: bool) -> None:
    """Tell all that is wrong with a configuration, plugins' sections included. Exit code 1 if something is.

    \b
    Example:
      watchkeeper config check configs/portable.toml
    """
    from ..config import ConfigError, load_with_origins

    file = _named(file, config_path)
    problems: list[str] = []
    try:
        loaded: Loaded | None = load_with_origins(file)
    except ConfigError as error:
        problems += error.problems
        loaded = error.loaded
    if loaded is not None:
        problems += [loaded.named(problem) for section in _sections(loaded) for problem in section.problems]
    path = file if loaded is None else loaded.path
    if as_json:
        told = {"file": None if path is None else str(path), "ok": not problems, "problems": problems}
        click.echo(json.dumps(told, ensure_ascii=False))
    elif problems:
        for problem in problems:
            click.echo(problem, err=True)
    else:
        click.echo(f"{path}: good" if path is not None else "no file: the defaults are in force")
    sys.exit(FAILED if problems else 0)


@command.command()
@_file
@config_option
@click.option("--json", "as_json", is_flag=True, help="One JSON object: section → key → value, origin, about.")
def show(file: Path | None, config_path: Path | None, as_json: bool) -> None:
    """Show every key with its value, where that came from, and what it means; the output is valid TOML.

    \b
    Example:
      watchkeeper config show --json
    """
    from ..config import ConfigError, load_with_origins
    from ..config.showing import as_toml, settings

    try:
        loaded = load_with_origins(_named(file, config_path))
    except ConfigError as error:
        for problem in error.problems:
            click.echo(problem, err=True)
        sys.exit(FAILED)
    found = list(settings(loaded, {each.plugin: each.made for each in _sections(loaded) if each.made is not None}))
    if not as_json:
        for line in as_toml(found):
            click.echo(line)
        return
    told: dict[str, dict[str, object]] = {}
    for setting in found:
        told.setdefault(setting.section, {})[setting.key] = {
            "value": setting.value,
            "origin": setting.origin,
            "about": setting.about,
        }
    click.echo(json.dumps(told, ensure_ascii=False))


@command.command()
@click.option("--json", "as_json", is_flag=True, help="One JSON object: section → key → default, variable, about.")
def keys(as_json: bool) -> None:
    """List every key that there is: its default, the environment variable that outweighs it, and what it means.

    \b
    Example:
      watchkeeper config keys
    """
    from ..config import load_with_origins
    from ..config.showing import settings, toml, variable

    loaded = load_with_origins(Path(os.devnull), environ={})
    found = list(settings(loaded, {each.plugin: each.made for each in _sections(loaded) if each.made is not None}))
    if as_json:
        told: dict[str, dict[str, object]] = {}
        for setting in found:
            told.setdefault(setting.section, {})[setting.key] = {
                "default": setting.value,
                "variable": variable(setting),
                "about": setting.about,
                "keys": dict(setting.keys),
            }
        click.echo(json.dumps(told, ensure_ascii=False))
        return
    for setting in found:
        default = "not set" if setting.value is None else toml(setting.value)
        click.echo(f"{setting.section}.{setting.key}: {setting.about}")
        click.echo(f"    default {default}; {variable(setting)}")
        for key, about in setting.keys:
            click.echo(f"    {key}: {about}")


def _sections(loaded: Loaded) -> list[Section]:
    from ..host.loading import available, sections

    return list(sections(available(loaded.config.plugins), loaded.config.plugins))
