"""The writer: what is durable when, in what order, and what happens when it cannot write."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path
from queue import Queue

import pytest
from tests.monitor.store.making import STARTED_MS, contact, now

from watchkeeper.store import contacts
from watchkeeper.store.adif_copy import AdifCopy
from watchkeeper.store.database import connect_writer
from watchkeeper.store.errors import BusyError, DiskFullError, StoreError
from watchkeeper.store.folder import DATABASE, FolderLock
from watchkeeper.store.migrations import migrate_core
from watchkeeper.store.sessions import JournalChunk
from watchkeeper.store.store import Store
from watchkeeper.store.writer import CHECKPOINT_AFTER, Writer

CHUNK = JournalChunk(session=1, first_n=0, count=1, body=b"{}\n")


def traced(writer_calls: list[str]) -> Callable[[sqlite3.Connection], None]:
    def begin(db: sqlite3.Connection) -> None:
        db.set_trace_callback(lambda statement: writer_calls.append(statement.split("(")[0].strip()))

    return begin


async def test_a_contact_is_one_full_commit_before_its_outcome_and_before_the_copy(tmp_path: Path) -> None:
    """A kill cannot show a missing sync, as the page cache outlives it: so the order of the calls is checked."""
    calls: list[str] = []
    store = Store.open(tmp_path, now=now, steps=calls.append)
    store.open_session(b"", STARTED_MS)
    await store.change(traced(calls))
    calls.clear()
    await store.commit(contact(), b"1", [("file", b"record", None)], CHUNK)
    calls.append("acknowledged")
    store.close()
    order = [
        "PRAGMA synchronous = FULL",
        "BEGIN IMMEDIATE",
        "begun",
        "INSERT INTO journal",
        "INSERT INTO contact",
        "INSERT INTO outbox",
        "written",
        "COMMIT",
        "committed",
        "acknowledged",
        "SELECT id, body, digest, committed_ms FROM contact WHERE id > 0 AND import_id IS NULL ORDER BY id",
        "followed",
    ]
    at = [calls.index(call) for call in order]
    assert at == sorted(at)
    between = calls[calls.index("BEGIN IMMEDIATE") : calls.index("committed")]
    assert between.count("COMMIT") == 1
    assert not any("synchronous" in call for call in between)


def test_what_follows_waits_for_a_quiet_moment_but_not_for_ever(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("watchkeeper.store.writer.FOLLOWS_WITHIN_S", 0.0)
    steps: Queue[str] = Queue()
    path = tmp_path / "some.db"
    writer = Writer(connect_writer(path), path, steps.put)
    writer.full(lambda db: [writer.queued(lambda db: None) for _ in range(3)], after=lambda db: None).result(10)
    assert [steps.get(timeout=10) for _ in range(5)] == ["begun", "written", "committed", "resolved", "followed"]
    writer.close()


def test_checkpoints_are_made_in_quiet_moments(tmp_path: Path) -> None:
    calls: Queue[str] = Queue()
    path = tmp_path / "some.db"
    writer = Writer(connect_writer(path), path)
    writer.full(lambda db: db.execute("CREATE TABLE t (x)")).result(10)
    writer.queued(lambda db: db.set_trace_callback(calls.put)).result(10)
    for number in range(CHECKPOINT_AFTER):
        writer.full(adding(number)).result(10)
    made = [calls.get(timeout=10)]
    while "wal_checkpoint" not in made[-1]:
        made.append(calls.get(timeout=10))
    assert made[-1] == "PRAGMA wal_checkpoint(PASSIVE)"
    assert made.count("COMMIT") >= CHECKPOINT_AFTER - 2
    writer.close()


async def test_what_is_queued_is_not_synced_one_by_one(tmp_path: Path) -> None:
    calls: list[str] = []
    store = Store.open(tmp_path, now=now)
    await store.change(traced(calls))
    store.journal(1, 0, 1, b"{}\n")
    await store.change(lambda db: None)
    await store.commit(contact("1"), b"1", [])
    store.journal(1, 1, 1, b"{}\n")
    await store.change(lambda db: None)
    store.close()
    levels = [call for call in calls if call.startswith("PRAGMA synchronous")]
    assert levels == ["PRAGMA synchronous = FULL", "PRAGMA synchronous = NORMAL"]
    journal = calls.index("INSERT INTO journal")
    assert "PRAGMA synchronous = FULL" not in calls[:journal]


def test_the_database_is_in_the_mode_that_the_durability_rests_on(tmp_path: Path) -> None:
    """SQLite, "Write-Ahead Logging" and "PRAGMA synchronous": FULL syncs the WAL at each commit, NORMAL does not."""
    connection = connect_writer(tmp_path / "some.db")
    asked = {name: connection.execute(f"PRAGMA {name}").fetchone() for name in ("journal_mode", "mmap_size")}
    assert asked["journal_mode"] == ("wal",)
    assert asked["mmap_size"] in (None, (0,))
    connection.close()


async def test_a_full_disk_is_told_and_it_goes_on_when_there_is_room(tmp_path: Path) -> None:
    connection = connect_writer(tmp_path / DATABASE)
    migrate_core(connection)
    writer = Writer(connection, tmp_path / DATABASE)
    store = Store(tmp_path, FolderLock.take(tmp_path), writer, AdifCopy(tmp_path), [], now)
    session = store.open_session(b"", STARTED_MS)
    assert (await store.commit(contact("1"), b"1", [])).status == "stored"
    pages = connection_pages(writer)
    writer.alone(lambda db: db.execute(f"PRAGMA max_page_count = {pages + 1}").fetchone()).result()

    big = [("file", b"x" * 20_000, None)]
    with pytest.raises(DiskFullError, match="no room left"):
        await store.commit(contact("2", call="JA1QRV"), b"2", big)
    store.journal(session, 0, 1, b'{"n":0,"pad":"' + b"x" * 20_000 + b'"}\n')
    with pytest.raises(DiskFullError):
        await store.commit(contact("2", call="JA1QRV"), b"2", big)
    assert any("no room left" in notice for notice in store.notices)
    with store.reader() as db:
        assert [one.call for _, one in contacts.standing(db)] == ["W1QSB"]

    writer.alone(lambda db: db.execute("PRAGMA max_page_count = 1000000").fetchone()).result()
    assert (await store.commit(contact("2", call="JA1QRV"), b"2", big)).status == "stored"
    await store.change(lambda db: None)
    assert store.notices == []
    assert len(list(store.read_journal(session))) == 1
    store.close()
    reopened = Store.open(tmp_path, now=now)
    with reopened.reader() as db:
        assert [one.call for _, one in contacts.standing(db)] == ["W1QSB", "JA1QRV"]
    reopened.close()


def connection_pages(writer: Writer) -> int:
    found: int = writer.alone(lambda db: db.execute("PRAGMA page_count").fetchone()[0]).result()
    return found


def test_queued_work_that_finds_no_room_is_kept_within_bounds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("watchkeeper.store.writer.HELD_LIMIT", 3)
    path = tmp_path / "some.db"
    writer = Writer(connect_writer(path), path)
    writer.full(lambda db: db.execute("CREATE TABLE t (x)")).result()
    writer.alone(
        lambda db: db.execute(f"PRAGMA max_page_count = {db.execute('PRAGMA page_count').fetchone()[0]}")
    ).result()
    jobs = [writer.queued(adding(number)) for number in range(5)]
    with pytest.raises(DiskFullError):
        jobs[0].result(5)
    with pytest.raises(DiskFullError):
        jobs[1].result(5)
    assert writer.dropped == 2
    writer.alone(lambda db: db.execute("PRAGMA max_page_count = 1000000").fetchone()).result()
    writer.queued(lambda db: None).result(5)
    found = writer.full(lambda db: db.execute("SELECT substr(x, 1, 1) FROM t").fetchall()).result()
    assert found == [("2",), ("3",), ("4",)]
    writer.close()


def adding(number: int) -> Callable[[sqlite3.Connection], None]:
    def work(db: sqlite3.Connection) -> None:
        db.execute("INSERT INTO t VALUES (?)", (str(number) + "x" * 20_000,))

    return work


async def test_a_locked_database_is_told(tmp_path: Path) -> None:
    path = tmp_path / "some.db"
    writer = Writer(connect_writer(path, busy_ms=10), path)
    writer.full(lambda db: db.execute("CREATE TABLE t (x)")).result()
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(BusyError, match="another program keeps the log"):
        writer.full(lambda db: db.execute("INSERT INTO t VALUES (1)")).result()
    held = writer.queued(lambda db: db.execute("INSERT INTO t VALUES (2)"))
    other.execute("COMMIT")
    writer.full(lambda db: db.execute("INSERT INTO t VALUES (3)")).result()
    held.result(timeout=5)
    assert other.execute("SELECT x FROM t ORDER BY x").fetchall() == [(2,), (3,)]
    writer.close()
    other.close()


def test_one_bad_piece_takes_only_itself_back(tmp_path: Path) -> None:
    path = tmp_path / "some.db"
    writer = Writer(connect_writer(path), path)
    writer.full(lambda db: db.execute("CREATE TABLE t (x UNIQUE)")).result()

    def twice(db: sqlite3.Connection) -> None:
        db.execute("INSERT INTO t VALUES (2)")
        db.execute("INSERT INTO t VALUES (1)")

    first = writer.queued(lambda db: db.execute("INSERT INTO t VALUES (1)"))
    bad = writer.queued(twice)
    last = writer.queued(lambda db: db.execute("INSERT INTO t VALUES (3)"))
    first.result(5)
    last.result(5)
    with pytest.raises(sqlite3.IntegrityError):
        bad.result(5)
    assert writer.full(lambda db: db.execute("SELECT x FROM t ORDER BY x").fetchall()).result() == [(1,), (3,)]
    writer.close()


def test_a_closed_log_takes_nothing_more(tmp_path: Path) -> None:
    store = Store.open(tmp_path, now=now)
    store.close()
    with pytest.raises(StoreError, match="closed"):
        store.journal(1, 0, 1, b"{}\n")
