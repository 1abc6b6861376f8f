"""``watchkeeper report``: a session in one file to read, print and share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from .options import data_option, fail

if TYPE_CHECKING:
    from ..faces.report.facts import Report

FORMS = (".html", ".pdf", ".json", ".csv")


@click.command()
@click.argument("session", type=int, required=False)
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    required=True,
    metavar="FILE",
    help="File to write; its ending (.html, .pdf, .json or .csv) says in which form.",
)
@data_option
def command(session: int | None, out: Path, data: Path | None) -> None:
    """Write the report of SESSION (the newest when not given): summary, contacts, map, plots, what happened when.

    Works beside a running watch. HTML and PDF need the extra `report`; CSV holds the contacts alone.

    \b
    Example:
      watchkeeper report --out evening.html
    """
    from rich.console import Console
    from rich.progress import Progress

    from ..faces.report.plots import NoPlotsError
    from ..store.errors import StoreError
    from ..store.folder import data_folder
    from ..watch.journal import JournalError
    from .entities import use_newest
    from .reporting import NoSessionError, gather

    if out.suffix.lower() not in FORMS:
        fail(f"{out}: a report is written as {', '.join(FORMS)}")
    try:
        use_newest(data)
        with Progress(console=Console(stderr=True), transient=True) as bar:
            task = bar.add_task("Reading the session", total=None)
            report = gather(
                data_folder(data), session, lambda done, whole: bar.update(task, completed=done, total=whole)
            )
        _write(report, out, lambda what: click.echo(f"Drawing: {what}", err=True))
    except (StoreError, JournalError, NoSessionError, NoPlotsError) as error:
        fail(error)
    except OSError as error:
        fail(f"{out}: {error.strerror}")
    click.echo(f"{out}: session {report.session}, {len(report.contacts)} contacts.")


def _write(report: Report, out: Path, progress: Callable[[str], None]) -> None:
    match out.suffix.lower():
        case ".html":
            from ..faces.report.html import page

            out.write_text(page(report, progress), encoding="utf-8")
        case ".pdf":
            from ..faces.report.pdf import write

            write(report, out, progress)
        case ".csv":
            from ..faces.report.sheet import contacts

            out.write_text(contacts(report), encoding="utf-8", newline="")
        case _:
            import msgspec

            out.write_bytes(msgspec.json.format(msgspec.json.encode(report)) + b"\n")
