"""``watchkeeper schema``: the event schema as JSON Schema, AsyncAPI, or the page for adapter authors."""

from __future__ import annotations

import json
from collections.abc import Callable

import click

from ..schema import documents

_MAKERS: dict[str, Callable[[], str]] = {
    "json": lambda: _pretty(documents.json_schema()),
    "asyncapi": lambda: _pretty(documents.asyncapi()),
    "page": documents.page,
}


@click.command()
@click.option("--json", "form", flag_value="json", default="json", help="JSON Schema 2020-12. [default]")
@click.option("--asyncapi", "form", flag_value="asyncapi", help="AsyncAPI 3.")
@click.option("--page", "form", flag_value="page", help="The page that explains every kind, in Markdown.")
def command(form: str) -> None:
    """Print the event schema: what decoder programs send to the watch, and how it answers.

    \b
    Example: watchkeeper schema --json > event-schema.json
    """
    click.echo(_MAKERS[form](), nl=False)


def _pretty(document: documents.Json) -> str:
    return json.dumps(document, indent=2, ensure_ascii=False) + "\n"
