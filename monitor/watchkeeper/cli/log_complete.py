"""``watchkeeper log complete``: logs an exchange that no source has announced, through the watch that heard it."""

from __future__ import annotations

import asyncio
from pathlib import Path

import click

from ..faces.source import ActRefusedError, NoDaemonError, RemoteSource
from ..store.folder import SOCKET, data_folder
from .options import fail


def complete(call: str, data: Path | None) -> None:
    """Ask the running watch; ends with status 1 and the reason where it has no such exchange."""
    try:
        asyncio.run(_ask(call.upper(), data_folder(data) / SOCKET))
    except (ActRefusedError, NoDaemonError) as error:
        fail(error)
    click.echo(f"{call.upper()} is logged.")


async def _ask(call: str, path: Path) -> None:
    async with RemoteSource(path, read_only=False) as source:
        await source.act({"act": "log", "call": call})
