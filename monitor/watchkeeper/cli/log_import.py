"""``watchkeeper log import`` and ``undo``."""

from __future__ import annotations

import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import click
import msgspec

from watchkeeper.cli.opening import looking, writing
from watchkeeper.cli.options import FAILED, fail
from watchkeeper.schema.events import stamp
from watchkeeper.store.folder import data_folder
from watchkeeper.store.imports import Imported, last_import, listed
from watchkeeper.store.merging import Summary

_STANDARD_INPUT = "-"


def import_files(files: Sequence[str], data: Path | None, as_json: bool) -> int:
    """Import each of ``files``; the exit code."""
    total = Summary()
    unread = 0
    with writing(data) as store:
        for name in files:
            try:
                with _at_hand(name, data) as path, _shown(name, as_json) as progress:
                    done = store.import_adif(path, path.name if name != _STANDARD_INPUT else "standard input", progress)
            except OSError as fault:
                click.echo(f"watchkeeper: {name}: {fault.strerror}", err=True)
                unread += 1
                continue
            _add(total, done.summary)
            _tell(name, done, as_json)
    if as_json:
        click.echo(msgspec.json.encode(total))
    return FAILED if unread else 0


def undo_import(number: int | None, data: Path | None, as_json: bool) -> None:
    """Take an import back and say which."""
    with writing(data) as store:
        with store.reader() as db:
            number = last_import(db) if number is None else number
            name = next((one.name for one in listed(db) if one.id == number), "")
        if number is None:
            fail("there is no import to take back")
        try:
            taken = store.undo_import(number)
        except KeyError:
            fail(f"there is no import {number} to take back")
    if as_json:
        click.echo(msgspec.json.encode({"import": number, "name": name, "taken_back": taken}))
    else:
        click.echo(f"import {number} ({name}) is taken back: {taken} contacts")


def list_imports(data: Path | None, as_json: bool) -> None:
    """All imports, the oldest first."""
    with looking(data) as db:
        found = list(listed(db))
    if as_json:
        click.echo(msgspec.json.encode(found))
        return
    for one in found:
        state = "  taken back" if one.undone else "" if one.done else "  broken off"
        click.echo(f"{one.id:>4}  {stamp(one.started_ms)[:16]}Z  {one.new:>8} new  {one.name}{state}")


@contextmanager
def _at_hand(name: str, data: Path | None) -> Iterator[Path]:
    """A path to what is to be read: the standard input is kept in the data folder meanwhile."""
    if name != _STANDARD_INPUT:
        yield Path(name)
        return
    with tempfile.NamedTemporaryFile(dir=data_folder(data), prefix=".import-") as kept:
        shutil.copyfileobj(sys.stdin.buffer, kept)
        kept.flush()
        yield Path(kept.name)


@contextmanager
def _shown(name: str, as_json: bool) -> Iterator[Callable[[float], None]]:
    """Progress on a terminal's standard error; nothing elsewhere."""
    if as_json or not sys.stderr.isatty():
        yield lambda _done: None
        return
    with click.progressbar(length=1000, label=name, file=sys.stderr) as bar:
        yield lambda done: bar.update(round(done * 1000) - bar.pos)


def _add(total: Summary, more: Summary) -> None:
    for name in more.__struct_fields__:
        setattr(total, name, getattr(total, name) + getattr(more, name))


def _tell(name: str, done: Imported, as_json: bool) -> None:
    summary = done.summary
    for refused in done.refused:
        click.echo(f"{name}: record {refused.record}, line {refused.line}: refused: {refused.why}", err=True)
    if summary.refused > len(done.refused):
        click.echo(f"{name}: and {summary.refused - len(done.refused)} more refused", err=True)
    if not as_json:
        click.echo(
            f"{name}: {summary.read} read: {summary.new} new, {summary.equal} equal, {summary.mended} mended,"
            f" {summary.refused} refused (import {done.id})"
        )
