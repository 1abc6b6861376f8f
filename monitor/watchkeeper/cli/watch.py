"""``watchkeeper watch``: stand watch with a face on this terminal."""

from __future__ import annotations

from pathlib import Path

import click

from .options import config_option, data_option
from .paging import chosen, page_options


@click.command()
@data_option
@config_option
@click.option("--port", type=click.IntRange(0, 65535), help="UDP port to listen on instead of the configured one.")
@click.option("--plain", is_flag=True, help="Sentences instead of a dashboard; by itself without a terminal.")
@click.option("--dump", is_flag=True, help="Every datagram that arrives, with the reason where it is refused.")
@click.option("--theme", type=click.Choice(["dark", "light", "sunlight"]), help="Colours of the dashboard.")
@page_options
@click.option("--safe", is_flag=True, help="Start without any plugin.")
def command(
    data: Path | None,
    config_path: Path | None,
    port: int | None,
    plain: bool,
    dump: bool,
    theme: str | None,
    page: bool,
    page_for_phone: bool,
    page_port: int,
    safe: bool,
) -> None:
    """Stand watch: hear the decoder's events, show what matters, keep the log.

    The decoder (or an adapter of yours: see `watchkeeper schema --page`) sends its events to UDP port 41815 of this
    computer. All state stands in the data folder; a watch that was interrupted goes on where it stopped.

    \b
    Example:
      watchkeeper watch --config configs/portable.toml --theme sunlight --page-for-phone
    """
    from .running import Start, run
    from .showing import wants_plain

    if plain and dump:
        raise click.UsageError("--plain and --dump: one of the two")
    look = "dump" if dump else "plain" if wants_plain(plain) else "dashboard"
    run(Start(data, config_path, port, safe, look, theme, chosen(page, page_for_phone), page_port))
