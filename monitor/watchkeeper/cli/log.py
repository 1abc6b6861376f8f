"""``watchkeeper log``: the commands that work on contacts and on ADIF files."""

from __future__ import annotations

import click


@click.group()
def command() -> None:
    """The log: check ADIF files against the standard."""


@command.command("check")
@click.argument("files", metavar="FILE…", nargs=-1, required=True)
@click.option("--json", "as_json", is_flag=True, help="One JSON object with the record count and all problems.")
@click.pass_context
def check_command(ctx: click.Context, files: tuple[str, ...], as_json: bool) -> None:
    """Say what in FILE (ADI or ADX; - for the standard input) breaks the ADIF standard, with place and mend.

    The exit code is 0 without errors (warnings may stand), 1 with errors, 2 when a file cannot be read.
    """
    from watchkeeper.cli.log_check import check_files

    ctx.exit(check_files(files, as_json))
