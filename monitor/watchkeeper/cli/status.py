"""``watchkeeper status``: how the running watch stands."""

from __future__ import annotations

from pathlib import Path

import click

from .options import data_option, fail


@click.command()
@data_option
@click.option("--json", "as_json", is_flag=True, help="One JSON object, the same as the HTTP interface gives.")
def command(data: Path | None, as_json: bool) -> None:
    """Say how the running watch stands: sources, losses, log, forwarding, plugins.

    The exit code is 0 when a watch answers, 1 when none does.

    \b
    Example:
      watchkeeper status --json
    """
    import json

    from ..faces.shown import to_snapshot, to_status
    from ..faces.source import ActRefusedError, NoDaemonError, ask
    from ..faces.standing import sentences
    from ..store.folder import data_folder

    path = data_folder(data) / "watch.sock"
    try:
        status = ask(path, "/api/status")
        if as_json:
            click.echo(json.dumps(status, ensure_ascii=False))
            return
        snapshot = ask(path, "/api/snapshot")
    except (NoDaemonError, ActRefusedError) as error:
        fail(error)
    for sentence in sentences(to_snapshot(snapshot), to_status(status)):
        click.echo(sentence)
