"""The whole record in one file, while the watch goes on."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from tests.monitor.store.making import contact

from watchkeeper.store.backup import backup
from watchkeeper.store.errors import FolderError, NoLogError
from watchkeeper.store.store import Store


def calls_in(path: Path) -> list[str]:
    with closing(sqlite3.connect(f"file:{path}?immutable=1", uri=True)) as db:
        return [call for (call,) in db.execute("SELECT call FROM contact ORDER BY id")]


async def test_the_copy_stands_alone_and_the_watch_goes_on(store: Store, tmp_path: Path) -> None:
    await store.commit(contact("1"), b"1", [])
    to = tmp_path / "copies" / "log.db"
    to.parent.mkdir()
    size = store.backup(to)
    assert size == to.stat().st_size
    assert calls_in(to) == ["W1QSB"]
    assert [path.name for path in to.parent.iterdir()] == ["log.db"]
    await store.commit(contact("2", call="JA1QRV"), b"2", [])
    store.backup(to)
    assert calls_in(to) == ["W1QSB", "JA1QRV"]


def test_it_opens_as_a_log(store: Store, tmp_path: Path) -> None:
    folder = tmp_path / "elsewhere"
    folder.mkdir()
    store.open_session(b"header", 1)
    store.backup(folder / "watchkeeper.db")
    other = Store.open(folder)
    last = other.last_session()
    other.close()
    assert last is not None
    assert last.header == b"header"


def test_never_beside_what_would_be_read_along_with_it(store: Store, tmp_path: Path) -> None:
    to = tmp_path / "log.db"
    (tmp_path / "log.db-wal").write_bytes(b"stale")
    with pytest.raises(FolderError, match="-wal beside"):
        store.backup(to)
    assert not to.exists()


def test_what_cannot_be_written_leaves_the_old_copy(store: Store, tmp_path: Path) -> None:
    with pytest.raises(FolderError):
        store.backup(tmp_path / "no such folder" / "log.db")
    (tmp_path / "log.db").mkdir()
    with pytest.raises(FolderError, match="cannot be written"):
        store.backup(tmp_path / "log.db")
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".log.db")] == []


def test_there_is_nothing_to_copy_without_a_log(tmp_path: Path) -> None:
    with pytest.raises(NoLogError):
        backup(tmp_path / "none", tmp_path / "log.db")
