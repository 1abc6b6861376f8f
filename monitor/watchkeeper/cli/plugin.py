"""``watchkeeper plugin``: for those who write plugins."""

from __future__ import annotations

import shlex
from pathlib import Path

import click

from .options import fail


@click.group()
def command() -> None:
    """For those who write plugins."""


@command.command()
def docs() -> None:
    """Print the page for plugin authors, in Markdown.

    \b
    Example: watchkeeper plugin docs > plugins.md
    """
    from ..authoring.manual import page

    click.echo(page(), nl=False)


@command.command()
@click.argument("name")
@click.option(
    "--in",
    "parent",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    default=".",
    help="Where the folder NAME is made. [default: here]",
)
def new(name: str, parent: Path) -> None:
    """Write a plugin NAME to start from: a folder with hooks, configuration, tests and packaging.

    \b
    Example: watchkeeper plugin new far_away
    """
    from ..authoring.making import MakingError, make
    from ..host.discovery import installed

    taken = {each.name: each.distribution or "an installed package" for each in installed()}
    try:
        folder = make(name, parent, taken)
    except MakingError as error:
        fail(error)
    click.echo(f"{folder} is a plugin. Install it with: pip install --editable {shlex.quote(str(folder))}")
    click.echo(f"Whether it is fit to run: watchkeeper plugin check {shlex.quote(str(folder))}")
