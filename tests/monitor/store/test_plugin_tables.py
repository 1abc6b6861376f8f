"""Plugins' own tables: their migrations, their rows, and what is not theirs."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.monitor.store.making import contact, now

from watchkeeper.store.errors import MigrationError
from watchkeeper.store.store import Store

FIRST = "CREATE TABLE plugin_reach_seen (call TEXT);\nCREATE INDEX plugin_reach_by_call ON plugin_reach_seen (call);"
SECOND = "ALTER TABLE plugin_reach_seen ADD COLUMN km REAL;\nUPDATE plugin_reach_seen SET km = 0;"


def test_each_script_runs_once_in_order(tmp_path: Path) -> None:
    store = Store.open(tmp_path, now=now)
    store.plugin_migrations("reach", [FIRST])
    store.close()
    store = Store.open(tmp_path, now=now)
    store.plugin_migrations("reach", [FIRST, SECOND])
    store.plugin_migrations("reach", [FIRST, SECOND])
    with store.reader() as db:
        assert db.execute("SELECT call, km FROM plugin_reach_seen").fetchall() == []
    store.close()


def test_a_failed_migration_blocks_its_plugin_only_and_leaves_nothing_behind(store: Store) -> None:
    with pytest.raises(MigrationError, match=r"plugin reach could not be made: .*syntax error") as caught:
        store.plugin_migrations("reach", ["CREATE TABLE plugin_reach_half (x);\nCREATE TABEL plugin_reach_seen (x);"])
    assert caught.value.plugin == "reach"
    store.plugin_migrations("openings", ["CREATE TABLE plugin_openings_rates (x)"])
    with store.reader() as db:
        names = [name for (name,) in db.execute("SELECT name FROM sqlite_master WHERE name LIKE 'plugin%'")]
    assert names == ["plugin_openings_rates"]


@pytest.mark.parametrize(
    "script",
    [
        "CREATE TABLE contact_notes (x)",
        "CREATE TABLE plugin_openings_mine (x)",
        "DROP TABLE contact",
        "DELETE FROM contact",
        "CREATE TRIGGER plugin_reach_t AFTER INSERT ON contact BEGIN SELECT 1; END",
        "ATTACH 'other.db' AS other",
        "PRAGMA writable_schema = 1",
        "COMMIT",
    ],
)
def test_a_plugin_may_touch_only_its_own_tables(store: Store, script: str) -> None:
    with pytest.raises(MigrationError, match="not authorized"):
        store.plugin_migrations("reach", [script])


async def test_rows_are_written_all_or_none_and_failures_counted(store: Store) -> None:
    store.plugin_migrations("reach", [FIRST])
    add = "INSERT INTO plugin_reach_seen (call) VALUES (:call)"
    store.submit("reach", [(add, {"call": "W1QSB"}), (add, {"call": "JA1QRV"})])
    store.submit("reach", [(add, {"call": "W1QSC"}), ("DELETE FROM contact", {})])
    store.submit("openings", [(add, {"call": "W1QSD"})])
    await store.commit(contact(), b"1", [])
    with store.reader() as db:
        assert db.execute("SELECT call FROM plugin_reach_seen").fetchall() == [("W1QSB",), ("JA1QRV",)]
    assert store.plugin_failures == {"reach": 1, "openings": 1}
