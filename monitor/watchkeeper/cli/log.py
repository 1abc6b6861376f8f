"""``watchkeeper log``: the commands that work on contacts and on ADIF files."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from watchkeeper.cli.options import data_option

_as_json = click.option("--json", "as_json", is_flag=True, help="One JSON object.")
_DAYS = click.DateTime(["%Y-%m-%d", "%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S"])


@click.group()
def command() -> None:
    """The log: import, export, search and count it, and check ADIF files against the standard.

    \b
    Example:
      watchkeeper log import old-log.adi
    """


@command.command("import")
@click.argument("files", metavar="FILE…", nargs=-1, required=True)
@data_option
@_as_json
@click.pass_context
def import_command(ctx: click.Context, files: tuple[str, ...], data: Path | None, as_json: bool) -> None:
    """Merge the contacts in FILE (ADI or ADX; - for the standard input) into the log.

    A contact that the log has already (same call, band and mode, a start within five minutes) is equal and not added
    again; one that only the file knows as confirmed confirms it. Each record is counted as new, equal or refused;
    "mended" counts those among them that broke the standard and could be mended, and contacts that were confirmed.
    Where a watch stands on the log, it does the work and judges by the larger log from then on. A contact that comes
    while it does, and all that comes behind it, waits until the import is done; nothing of it is lost. A large file is
    best taken in between two evenings. All of a file is taken in or, where the work is broken off, nothing.

    The exit code is 0 when every file could be taken in (refused records are listed), 1 otherwise.

    \b
    Example:
      watchkeeper log import old-log.adi
    """
    from watchkeeper.cli.log_import import import_files

    ctx.exit(import_files(files, data, as_json))


@command.command("undo")
@click.argument("number", metavar="[IMPORT]", type=int, required=False)
@click.option("--list", "as_list", is_flag=True, help="List the imports instead.")
@data_option
@_as_json
def undo_command(number: int | None, as_list: bool, data: Path | None, as_json: bool) -> None:
    """Take one import back: the one with this number, or the last. Its rows stay, marked as taken back.

    \b
    Example:
      watchkeeper log undo
    """
    from watchkeeper.cli.log_import import list_imports, undo_import

    if as_list:
        list_imports(data, as_json)
    else:
        undo_import(number, data, as_json)


@command.command("export")
@click.argument("file", metavar="[FILE]", default="-")
@click.option("--json", "as_json", is_flag=True, help="A JSON object a line for each contact, instead of ADIF.")
@click.option("--since", type=_DAYS, help="Contacts that start at this time (UTC) or later.")
@click.option("--until", type=_DAYS, help="Contacts that start before this time (UTC).")
@data_option
def export_command(file: str, as_json: bool, since: datetime | None, until: datetime | None, data: Path | None) -> None:
    """Write the log to FILE (- or nothing: the standard output) in the order of time, as ADIF 3.1.7 or JSON lines.

    \b
    Example:
      watchkeeper log export --since 2026-05-01 may.adi
    """
    from watchkeeper.cli.log_export import export

    export(file, data, as_json, since, until)


@command.command("find")
@click.argument("call")
@click.option("--band", help="On this band only, such as 20m.")
@click.option("--mode", help="In this mode only, such as FT8.")
@click.option("--limit", default=50, show_default=True, type=click.IntRange(1), help="At most so many, the newest.")
@click.option("--json", "as_json", is_flag=True, help="A JSON object a line for each contact.")
@data_option
@click.pass_context
def find_command(
    ctx: click.Context, call: str, band: str | None, mode: str | None, limit: int, as_json: bool, data: Path | None
) -> None:
    """Show contacts with CALL, the newest first; * stands for any letters, ? for one.

    The exit code is 0 when there are any, 1 otherwise.

    \b
    Example:
      watchkeeper log find "JA*"
    """
    from watchkeeper.cli.log_export import find

    ctx.exit(find(call, band, mode, limit, as_json, data))


@command.command("stats")
@data_option
@_as_json
def stats_command(data: Path | None, as_json: bool) -> None:
    """Count the log: by band and mode, entities, zones, squares, and what is confirmed.

    \b
    Example:
      watchkeeper log stats
    """
    from watchkeeper.cli.log_export import stats

    stats(data, as_json)


@command.command("complete")
@click.argument("call")
@data_option
def complete_command(call: str, data: Path | None) -> None:
    """Log the exchange with CALL that looks complete and that no source has announced.

    Needs the watch that heard it to be running; the dashboard's l key does the same.

    \b
    Example:
      watchkeeper log complete JA1QRV
    """
    from watchkeeper.cli.log_complete import complete

    complete(call, data)


@command.command("check")
@click.argument("files", metavar="FILE…", nargs=-1, required=True)
@click.option("--json", "as_json", is_flag=True, help="One JSON object with the record count and all problems.")
@data_option
@click.pass_context
def check_command(ctx: click.Context, files: tuple[str, ...], as_json: bool, data: Path | None) -> None:
    """Say what in FILE (ADI or ADX; - for the standard input) breaks the ADIF standard, with place and mend.

    The exit code is 0 without errors (warnings may stand), 1 with errors, 2 when a file cannot be read. It needs
    no log: --data is taken because all log commands take it, and changes nothing.

    \b
    Example:
      watchkeeper log check may.adi
    """
    from watchkeeper.cli.log_check import check_files

    del data
    ctx.exit(check_files(files, as_json))
