"""``watchkeeper log export``, ``find`` and ``stats``."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click
import msgspec

from watchkeeper import __version__
from watchkeeper.adif import Change, UserField, encode_record, header, write_file
from watchkeeper.adif.contact import to_record
from watchkeeper.cli.opening import looking
from watchkeeper.cli.options import FAILED, fail
from watchkeeper.faces.clean import clean
from watchkeeper.model import Contact
from watchkeeper.schema.events import stamp, to_ms
from watchkeeper.store import worked_rows
from watchkeeper.store.contacts import newest
from watchkeeper.store.search import Wanted, tally, user_fields
from watchkeeper.store.search import find as search
from watchkeeper.store.worked import Dimension

_STANDARD_OUTPUT = "-"
#: characters that are shown of one value
_WIDEST = 400


def export(file: str, data: Path | None, as_json: bool, since: datetime | None, until: datetime | None) -> None:
    """Write the contacts of a time to ``file``."""
    wanted = Wanted(since_ms=_ms(since), until_ms=_ms(until))
    with looking(data) as db:
        found = search(db, wanted)
        try:
            if as_json:
                with click.open_file(file, "wb") as stream:
                    stream.writelines(_line(row_id, contact) + b"\n" for row_id, contact in found)
            else:
                _write_adif(file, (to_record(contact) for _, contact in found), list(user_fields(db, wanted)))
        except BrokenPipeError:
            raise  # whoever read it has enough: no fault
        except OSError as fault:
            fail(f"{file}: {fault.strerror}")


def find(call: str, band: str | None, mode: str | None, limit: int, as_json: bool, data: Path | None) -> int:
    """Show what is found; the exit code."""
    wanted = Wanted(call=call.upper(), band=band.lower() if band else None, mode=mode.upper() if mode else None)
    count = 0
    with looking(data) as db:
        for row_id, contact in search(db, wanted, newest_first=True, limit=limit):
            count += 1
            click.echo(_line(row_id, contact) if as_json else _words(contact))
    if not count:
        click.echo("no such contact in the log", err=True)
    return 0 if count else FAILED


def stats(data: Path | None, as_json: bool) -> None:
    """Count the log."""
    with looking(data) as db:
        counted = tally(db)
        index, _ = worked_rows.index_before(db, newest(db) + 1)
    worked = {dimension.value: index.size(dimension) for dimension in Dimension}
    if as_json:
        click.echo(msgspec.json.encode(msgspec.structs.asdict(counted) | {"worked": worked}))
        return
    click.echo(f"{counted.contacts} contacts, {counted.confirmed} confirmed")
    if counted.first_ms is not None and counted.last_ms is not None:
        click.echo(f"from {stamp(counted.first_ms)[:16]}Z to {stamp(counted.last_ms)[:16]}Z")
    click.echo(
        f"{worked['base']} stations, {worked['entity']} entities, {worked['cq_zone']} CQ zones,"
        f" {worked['itu_zone']} ITU zones, {worked['locator']} squares, {worked['prefix']} prefixes"
    )
    for title, counts in (("band", counted.bands), ("mode", counted.modes)):
        for name, count in counts.items():
            click.echo(f"{title:>6}  {name or 'unknown':<8} {count:>9}")


def _ms(moment: datetime | None) -> int | None:
    return None if moment is None else to_ms(moment.replace(tzinfo=UTC))


def _write_adif(file: str, records: Iterator[dict[str, str]], fields: list[UserField]) -> None:
    now = datetime.now(UTC)
    if file != _STANDARD_OUTPUT:
        _tell(file, write_file(file, records, program_version=__version__, created=now, user_fields=fields))
        return
    stream = sys.stdout.buffer
    stream.write(header(__version__, now, fields))
    for number, record in enumerate(records, 1):
        encoded = encode_record(record, number=number)
        stream.write(encoded.data)
        _tell("standard output", encoded.changes)
    stream.flush()


def _tell(file: str, changes: Iterable[Change]) -> None:
    """What ADI could not hold as it is, on standard error."""
    for change in changes:
        click.echo(f"{file}: record {change.record}, {change.field}: {change.why}", err=True)


def _line(row_id: int, contact: Contact) -> bytes:
    """A contact as one line of JSON, with its row number and readable times."""
    times: dict[str, Any] = {
        "row": row_id,
        "started_at": stamp(contact.started_ms),
        "ended_at": stamp(contact.ended_ms),
    }
    return msgspec.json.encode(times | msgspec.to_builtins(contact))


def _words(contact: Contact) -> str:
    reports = f"{contact.report_sent or '-'}/{contact.report_received or '-'}"
    parts = (
        (stamp(contact.started_ms)[:16].replace("T", " "), 0),
        (contact.call, 12),
        (contact.band or "?", 5),
        (contact.mode, 6),
        (reports, 9),
        (contact.locator or "", 0),
        (contact.entity or "", 0),
        ("confirmed" if contact.confirmed else "", 0),
        (f"! {'; '.join(contact.flags)}" if contact.flags else "", 0),
    )
    return "  ".join(clean(text, _WIDEST).ljust(width) for text, width in parts if text).rstrip()
