"""The contacts of the log by the references they were made from: what activations are counted by."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from tests.monitor.store.making import STARTED_MS, contact, now

from watchkeeper.store.folder import DATABASE
from watchkeeper.store.store import Store

PARK, SUMMIT = ("POTA", "DE-0042"), ("SOTA", "DM/BW-001")
IMPORTED = (
    b"<CALL:6>JA1QRV <QSO_DATE:8>20260501 <TIME_ON:6>211500 <BAND:3>40m <MODE:4>MFSK <SUBMODE:3>FT4"
    b" <MY_SIG:4>pota <MY_SIG_INFO:7>de-0042 <MY_SOTA_REF:9>DM/BW-001 <EOR>\n"
)


def calls(store: Store, reference: tuple[str, str], *, before_id: int | None = None) -> list[str]:
    return [one.call for one in store.worked(before_id=before_id).activated(*reference)]


async def fill(store: Store) -> None:
    await store.commit(contact("1", call="W1QSB", activations=(PARK,)), b"1", ())
    await store.commit(contact("2", call="W2QSB"), b"2", ())
    path = store.folder / "log.adi"
    path.write_bytes(IMPORTED)
    store.import_adif(path, path.name, lambda _done: None)
    await store.commit(contact("3", call="W3QSB", activations=(PARK, SUMMIT)), b"3", ())


async def test_all_that_was_logged_or_imported_is_found_in_any_case(store: Store) -> None:
    await fill(store)
    assert sorted(calls(store, ("Pota", "DE-0042"))) == ["JA1QRV", "W1QSB", "W3QSB"]
    assert sorted(calls(store, SUMMIT)) == ["JA1QRV", "W3QSB"]
    assert calls(store, ("SOTA", "DE-0042")) == []
    index = store.worked()
    one = next(one for one in index.activated(*PARK) if one.call == "W1QSB")
    assert (one.key, one.band, one.mode, one.started_ms) == ("DL5QRM|shack|1", "20m", "FT8", STARTED_MS)


async def test_a_session_knows_the_log_as_it_stood_when_it_began(store: Store) -> None:
    await fill(store)
    assert calls(store, PARK, before_id=2) == ["W1QSB"]
    index = store.worked()
    assert len(index.activated(*PARK)) == 3
    await store.commit(contact("4", call="W4QSB", activations=(PARK,)), b"4", ())
    assert len(index.activated(*PARK)) == 3, "what comes later is the watch's to add"


async def test_a_correction_and_an_undo_count(store: Store) -> None:
    await fill(store)
    await store.commit(contact("1", call="W1QSC", activations=(PARK,), revision=1), b"1b", ())
    store.undo_import(1)
    assert sorted(calls(store, PARK)) == ["W1QSC", "W3QSB"]


async def test_a_log_of_an_older_release_is_brought_up_to_date(tmp_path: Path) -> None:
    store = Store.open(tmp_path, now=now)
    await fill(store)
    store.close()
    with closing(sqlite3.connect(tmp_path / DATABASE)) as db:
        db.execute("DROP INDEX contact_activated")
        db.execute("ALTER TABLE contact DROP COLUMN activated")
        db.execute("DELETE FROM _sqlite_migrations WHERE name = '0002_activated'")
        db.commit()
    store = Store.open(tmp_path, now=now)
    assert sorted(calls(store, PARK)) == ["JA1QRV", "W1QSB", "W3QSB"]
    store.close()
