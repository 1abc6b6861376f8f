"""Options that several commands share."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, NoReturn, TypeVar

import click

from .exits import Exit

F = TypeVar("F", bound=Callable[..., Any])

#: the command line was understood, and what it asked for failed
FAILED = Exit.FAILED


def data_option(command: F) -> F:
    """``--data DIR``"""
    return click.option(
        "--data",
        type=click.Path(file_okay=False, path_type=Path),
        metavar="DIR",
        help="Folder that holds all state of the run (WATCHKEEPER_DATA; else the platform's usual place).",
    )(command)


def config_option(command: F) -> F:
    """``--config FILE``"""
    return click.option(
        "--config",
        "config_path",
        type=click.Path(dir_okay=False, path_type=Path),
        metavar="FILE",
        help="Configuration to use instead of the usual one.",
    )(command)


def fail(why: object, status: Exit = Exit.FAILED) -> NoReturn:
    """Say why on standard error and end with that status."""
    click.echo(f"watchkeeper: {why}", err=True)
    sys.exit(status)
