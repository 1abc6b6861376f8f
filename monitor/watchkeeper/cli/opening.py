"""How commands open the log: to write while no watch holds it, to read at any time, with faults in one sentence."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from sqlite3 import Connection

import click

from watchkeeper.cli.options import fail
from watchkeeper.store.database import reading
from watchkeeper.store.errors import StoreError, StoreHeldError
from watchkeeper.store.folder import data_folder
from watchkeeper.store.store import Store


@contextmanager
def writing(data: Path | None) -> Iterator[Store]:
    """The log, to write; what it has to tell goes to standard error. Ends the command where it cannot be had."""
    try:
        store = Store.open(data_folder(data))
    except StoreHeldError as fault:
        fail(f"{fault}. Stop that watch, or wait for it, and try again")
    except StoreError as fault:
        fail(fault)
    try:
        for notice in store.notices:
            click.echo(f"watchkeeper: {notice}", err=True)
        yield store
    except StoreError as fault:
        fail(fault)
    finally:
        store.close()


@contextmanager
def looking(data: Path | None) -> Iterator[Connection]:
    """The log, to read, whether a watch holds it or not. Ends the command where there is none."""
    try:
        with reading(data_folder(data)) as connection:
            yield connection
    except StoreError as fault:
        fail(fault)
