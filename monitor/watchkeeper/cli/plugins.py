"""``watchkeeper plugins``: what is installed, how it stands, what it costs."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from .options import config_option, data_option, fail


@click.command()
@data_option
@config_option
@click.option("--json", "as_json", is_flag=True, help='One JSON object: {"daemon", "plugins", "notices"}.')
def command(data: Path | None, config_path: Path | None, as_json: bool) -> None:
    """List the plugins: state, reason, calls, errors and time.

    A running watch is asked. Without one the plugins are loaded and checked here and now: "ready" are those that a
    watch would run.

    \b
    Example:
      watchkeeper plugins
    """
    told = _of_daemon(data) or _of_config(config_path, data)
    if as_json:
        click.echo(json.dumps(told, ensure_ascii=False))
        return
    for line in _lines(told):
        click.echo(line)


def _of_daemon(data: Path | None) -> dict[str, Any] | None:
    from ..faces.source import ActRefusedError, NoDaemonError, ask
    from ..store.folder import data_folder

    try:
        status = ask(data_folder(data) / "watch.sock", "/api/status")
    except (NoDaemonError, ActRefusedError):
        return None
    return {"daemon": True, "plugins": status["plugins"], "notices": status.get("notices", [])}


def _of_config(config_path: Path | None, data: Path | None) -> dict[str, Any]:
    import msgspec

    from ..config import ConfigError, load
    from ..host.idle import idle_host
    from ..store.folder import data_folder

    try:
        settings = load(config_path).plugins
    except ConfigError as error:
        fail(error)
    host = idle_host(settings, data_folder(data))
    plugins = [msgspec.to_builtins(status) for status in host.status()]
    for plugin in plugins:
        if plugin["state"] == "running":
            plugin["state"] = "ready"
    return {"daemon": False, "plugins": plugins, "notices": host.notices}


def _lines(told: Mapping[str, Any]) -> list[str]:
    from ..faces.clean import clean

    lines = [] if told["daemon"] else ["No watch runs; this is what one would start with."]
    for plugin in told["plugins"]:
        version = f" {plugin['version']}" if plugin["version"] else ""
        lines.append(clean(f"{plugin['name']}: {plugin['state']} ({plugin['distribution']}{version})"))
        if plugin["calls"]:
            lines.append(
                f"    {plugin['calls']:,} calls, {plugin['errors']:,} errors, "
                f"mean {plugin['mean_us']:.1f} µs, longest {plugin['max_ms']:.1f} ms"
            )
        lines += [f"    {clean(reason)}" for reason in (plugin["reason"] or "").splitlines()]
    return lines + [clean(notice) for notice in told["notices"]]
