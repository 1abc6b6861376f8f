"""``watchkeeper serve``: stand watch without a face, for a service manager."""

from __future__ import annotations

import asyncio
from pathlib import Path

import click

from .options import config_option, data_option, fail


@click.command()
@data_option
@config_option
@click.option("--port", type=click.IntRange(0, 65535), help="UDP port to listen on instead of the configured one.")
@click.option("--safe", is_flag=True, help="Start without any plugin.")
def command(data: Path | None, config_path: Path | None, port: int | None, safe: bool) -> None:
    """Stand watch without a screen. `watchkeeper attach` shows it, `watchkeeper status` asks it.

    Ends in good order on SIGTERM: what has arrived is worked through and written.

    \b
    Example:
      watchkeeper serve --data /var/lib/watchkeeper
    """
    from .running import run_watch

    fail_on = asyncio.run(run_watch(data, config_path, port=port, plain=True, theme=None, safe=safe, faced=False))
    if fail_on is not None:
        fail(fail_on)
