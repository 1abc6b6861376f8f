"""Sessions, their journals, and hearings."""

from __future__ import annotations

from pathlib import Path

from tests.monitor.store.making import STARTED_MS, contact, now

from watchkeeper.store.sessions import HEARING_COLUMNS, JournalChunk
from watchkeeper.store.store import Store


def lines(first: int, count: int) -> bytes:
    return b"".join(b'{"n":%d}\n' % n for n in range(first, first + count))


def test_a_session_is_found_again(tmp_path: Path) -> None:
    store = Store.open(tmp_path, now=now)
    assert store.last_session() is None
    store.open_session(b"older", STARTED_MS - 1)
    session = store.open_session(b"header", STARTED_MS)
    store.close()
    store = Store.open(tmp_path, now=now)
    found = store.last_session()
    assert found is not None
    assert (found.id, found.header, found.started_ms, found.closed, found.baseline) == (
        session,
        b"header",
        STARTED_MS,
        False,
        0,
    )
    store.close_session(session, STARTED_MS + 1)
    closed = store.last_session()
    assert closed is not None
    assert closed.closed
    store.close()


async def test_the_baseline_numbers_the_log_as_it_was(store: Store) -> None:
    await store.commit(contact("1"), b"1", [])
    store.open_session(b"", STARTED_MS)
    await store.commit(contact("2"), b"2", [])
    found = store.last_session()
    assert found is not None
    assert (found.baseline, store.newest_contact()) == (1, 2)


async def test_the_journal_comes_back_in_order_with_what_shared_a_commit(store: Store) -> None:
    session = store.open_session(b"", STARTED_MS)
    store.journal(session, 0, 3, lines(0, 3))
    store.journal(session, 3, 1, lines(3, 1))
    await store.commit(contact(), b"1", [], JournalChunk(session=session, first_n=4, count=2, body=lines(4, 2)))
    store.journal(session, 6, 1, lines(6, 1))
    await store.change(lambda db: None)  # what was queued before is written
    assert list(store.read_journal(session)) == lines(0, 7).splitlines()
    assert list(store.read_journal(session + 1)) == []


async def test_an_entry_that_was_written_twice_is_read_once(store: Store) -> None:
    session = store.open_session(b"", STARTED_MS)
    store.journal(session, 0, 3, lines(0, 3))
    store.journal(session, 2, 3, lines(2, 3))
    await store.change(lambda db: None)
    assert list(store.read_journal(session)) == lines(0, 5).splitlines()


async def test_hearings_are_kept_in_batches(store: Store) -> None:
    row = (
        1,
        STARTED_MS,
        "shack",
        "FT8",
        "20m",
        14_074_000,
        1523.0,
        -12.0,
        "W1QSB",
        None,
        None,
        None,
        "CQ W1QSB",
        1,
        0,
        1,
    )
    assert len(row) == len(HEARING_COLUMNS)
    store.hearings([row] * 100)
    await store.change(lambda db: None)
    with store.reader() as db:
        assert db.execute("SELECT count(*), min(call), max(text) FROM hearing").fetchone() == (100, "W1QSB", "CQ W1QSB")
