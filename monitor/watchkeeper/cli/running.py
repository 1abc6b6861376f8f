"""Runs a live watch for ``watch`` and ``serve`` until it is told to stop."""

from __future__ import annotations

from pathlib import Path

import click

from ..config import Config, ConfigError, load
from ..intake.seal import SealKeyError
from ..intake.udp import IntakeError
from ..radio import entity
from ..store.errors import StoreError
from ..store.folder import data_folder
from .entities import use_newest
from .showing import face, stop_on_signals, until_first, wants_plain
from .standing import stand


def folder_of(config: Config, data: Path | None) -> Path:
    """The data folder: of the command line, else the environment, else the config, else the platform's place."""
    if data is None and config.log.folder is not None:
        return data_folder(config.log.folder)
    return data_folder(data)


async def run_watch(
    data: Path | None,
    config_path: Path | None,
    *,
    port: int | None,
    plain: bool,
    theme: str | None,
    safe: bool,
    faced: bool,
) -> str | None:
    """Stand watch until a signal comes or the operator quits; what went wrong, or None."""
    try:
        config = load(config_path)
        folder = folder_of(config, data)
        use_newest(folder)
        async with stand(config, folder, port=port, safe=safe) as standing:
            stop_on_signals(standing.stopped)
            host, bound = standing.intake.address
            work = [standing.stopped.wait(), standing.failed()]
            if faced:
                chosen = theme or config.display.theme.value
                work.append(face(standing.source, chosen, plain=wants_plain(plain)))
            else:
                click.echo(
                    f"Listening for events on {host}:{bound}, state in {folder}, country data {entity.release().name}."
                )
            await until_first(*work)
    except (ConfigError, IntakeError, SealKeyError, StoreError) as error:
        return str(error)
    return None
