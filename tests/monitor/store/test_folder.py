"""The data folder: where it is, who holds it, and clear words when it cannot be used."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import platformdirs
import pytest
from tests.monitor.store.making import now

from watchkeeper.store.database import reading
from watchkeeper.store.errors import FolderError, NoLogError, StoreError, StoreHeldError, in_words
from watchkeeper.store.folder import data_folder
from watchkeeper.store.store import Store

HOLDER = """
import sys
from pathlib import Path
from watchkeeper.store.folder import FolderLock
FolderLock.take(Path(sys.argv[1]))
print("held", flush=True)
sys.stdin.read()
"""


def test_the_option_outweighs_the_environment_and_that_the_platform(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("WATCHKEEPER_DATA", str(tmp_path / "named"))
    assert data_folder(tmp_path / "asked") == tmp_path / "asked"
    assert data_folder() == tmp_path / "named"
    monkeypatch.delenv("WATCHKEEPER_DATA")
    assert data_folder() == Path(platformdirs.user_data_dir("watchkeeper", appauthor=False))


def test_a_second_watch_is_told_who_holds_the_folder_and_may_have_it_after_a_kill(tmp_path: Path) -> None:
    holder = subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(tmp_path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert holder.stdin is not None
    assert holder.stdout is not None
    with holder:
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(StoreHeldError, match=f"process {holder.pid}") as caught:
            Store.open(tmp_path, now=now)
        holder.kill()
    assert caught.value.pid == holder.pid
    Store.open(tmp_path, now=now).close()


def test_within_one_process_too(store: Store) -> None:
    with pytest.raises(StoreHeldError, match=f"process {os.getpid()}"):
        Store.open(store.folder, now=now)


def test_a_folder_that_cannot_be_made_is_one_clear_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("no folder")
    with pytest.raises(FolderError, match="cannot be written: Not a directory"):
        Store.open(tmp_path / "file" / "data", now=now)


def test_a_read_only_folder_is_one_clear_error() -> None:
    """The kernel's own folder takes no file from anybody, root included."""
    with pytest.raises(FolderError, match="the data folder /proc/sys cannot be written"):
        Store.open(Path("/proc/sys"), now=now)


def test_there_is_nothing_to_read_where_there_is_no_log(tmp_path: Path) -> None:
    with pytest.raises(NoLogError, match="there is no log"), reading(tmp_path):
        pass


def test_readers_cannot_write(store: Store) -> None:
    with pytest.raises(FolderError, match="readonly"), store.reader() as db:
        db.execute("DELETE FROM contact")


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (sqlite3.SQLITE_IOERR_SHMSIZE, "no room left for the log"),  # a full tmpfs, found by trying
        (sqlite3.SQLITE_IOERR_READ, "the disk does not read or write the log"),
    ],
)
def test_a_disk_that_fails_is_told_in_words(code: int, words: str) -> None:
    fault = sqlite3.OperationalError("disk I/O error")
    fault.sqlite_errorcode = code
    with pytest.raises(StoreError, match=words), in_words(Path("watchkeeper.db")):
        raise fault
