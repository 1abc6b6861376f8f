"""``watchkeeper completion``: the script that completes commands and options in a shell."""

from __future__ import annotations

import click


@click.command()
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
def command(shell: str) -> None:
    """Print the script that completes commands and options in SHELL; have the shell read it when it starts.

    \b
    Example:
      watchkeeper completion bash > ~/.local/share/bash-completion/completions/watchkeeper
    """
    from click.shell_completion import get_completion_class

    from . import cli

    found = get_completion_class(shell)
    assert found is not None
    click.echo(found(cli, {}, "watchkeeper", "_WATCHKEEPER_COMPLETE").source())
