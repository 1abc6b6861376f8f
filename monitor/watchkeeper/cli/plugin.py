"""``watchkeeper plugin``: for those who write plugins."""

from __future__ import annotations

import click


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
