"""``watchkeeper backup``: the whole record in one file."""

from __future__ import annotations

from pathlib import Path

import click

from watchkeeper.cli.options import data_option


@click.command()
@click.argument("to", type=click.Path(path_type=Path, dir_okay=False))
@data_option
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def command(to: Path, data: Path | None, as_json: bool) -> None:
    """Copy the whole record to the file TO while the watch goes on.

    TO takes its name only when the copy is whole, checked and on the disk; an older copy of that name stays until
    then. To go back to it, stop the watch and put it in place of watchkeeper.db in the data folder, with no
    watchkeeper.db-wal or watchkeeper.db-shm beside it.

    \b
    Example:
      watchkeeper backup ~/backup/watchkeeper.db
    """
    import msgspec

    from watchkeeper.cli.options import fail
    from watchkeeper.store.backup import backup
    from watchkeeper.store.errors import StoreError
    from watchkeeper.store.folder import data_folder

    try:
        size = backup(data_folder(data), to)
    except StoreError as fault:
        fail(fault)
    if as_json:
        click.echo(msgspec.json.encode({"path": str(to), "bytes": size}))
    else:
        click.echo(f"{to}: {size / 2**20:.1f} MiB, checked")
