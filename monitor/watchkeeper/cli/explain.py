"""``watchkeeper explain``: why a station did hail, and why not."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .options import config_option, data_option, fail

if TYPE_CHECKING:
    from ..watch.replay import Replay


@click.command()
@click.argument("call")
@data_option
@config_option
@click.option("--json", "as_json", is_flag=True, help="One JSON object: call, on_the_air, hails, because.")
def command(call: str, data: Path | None, config_path: Path | None, as_json: bool) -> None:
    """Say why the station CALL did hail and why not: rule by rule, its place in the ranked list, and what is expected.

    Asks the running watch. When none runs, or with --config, the newest session's journal is read again.

    \b
    Example:
      watchkeeper explain CE3QRT
    """
    import json

    from ..config import ConfigError
    from ..faces.clean import scrub
    from ..faces.source import ActRefusedError, NoDaemonError
    from ..store.errors import StoreError
    from ..watch.journal import JournalError

    try:
        found: Any = scrub(_found(call, data, config_path))
    except (ActRefusedError, ConfigError, JournalError, NoDaemonError, StoreError) as error:
        fail(error)
    if as_json:
        click.echo(json.dumps(found, ensure_ascii=False))
        return
    from ..schema.events import stamp

    where = "on the air" if found["on_the_air"] else "not on the air now"
    click.echo(f"{found['call']}, {where}.")
    for hail in found["hails"]:
        click.echo(f"{stamp(hail['at_ms'])[11:19]} hailed by rule {hail['rule']!r}: {hail['sentence']}")
    if not found["hails"]:
        click.echo("It did not hail.")
    for sentence in found["because"]:
        click.echo(f"- {sentence}")


def _found(call: str, data: Path | None, config_path: Path | None) -> dict[str, Any]:
    from urllib.parse import quote

    from ..faces.source import NoDaemonError, ask
    from ..store.folder import data_folder

    folder = data_folder(data)
    if config_path is None:
        try:
            return ask(folder / "watch.sock", f"/api/explain?call={quote(call)}")
        except NoDaemonError:
            pass
    return _replayed(call, folder, config_path)


def _replayed(call: str, folder: Path, config_path: Path | None) -> dict[str, Any]:
    import msgspec

    from ..watch.explaining import explain

    replay = _replay(folder, config_path)
    for _ in replay.steps():
        pass
    found: dict[str, Any] = msgspec.to_builtins(explain(replay.watch, replay.host, call))
    return found


def _replay(folder: Path, config_path: Path | None) -> Replay:
    """The newest session in ``folder``, ready to be read again."""
    import msgspec

    from ..config import load
    from ..store.database import reading
    from ..store.sessions import entries, sessions
    from ..store.worked import WorkedIndex
    from ..store.worked_rows import index_before
    from ..watch.journal import Header
    from ..watch.replay import Replay
    from .entities import use_newest

    use_newest(folder)
    with reading(folder) as db:
        row = next(iter(sessions(db)), None)
        if row is None:
            fail(f"no session in {folder}: nothing was watched yet")
        header = msgspec.json.decode(row.header, type=Header)
        lines = [msgspec.json.encode(msgspec.structs.replace(header, baseline=row.baseline)), *entries(db, row.id)]

    def load_worked(baseline: int) -> WorkedIndex:
        with reading(folder) as db:
            worked, _ = index_before(db, baseline + 1)
        worked.begin_session()
        return worked

    return Replay(lines, load_worked=load_worked, config=None if config_path is None else load(config_path))
