"""Keeps a plugin's SQL within its own tables, by SQLite's authorizer."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

_READS = frozenset({sqlite3.SQLITE_READ, sqlite3.SQLITE_SELECT, sqlite3.SQLITE_FUNCTION, sqlite3.SQLITE_RECURSIVE})
_TABLE_FIRST = frozenset(
    {
        sqlite3.SQLITE_INSERT,
        sqlite3.SQLITE_UPDATE,
        sqlite3.SQLITE_DELETE,
        sqlite3.SQLITE_CREATE_TABLE,
        sqlite3.SQLITE_DROP_TABLE,
        sqlite3.SQLITE_CREATE_VIEW,
        sqlite3.SQLITE_DROP_VIEW,
    }
)
_TABLE_SECOND = frozenset(
    {
        sqlite3.SQLITE_ALTER_TABLE,
        sqlite3.SQLITE_CREATE_INDEX,
        sqlite3.SQLITE_DROP_INDEX,
        sqlite3.SQLITE_CREATE_TRIGGER,
        sqlite3.SQLITE_DROP_TRIGGER,
    }
)
_HARMLESS = frozenset({sqlite3.SQLITE_REINDEX, sqlite3.SQLITE_ANALYZE, sqlite3.SQLITE_SAVEPOINT})


@contextmanager
def confined(connection: sqlite3.Connection, plugin: str) -> Iterator[None]:
    """While it lasts, ``connection`` may read everything and write only tables named ``plugin_<plugin>_…``."""
    prefix = f"plugin_{plugin}_"

    def allow(action: int, first: str | None, second: str | None, _schema: str | None, _inner: str | None) -> int:
        if action in _READS or action in _HARMLESS:
            return sqlite3.SQLITE_OK
        table = first if action in _TABLE_FIRST else second if action in _TABLE_SECOND else None
        # SQLite itself keeps its catalogue while a table of ours is made
        if table is not None and (table.startswith((prefix, "sqlite_"))):
            return sqlite3.SQLITE_OK
        return sqlite3.SQLITE_DENY

    connection.set_authorizer(allow)
    try:
        yield
    finally:
        connection.set_authorizer(None)
