"""``watchkeeper symptoms``: from what you notice to its cause and remedy."""

from __future__ import annotations

import json

import click

from .options import fail


@click.command()
@click.argument("words", nargs=-1)
@click.option("--json", "as_json", is_flag=True, help="One JSON array.")
def command(words: tuple[str, ...], as_json: bool) -> None:
    """List troubles that no event shows, with cause and remedy; WORDS narrow them down.

    The exit code is 1 when nothing matches.

    \b
    Example:
      watchkeeper symptoms nothing decodes
    """
    from ..symptoms import matching

    found = matching(" ".join(words))
    if as_json:
        click.echo(json.dumps([one._asdict() for one in found], ensure_ascii=False))
    if not found:
        fail(f"nothing here matches {' '.join(words)!r}: try fewer words, or none for the whole list")
    if as_json:
        return
    for one in found:
        click.echo(f"{one.symptom[0].upper()}{one.symptom[1:]}:\n  because {one.cause};\n  {one.remedy}.")
