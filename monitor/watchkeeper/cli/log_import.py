"""``watchkeeper log import`` and ``undo``."""

from __future__ import annotations

import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, BinaryIO

import click
import msgspec

from watchkeeper.cli.importing import IMPORT, LAID, UNDO
from watchkeeper.cli.opening import looking, writing
from watchkeeper.cli.options import FAILED, fail
from watchkeeper.faces.source import ActRefusedError, NoDaemonError, ask, tell
from watchkeeper.schema.events import stamp
from watchkeeper.store.database import reading
from watchkeeper.store.errors import StoreError
from watchkeeper.store.folder import SOCKET, data_folder
from watchkeeper.store.imports import Imported, Progress, last_import, listed
from watchkeeper.store.merging import Summary
from watchkeeper.store.store import Store

_STANDARD_INPUT = "-"
#: a watch that stands may take minutes for a large log, on a busy computer longer
_PATIENCE_S = 3600.0


class _WatchedLog:
    """The log that a standing watch holds and changes when asked: as much of a store as importing needs."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def import_adif(self, path: Path, name: str, _progress: Progress) -> Imported:
        """As the store's own; raises ActRefusedError with what the watch cannot do."""
        with _laid_there(path, self._folder) as copy:
            return msgspec.convert(self._ask({"act": IMPORT, "file": copy.name, "name": name}), Imported)

    def undo_import(self, number: int) -> int:
        """As the store's own; raises ActRefusedError where there is none to take back."""
        return int(self._ask({"act": UNDO, "number": number})["taken_back"])

    def _ask(self, act: Mapping[str, Any]) -> Any:
        return tell(self._folder / SOCKET, act, timeout_s=_PATIENCE_S)


@contextmanager
def _changing(data: Path | None) -> Iterator[Store | _WatchedLog]:
    """The log, to be changed here, or by the watch that stands on it. Ends the command where it cannot be had."""
    folder = data_folder(data)
    try:
        ask(folder / SOCKET, "/api/status")
    except NoDaemonError:
        with writing(data) as store:
            yield store
        return
    try:
        yield _WatchedLog(folder)
    except (NoDaemonError, ActRefusedError) as fault:
        fail(fault)


def import_files(files: Sequence[str], data: Path | None, as_json: bool) -> int:
    """Import each of ``files``; the exit code."""
    total = Summary()
    unread = 0
    with _changing(data) as log:
        for name in files:
            try:
                with _at_hand(name, data) as path, _shown(name, as_json) as progress:
                    done = log.import_adif(path, path.name if name != _STANDARD_INPUT else "standard input", progress)
            except (OSError, StoreError, ActRefusedError) as fault:
                why = fault.strerror if isinstance(fault, OSError) else fault
                click.echo(f"watchkeeper: {name}: {why}", err=True)
                unread += 1
                continue
            _add(total, done.summary)
            _tell(name, done, as_json)
    if as_json:
        click.echo(msgspec.json.encode(total))
    return FAILED if unread else 0


def undo_import(number: int | None, data: Path | None, as_json: bool) -> None:
    """Take an import back and say which."""
    with _changing(data) as log:
        with reading(data_folder(data)) as db:
            number = last_import(db) if number is None else number
            name = next((one.name for one in listed(db) if one.id == number), "")
        if number is None:
            fail("there is no import to take back")
        try:
            taken = log.undo_import(number)
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
    with _laid(sys.stdin.buffer, data_folder(data)) as path:
        yield path


@contextmanager
def _laid_there(path: Path, folder: Path) -> Iterator[Path]:
    """What is at ``path``, in the data folder: itself, where it was laid there already, or a copy."""
    if path.parent == folder and path.name.startswith(LAID):
        yield path
        return
    with path.open("rb") as stream, _laid(stream, folder) as copy:
        yield copy


@contextmanager
def _laid(stream: BinaryIO, folder: Path) -> Iterator[Path]:
    """A copy of ``stream`` in the data folder for as long as it lasts."""
    with tempfile.NamedTemporaryFile(dir=folder, prefix=LAID) as kept:
        shutil.copyfileobj(stream, kept, 1 << 20)
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
