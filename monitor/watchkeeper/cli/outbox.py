"""``watchkeeper outbox``: what still has to be forwarded, and what was refused."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from sqlite3 import Connection
from typing import Any

import click

from watchkeeper.cli.options import data_option

_as_json = click.option("--json", "as_json", is_flag=True, help="JSON instead of words.")
_destination = click.option("--destination", metavar="NAME", help="Of this destination only.")


@click.group()
def command() -> None:
    """Show what still has to be forwarded, and mend it.

    \b
    Example:
      watchkeeper outbox list
    """


@command.command("list")
@_destination
@click.option("--all", "everything", is_flag=True, help="What was delivered or dropped as well.")
@data_option
@_as_json
def list_command(destination: str | None, everything: bool, data: Path | None, as_json: bool) -> None:
    """List what waits and the dead letters, the oldest first.

    \b
    Example:
      watchkeeper outbox list
    """
    import msgspec

    from watchkeeper.cli.opening import looking
    from watchkeeper.schema.events import stamp
    from watchkeeper.store import outbox
    from watchkeeper.store.contacts import by_id
    from watchkeeper.store.outbox import State

    states = list(State) if everything else [State.WAITING, State.DEAD]
    rows: list[dict[str, Any]] = []
    with looking(data) as db:
        for row in outbox.listed(db, states=states, destination=destination, limit=-1):
            contact = by_id(db, row.contact_id)
            rows.append(
                {
                    "id": row.id,
                    "destination": row.destination,
                    "call": "" if contact is None else contact.call,
                    "state": row.state,
                    "tries": row.tries,
                    "since": stamp(row.created_ms),
                    "why": row.why,
                }
            )
    if as_json:
        click.echo(msgspec.json.encode(rows))
        return
    for one in rows:
        tried = f"tried {one['tries']} times" if one["tries"] else "not tried yet"
        why = f": {one['why']}" if one["why"] else ""
        click.echo(f"{one['id']:>6}  {one['destination']}  {one['call']}  {one['state']}, {tried}{why}")


@command.command("inspect")
@click.argument("number", metavar="ID", type=int)
@data_option
@_as_json
def inspect_command(number: int, data: Path | None, as_json: bool) -> None:
    """Show all of one row: its key, and the payload as it is sent.

    \b
    Example:
      watchkeeper outbox inspect 12
    """
    import msgspec

    from watchkeeper.cli.opening import looking
    from watchkeeper.cli.options import fail
    from watchkeeper.schema.events import stamp
    from watchkeeper.store import outbox

    with looking(data) as db:
        row = outbox.find(db, number)
    if row is None:
        fail(f"there is no row {number} in the outbox")
    shown: dict[str, Any] = {
        "id": row.id,
        "destination": row.destination,
        "contact": row.contact_id,
        "key": row.key,
        "state": row.state,
        "tries": row.tries,
        "since": stamp(row.created_ms),
        "next_try": stamp(row.due_ms) if row.due_ms else None,
        "ended": stamp(row.done_ms) if row.done_ms is not None else None,
        "why": row.why,
        "payload": None if row.payload is None else row.payload.decode(errors="backslashreplace"),
    }
    if as_json:
        click.echo(msgspec.json.encode(shown))
        return
    for name, value in shown.items():
        click.echo(f"{name:>12}  {'' if value is None else value}")


@command.command("retry")
@click.argument("numbers", metavar="[ID]…", type=int, nargs=-1)
@click.option("--dead", is_flag=True, help="All dead letters.")
@_destination
@data_option
def retry_command(numbers: tuple[int, ...], dead: bool, destination: str | None, data: Path | None) -> None:
    """Have rows tried again: those with ID, or all dead letters. A standing watch does so at once, else the next one.

    \b
    Example:
      watchkeeper outbox retry --dead
    """
    from watchkeeper.cli.mending import RETRY
    from watchkeeper.cli.opening import looking
    from watchkeeper.store import outbox
    from watchkeeper.store.outbox import State

    if not numbers and not dead:
        raise click.UsageError("say which rows: their ID, or --dead")
    if dead:
        with looking(data) as db:
            found = outbox.listed(db, states=[State.DEAD], destination=destination, limit=-1)
            numbers += tuple(row.id for row in found)
    count = _mended(data, RETRY, numbers, lambda db: outbox.retry(db, numbers))
    _tell(count, "will be tried again", "can be tried again", 0 if dead else len(numbers))


@command.command("drop")
@click.argument("numbers", metavar="ID…", type=int, nargs=-1, required=True)
@data_option
def drop_command(numbers: tuple[int, ...], data: Path | None) -> None:
    """Give rows up. They stay to be seen with ``outbox list --all``, and can be tried again.

    \b
    Example:
      watchkeeper outbox drop 12
    """
    from watchkeeper.cli.mending import DROP
    from watchkeeper.store import outbox

    now_ms = round(datetime.now(UTC).timestamp() * 1000)
    count = _mended(data, DROP, numbers, lambda db: outbox.drop(db, numbers, now_ms))
    _tell(count, "will not be forwarded", "can be dropped", len(numbers))


def _tell(count: int, done: str, asked: str, named: int) -> None:
    """Say how many rows were changed; that there is none like those ``named`` is a failure."""
    from watchkeeper.cli.options import fail

    if named and not count:
        fail(f"no row of that number {asked}: see `watchkeeper outbox list --all`")
    click.echo(f"{count} {done}" + (f", {named - count} not" if named > count else ""))


def _mended(data: Path | None, act: str, numbers: tuple[int, ...], work: Callable[[Connection], int]) -> int:
    """How many rows were changed: by the standing watch, which alone may write, or by ``work`` where none stands."""
    from watchkeeper.cli.opening import writing
    from watchkeeper.cli.options import fail
    from watchkeeper.faces.source import ActRefusedError, NoDaemonError, tell
    from watchkeeper.store.folder import SOCKET, data_folder

    try:
        return int(tell(data_folder(data) / SOCKET, {"act": act, "rows": numbers})["rows"])
    except ActRefusedError as refusal:
        fail(refusal)
    except NoDaemonError:
        with writing(data) as store:
            return store.change_now(work)
