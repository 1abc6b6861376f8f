"""The tables of the core and of plugins, made and altered step by step.

Each step runs once, in order, inside one transaction with the note that it ran (sqlite-utils keeps that note).
Steps that were released are never changed; a new one is added.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from sqlite_utils import Database
from sqlite_utils.migrations import Migrations

from .activated import activated_by
from .contacts import from_body
from .errors import MigrationError
from .guard import confined

#: the index that likeness is looked up by; a large import makes it anew
CONTACT_CALL = "CREATE INDEX contact_call ON contact (call, started_ms)"
#: the index that the contacts of an activation are looked up by; a large import makes it anew too
CONTACT_ACTIVATED = "CREATE INDEX contact_activated ON contact (activated) WHERE activated IS NOT NULL"
_FIRST = """
-- Contacts are only ever added: a correction is a row that supersedes, an undo is a row in `undo`.
-- `told` is what a contact itself says it counts for (watchkeeper.store.told), `body` all of it.
CREATE TABLE contact (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    key TEXT,
    revision INTEGER NOT NULL,
    digest BLOB,
    call TEXT NOT NULL,
    started_ms INTEGER NOT NULL,
    band TEXT,
    mode TEXT NOT NULL,
    committed_ms INTEGER NOT NULL,
    supersedes INTEGER REFERENCES contact (id),
    import_id INTEGER REFERENCES import (id),
    told TEXT NOT NULL,
    body BLOB NOT NULL
);
-- an import's rows have no key: the look-up by call finds what they are like
CREATE UNIQUE INDEX contact_key ON contact (key, revision) WHERE import_id IS NULL;
CREATE INDEX contact_supersedes ON contact (supersedes) WHERE supersedes IS NOT NULL;

-- Likeness never merges rows: it says which contact was the first of a group.
CREATE TABLE same_as (contact_id INTEGER PRIMARY KEY REFERENCES contact (id), first_id INTEGER NOT NULL);
CREATE INDEX same_as_first ON same_as (first_id);

CREATE TABLE import (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    started_ms INTEGER NOT NULL,
    name TEXT NOT NULL,
    ended_ms INTEGER,
    read INTEGER NOT NULL DEFAULT 0,
    new INTEGER NOT NULL DEFAULT 0,
    equal INTEGER NOT NULL DEFAULT 0,
    mended INTEGER NOT NULL DEFAULT 0,
    refused INTEGER NOT NULL DEFAULT 0
);
-- an undo has a number of the contacts' own sequence, so that one number names one state of the log
CREATE TABLE undo (
    id INTEGER PRIMARY KEY,
    import_id INTEGER NOT NULL UNIQUE REFERENCES import (id),
    at_ms INTEGER NOT NULL
);

-- An import that confirms contacts which the log has: the QSL fields as JSON, and a number of the contacts' sequence,
-- the same for all of the import, once it is done.
CREATE TABLE confirmation (
    contact_id INTEGER NOT NULL REFERENCES contact (id),
    import_id INTEGER NOT NULL REFERENCES import (id),
    number INTEGER,
    fields BLOB NOT NULL
);
CREATE INDEX confirmation_contact ON confirmation (contact_id);
CREATE INDEX confirmation_number ON confirmation (number);

-- what stands: neither corrected nor taken back
CREATE VIEW standing AS SELECT * FROM contact
    WHERE NOT EXISTS (SELECT 1 FROM contact AS later WHERE later.supersedes = contact.id)
    AND NOT EXISTS (SELECT 1 FROM undo WHERE undo.import_id = contact.import_id);

-- the log as people read it: without those that are like an earlier one, and with what was confirmed later
CREATE VIEW confirmed_standing AS SELECT standing.*, (
        SELECT fields FROM confirmation WHERE contact_id = standing.id AND number IS NOT NULL
        AND NOT EXISTS (SELECT 1 FROM undo WHERE undo.import_id = confirmation.import_id) LIMIT 1
    ) AS fields FROM standing
    WHERE NOT EXISTS (SELECT 1 FROM same_as WHERE same_as.contact_id = standing.id);

CREATE TABLE outbox (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    contact_id INTEGER NOT NULL REFERENCES contact (id),
    destination TEXT NOT NULL,
    lane TEXT NOT NULL,
    key TEXT NOT NULL,
    payload BLOB,
    state TEXT NOT NULL CHECK (state IN ('waiting', 'delivered', 'dead', 'dropped')),
    created_ms INTEGER NOT NULL,
    tries INTEGER NOT NULL DEFAULT 0,
    due_ms INTEGER NOT NULL DEFAULT 0,
    done_ms INTEGER,
    why TEXT,
    UNIQUE (contact_id, destination)
);
-- `lane`: what has to go out in order; `key`: the same on every try
CREATE INDEX outbox_lane ON outbox (destination, lane, id) WHERE state = 'waiting';
CREATE INDEX outbox_waiting ON outbox (destination, tries, id) WHERE state = 'waiting';
CREATE INDEX outbox_dead ON outbox (destination, id) WHERE state = 'dead';

CREATE TABLE session (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    started_ms INTEGER NOT NULL,
    ended_ms INTEGER,
    baseline INTEGER NOT NULL,
    header BLOB NOT NULL
);
CREATE TABLE journal (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    session INTEGER NOT NULL REFERENCES session (id),
    first_n INTEGER NOT NULL,
    count INTEGER NOT NULL,
    body BLOB NOT NULL
);
CREATE INDEX journal_session ON journal (session, first_n);

CREATE TABLE hearing (
    id INTEGER PRIMARY KEY,
    session INTEGER NOT NULL,
    period_ms INTEGER NOT NULL,
    source TEXT NOT NULL,
    mode TEXT NOT NULL,
    band TEXT,
    dial_hz INTEGER NOT NULL,
    offset_hz REAL NOT NULL,
    snr_db REAL NOT NULL,
    call TEXT,
    locator TEXT,
    distance_km REAL,
    azimuth_deg REAL,
    text TEXT NOT NULL,
    copies INTEGER NOT NULL,
    late INTEGER NOT NULL,
    live INTEGER NOT NULL
);

-- The worked index of the log's state `through_id`; a start takes the newest and folds in the few rows behind it.
CREATE TABLE worked_snapshot (through_id INTEGER PRIMARY KEY, body BLOB NOT NULL);

CREATE TABLE kept (name TEXT PRIMARY KEY, value INTEGER NOT NULL) WITHOUT ROWID;
INSERT INTO kept VALUES ('copied_id', 0);
"""

_core = Migrations("watchkeeper")


@_core(name="0001_first")
def _first(database: Database) -> None:
    _run(database.conn, _FIRST)
    database.conn.execute(CONTACT_CALL)


@_core(name="0002_activated")
def _activated(database: Database) -> None:
    connection = database.conn
    connection.execute("ALTER TABLE contact ADD COLUMN activated TEXT")
    connection.execute(CONTACT_ACTIVATED)
    connection.create_function("made_from", 1, lambda body: activated_by(from_body(body).activations))
    connection.execute("UPDATE contact SET activated = made_from(body) WHERE made_from(body) IS NOT NULL")


def migrate_core(connection: sqlite3.Connection) -> None:
    """Bring the core's tables to what this release needs."""
    _apply(connection, _core)


def migrate_plugin(connection: sqlite3.Connection, plugin: str, scripts: Sequence[str]) -> None:
    """Run those of a plugin's ``scripts`` that have not run yet, oldest first, each once.

    A script may only touch tables named ``plugin_<name>_…``. Raises MigrationError; the core and other plugins are
    untouched then.
    """
    steps = Migrations(f"plugin:{plugin}")
    for number, script in enumerate(scripts, 1):
        steps(name=f"{number:04d}")(_confined_step(plugin, script))
    try:
        _apply(connection, steps)
    except sqlite3.Error as fault:
        raise MigrationError(plugin, str(fault)) from fault


class _Step:
    """One script of a plugin as sqlite-utils wants a migration: named, and called with the database."""

    def __init__(self, plugin: str, script: str) -> None:
        self.__name__ = "step"
        self._plugin = plugin
        self._script = script

    def __call__(self, database: Database, /) -> None:
        with confined(database.conn, self._plugin):
            _run(database.conn, self._script)


def _confined_step(plugin: str, script: str) -> _Step:
    return _Step(plugin, script)


def _apply(connection: sqlite3.Connection, steps: Migrations) -> None:
    database = Database(connection, execute_plugins=False)
    if steps.applied(database) and not steps.pending(database):
        return
    with immediate(connection):
        steps.apply(database)


@contextmanager
def immediate(connection: sqlite3.Connection) -> Iterator[None]:
    """One transaction that takes the write lock at once: what is read first cannot have changed when we write."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:  # SQLite ends some failed transactions by itself
            connection.execute("ROLLBACK")
        raise


def _run(connection: sqlite3.Connection, script: str) -> None:
    """Run the statements of ``script`` within the transaction that is open (``executescript`` would commit it)."""
    statement = ""
    for line in script.splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            connection.execute(statement)
            statement = ""
    if statement.strip():
        connection.execute(statement)
