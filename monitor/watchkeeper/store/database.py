"""How connections to the database are opened: one that writes, and short ones that read."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from urllib.parse import quote

from .errors import NoLogError, in_words
from .folder import DATABASE

#: how long a connection waits for another program's lock
BUSY_MS = 5000
#: a WAL that once grew is cut back to this at the next checkpoint
JOURNAL_LIMIT = 16 * 1024 * 1024
#: large enough to make imports quick, small enough for one contact's commit
PAGE_BYTES = 8192
#: a million contacts fit their look-ups into this many KiB of page cache
CACHE_KIB = 16 * 1024
#: pages in the WAL, 8 MB, at which a commit moves them to the database itself: more than collect between quiet moments,
#: in which that is done without making anybody wait, and no more, for on a small disk the WAL would leave no room to
#: move them
CHECKPOINT_PAGES = 1000


def connect_writer(path: Path, *, busy_ms: int = BUSY_MS) -> sqlite3.Connection:
    """The one connection that writes, in WAL mode. It begins no transaction by itself.

    It is made in one thread and used in another, never in two at once.
    """
    connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False, cached_statements=256)
    connection.execute(f"PRAGMA busy_timeout = {busy_ms:d}")
    connection.execute("PRAGMA mmap_size = 0")
    connection.execute(f"PRAGMA page_size = {PAGE_BYTES:d}")  # of a new database only
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute(f"PRAGMA journal_size_limit = {JOURNAL_LIMIT:d}")
    connection.execute(f"PRAGMA wal_autocheckpoint = {CHECKPOINT_PAGES:d}")
    connection.execute(f"PRAGMA cache_size = -{CACHE_KIB:d}")
    connection.execute("PRAGMA synchronous = NORMAL")
    return connection


def connect_reader(path: Path, *, busy_ms: int = BUSY_MS) -> sqlite3.Connection:
    """A connection that cannot write, and leaves what lies beside the database alone."""
    connection = sqlite3.connect(f"file:{quote(str(path))}?mode=ro", uri=True, isolation_level=None)
    connection.execute(f"PRAGMA busy_timeout = {busy_ms:d}")
    connection.execute("PRAGMA query_only = 1")
    return connection


@contextmanager
def reading(folder: Path) -> Iterator[sqlite3.Connection]:
    """A read-only connection to the log in ``folder``, for a short look while a watch may write.

    Keep it short: while a reader stays, the WAL cannot be cut back. Raises NoLogError where there is none.
    """
    path = folder / DATABASE
    if not path.exists():
        raise NoLogError(f"there is no log in {folder} yet")
    with in_words(path), closing(connect_reader(path)) as connection:
        yield connection
