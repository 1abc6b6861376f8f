"""``watchkeeper watch``: stand watch with a face on this terminal."""

from __future__ import annotations

import asyncio
from pathlib import Path

import click

from .options import config_option, data_option, fail


@click.command()
@data_option
@config_option
@click.option("--port", type=click.IntRange(0, 65535), help="UDP port to listen on instead of the configured one.")
@click.option("--plain", is_flag=True, help="Sentences instead of a dashboard; by itself without a terminal.")
@click.option("--theme", type=click.Choice(["dark", "light", "sunlight"]), help="Colours of the dashboard.")
@click.option("--safe", is_flag=True, help="Start without any plugin.")
def command(
    data: Path | None, config_path: Path | None, port: int | None, plain: bool, theme: str | None, safe: bool
) -> None:
    """Stand watch: hear the decoder's events, show what matters, keep the log.

    The decoder (or an adapter of yours: see `watchkeeper schema --page`) sends its events to UDP port 41815 of this
    computer. All state stands in the data folder; a watch that was interrupted goes on where it stopped.

    \b
    Example:
      watchkeeper watch --config configs/portable.toml --theme sunlight
    """
    from .running import run_watch

    fail_on = asyncio.run(run_watch(data, config_path, port=port, plain=plain, theme=theme, safe=safe, faced=True))
    if fail_on is not None:
        fail(fail_on)
