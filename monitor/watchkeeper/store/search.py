"""Looking into the log: by call, band, mode and time, in the order of time."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from io import BytesIO

import msgspec

from ..adif import UserField, read, tables
from ..model import Contact
from .contacts import contacts_of

#: a field's name in a record
_NAME = re.compile(rb"<([A-Za-z0-9_]{1,64}):[0-9]")


class Wanted(msgspec.Struct, frozen=True, kw_only=True):
    """What to look for; None: anything. ``call`` may hold ``*`` for any letters and ``?`` for one."""

    call: str | None = None
    band: str | None = None
    mode: str | None = None
    since_ms: int | None = None  # starts at or behind
    until_ms: int | None = None  # starts before


class Tally(msgspec.Struct, frozen=True, kw_only=True):
    """How many contacts there are, in all and by what."""

    contacts: int
    confirmed: int
    first_ms: int | None
    last_ms: int | None
    bands: dict[str, int]
    modes: dict[str, int]


#: field of Wanted → its condition; only those asked for stand in the query, so that an index can serve it
_CONDITIONS = {
    "call": "call GLOB :call",
    "band": "band = :band",
    "mode": "mode = :mode",
    "since_ms": "started_ms >= :since_ms",
    "until_ms": "started_ms < :until_ms",
}


def find(
    connection: sqlite3.Connection, wanted: Wanted, *, newest_first: bool = False, limit: int = -1
) -> Iterator[tuple[int, Contact]]:
    """The contacts that are wanted with their row numbers, in the order of time; at most ``limit``, if not negative."""
    where, values = _where(wanted)
    order = "DESC" if newest_first else "ASC"
    rows = connection.execute(
        f"SELECT id, body, fields, committed_ms FROM confirmed_standing {where}"  # noqa: S608 - texts of ours
        f" ORDER BY started_ms {order}, id {order} LIMIT :limit",
        values | {"limit": limit},
    )
    return contacts_of(rows)


def tally(connection: sqlite3.Connection) -> Tally:
    """Count the log."""
    bands: dict[str, int] = {}
    modes: dict[str, int] = {}
    contacts = confirmed = 0
    first: list[int] = []
    last: list[int] = []
    for band, mode, count, later, sure, first_ms, last_ms in connection.execute(
        "SELECT band, mode, count(*), count(fields), sum(fields IS NULL AND told LIKE '%!'),"
        " min(started_ms), max(started_ms) FROM confirmed_standing GROUP BY band, mode"
    ):
        contacts += count
        confirmed += later + sure
        bands[band or ""] = bands.get(band or "", 0) + count
        modes[mode] = modes.get(mode, 0) + count
        first.append(first_ms)
        last.append(last_ms)
    return Tally(
        contacts=contacts,
        confirmed=confirmed,
        first_ms=min(first, default=None),
        last_ms=max(last, default=None),
        bands=_most_first(bands),
        modes=_most_first(modes),
    )


def user_fields(connection: sqlite3.Connection, wanted: Wanted) -> Iterator[UserField]:
    """The fields of the imported records among those wanted that neither the standard nor an application defines.

    In the order of their names. They come from files whose headers defined them, and a file with them has to define
    them again.
    """
    found: set[str] = set()
    seen: set[bytes] = set()
    where, values = _where(wanted)
    for (body,) in connection.execute(f"SELECT body FROM confirmed_standing {where} AND import_id IS NOT NULL", values):  # noqa: S608
        if new := set(_NAME.findall(body)) - seen:  # most often there is none
            fields = next(read(BytesIO(body)))
            seen.update(name for name in new if name.decode("ascii").upper() in fields)  # not those within a text
            found.update(fields)
    names = sorted(name for name in found - tables.fields().keys() if not name.startswith("APP_"))
    for number, name in enumerate(names, 1):
        yield UserField(number, name)


def _where(wanted: Wanted) -> tuple[str, dict[str, str | int]]:
    """The condition of a query for what is wanted, in texts of ours alone, and its values."""
    values = {name: value for name, value in msgspec.structs.asdict(wanted).items() if value is not None}
    conditions = "".join(f" AND {_CONDITIONS[name]}" for name in values)
    if wanted.call is not None and not set("*?[") & set(wanted.call):
        conditions += " AND call = :call"  # an index serves equality only
    return f"WHERE true{conditions}", values


def _most_first(counts: dict[str, int]) -> dict[str, int]:
    return dict(sorted(counts.items(), key=lambda item: (-item[1], item[0])))
