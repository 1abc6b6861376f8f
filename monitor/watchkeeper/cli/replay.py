"""``watchkeeper replay``: a recorded journal run again."""

from __future__ import annotations

import time
from pathlib import Path
from typing import IO, TYPE_CHECKING

import click

from .options import config_option, data_option, fail

if TYPE_CHECKING:
    from ..store.worked import WorkedIndex


@click.command()
@click.argument("journal", type=click.File("rb"))
@data_option
@config_option
@click.option("--pace", default="max", help="1 is real time, 10 ten times as fast; max does not wait.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line: each hail, then the last snapshot.")
def command(journal: IO[bytes], data: Path | None, config_path: Path | None, pace: str, as_json: bool) -> None:
    """Run the JOURNAL (a file from `watchkeeper record`, - for standard input) again.

    The same journal gives the same hails and views, byte for byte, at any pace. With --data, contacts that were in that
    log before the session count as worked; with --config, another configuration is tried on the same evening.

    \b
    Example:
      watchkeeper replay evening.jsonl --config stricter.toml
    """
    from functools import partial

    import msgspec

    from ..config import ConfigError, load
    from ..schema.events import stamp
    from ..store.errors import StoreError
    from ..watch import snapshot
    from ..watch.journal import JournalError
    from ..watch.replay import Replay
    from .entities import use_newest

    wait = _waiter(pace)
    try:
        use_newest(data)
        config = None if config_path is None else load(config_path)
        load_worked = None if data is None else partial(_worked, data)
        replay = Replay(journal, load_worked=load_worked, config=config)
        for entry, out in replay.steps():
            wait(entry.t)
            for hail in out.hails:
                if as_json:
                    click.echo(msgspec.json.encode({"hail": hail}, order="deterministic"))
                else:
                    click.echo(f"{stamp(hail.at_ms)[11:19]} {hail.sentence}")
        if as_json:
            click.echo(msgspec.json.encode({"snapshot": snapshot.take(replay.watch)}, order="deterministic"))
        else:
            click.echo(f"{replay.watch.contacts_logged} contacts, {replay.watch.hails.out} hails.")
    except (ConfigError, JournalError, StoreError) as error:
        fail(error)


def _worked(data: Path, baseline: int) -> WorkedIndex:
    """The log in ``data`` as it stood at ``baseline``."""
    from ..store.database import reading
    from ..store.worked_rows import index_before

    with reading(data) as db:
        worked, _ = index_before(db, baseline + 1)
    worked.begin_session()
    return worked


def _waiter(pace: str) -> _Waiter:
    if pace == "max":
        return _Waiter(None)
    try:
        factor = float(pace)
    except ValueError:
        factor = 0.0
    if not 0 < factor < float("inf"):
        raise click.BadParameter(f"{pace!r} is neither 'max' nor a number above 0", param_hint="--pace")
    return _Waiter(factor)


class _Waiter:
    """Waits so that the journal's time passes ``pace`` times as fast as the clock's."""

    def __init__(self, pace: float | None) -> None:
        self._pace = pace
        self._begun: tuple[int, float] | None = None

    def __call__(self, t: int) -> None:
        if self._pace is None:
            return
        if self._begun is None:
            self._begun = (t, time.monotonic())
        due = self._begun[1] + (t - self._begun[0]) / 1000 / self._pace
        time.sleep(max(0.0, due - time.monotonic()))
