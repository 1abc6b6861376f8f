"""``watchkeeper attach``: the face of a watch that runs elsewhere on this computer."""

from __future__ import annotations

import asyncio
from pathlib import Path

import click

from .options import data_option, fail


@click.command()
@data_option
@click.option("--plain", is_flag=True, help="Sentences instead of a dashboard; by itself without a terminal.")
@click.option("--theme", type=click.Choice(["dark", "light", "sunlight"]), default="dark", help="Colours.")
def command(data: Path | None, plain: bool, theme: str) -> None:
    """Show the dashboard of the watch that runs on the data folder, read-only. Ending it leaves the watch alone.

    \b
    Example:
      watchkeeper attach --theme sunlight
    """
    from ..faces.source import NoDaemonError, ask
    from ..store.folder import SOCKET, data_folder

    path = data_folder(data) / SOCKET
    try:
        ask(path, "/livez")
        asyncio.run(_show(path, plain, theme))
    except NoDaemonError as error:
        fail(error)
    except KeyboardInterrupt:
        return


async def _show(path: Path, plain: bool, theme: str) -> None:
    from ..faces.source import RemoteSource
    from .showing import face, wants_plain

    async with RemoteSource(path) as source:
        await face(source, theme, plain=wants_plain(plain))
