"""The command line: one module a command, each loaded only when it is called."""

from __future__ import annotations

import importlib
from typing import Any

import click

#: command name → module of this package; the module's ``command`` is the click command or group
COMMANDS: dict[str, str] = {
    "lookup": "lookup",
    "path": "path",
    "read": "read",
}


class LazyGroup(click.Group):
    """Finds a command's module by name, so that ``--help`` and every command import only what they use."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        module = COMMANDS.get(cmd_name)
        if module is None:
            return None
        found = importlib.import_module(f"{__name__}.{module}").command
        assert isinstance(found, click.Command)
        return found


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="watchkeeper")
def cli() -> None:
    """Stand watch beside a decoder: hail wanted stations, check the log, watch the station. It only listens."""


def main(*args: Any) -> None:
    """Entry point of the ``watchkeeper`` command."""
    cli(*args)
