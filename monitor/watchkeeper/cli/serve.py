"""``watchkeeper serve``: stand watch without a face, for a service manager."""

from __future__ import annotations

from pathlib import Path

import click

from .options import config_option, data_option
from .paging import chosen, page_options


@click.command()
@data_option
@config_option
@click.option("--port", type=click.IntRange(0, 65535), help="UDP port to listen on instead of the configured one.")
@page_options
@click.option("--safe", is_flag=True, help="Start without any plugin.")
def command(
    data: Path | None,
    config_path: Path | None,
    port: int | None,
    page: bool,
    page_for_phone: bool,
    page_port: int,
    safe: bool,
) -> None:
    """Stand watch without a screen. `watchkeeper attach` shows it, `watchkeeper status` asks it.

    SIGTERM ends it in good order: what has arrived is worked through and written. SIGHUP has it read its configuration
    again, all or nothing, between two periods. It tells a service manager how it stands, as
    configs/watchkeeper.service wants it, and logs on standard error: for people on a terminal, as JSON lines otherwise.

    \b
    Example:
      watchkeeper serve --data /var/lib/watchkeeper
    """
    from .running import Start, run

    run(Start(data, config_path, port, safe, "none", None, chosen(page, page_for_phone), page_port))
