"""The command line: one module a command, each loaded only when it is called."""

from __future__ import annotations

import importlib
import sys

import click

from .. import __version__
from .exits import MEANINGS

#: command → (module of this package whose ``command`` it is, its line in the overview, in the order of an evening)
COMMANDS: dict[str, tuple[str, str]] = {
    "rehearse": ("rehearse", "Run a whole watch on a simulated band, and learn or judge by it."),
    "watch": ("watch", "Stand watch: listen to the decoder, show the dashboard, keep the log."),
    "serve": ("serve", "Stand watch without a screen, for a service manager."),
    "attach": ("attach", "Show the dashboard of a watch that runs elsewhere on this computer."),
    "preflight": ("preflight", "Is everything right before the first call?"),
    "symptoms": ("symptoms", "From what you notice to its cause and remedy."),
    "exposure": ("exposure", "From which distance on the field keeps the limits for people."),
    "status": ("status", "Say how the running watch stands."),
    "explain": ("explain", "Say why a station did hail, and why not."),
    "log": ("log", "Import, export, check, search and count the log."),
    "outbox": ("outbox", "Show what still has to be forwarded, and mend it."),
    "report": ("report", "Write a session's report: one file to read, print and share."),
    "record": ("record", "Export a session's journal, to keep it or to replay it."),
    "replay": ("replay", "Run a recorded journal again: the same hails and views at any pace."),
    "backup": ("backup", "Copy the whole record to one file while the watch goes on."),
    "lookup": ("lookup", "Say what a call sign is and where it belongs."),
    "path": ("path", "Distance, bearings and daylight between two places."),
    "read": ("read", "Say what a message of the timed modes means."),
    "feed": ("feed", "Turn the lines of any text output into events."),
    "bridge-mqtt": ("bridge_mqtt", "Pass on events from an MQTT broker to a watch."),
    "source": ("source", "Judge what a decoder program or its adapter sends."),
    "schema": ("schema", "Print the event schema."),
    "plugins": ("plugins", "List the plugins, their state and their cost."),
    "plugin": ("plugin", "Write a plugin: the manual, a start, and a judge."),
    "init": ("init", "Write a first configuration: five questions, or flags."),
    "config": ("config", "Check the configuration, or show what is in force."),
    "data": ("data", "Show or refresh the country data."),
    "completion": ("completion", "Complete commands and options in your shell."),
}


class LazyGroup(click.Group):
    """Finds a command's module by name, so that ``--help`` and every command import only what they use."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        found = importlib.import_module(f"{__name__}.{COMMANDS[cmd_name][0]}").command
        assert isinstance(found, click.Command)
        return found

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])
        with formatter.section("Exit codes"):
            formatter.write_dl([(str(code.value), meaning) for code, meaning in MEANINGS.items()])


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(version=__version__, prog_name="watchkeeper")
def cli() -> None:
    """Stand watch beside a decoder: hail wanted stations, keep the log, mind the station. It only listens.

    \b
    Example:
      watchkeeper init
      watchkeeper watch
    """


def main() -> None:
    """Entry point of the ``watchkeeper`` command."""
    try:
        cli()
    except SystemExit as end:
        if "asyncio" in sys.modules:  # a loop ran, and plugins perhaps
            from .leaving import leave

            leave(end.code)
        raise
