"""When the database dies, the log lives."""

from __future__ import annotations

import os
from pathlib import Path
from queue import Queue

import adif_io
import pytest
from tests.monitor.store.making import contact, now

from watchkeeper.adif import write_record
from watchkeeper.adif.contact import to_record
from watchkeeper.model import Contact
from watchkeeper.store import adif_copy, contacts
from watchkeeper.store.adif_copy import copied
from watchkeeper.store.contacts import Status
from watchkeeper.store.folder import DATABASE
from watchkeeper.store.store import Store

ONE = contact("1", report_sent="-07", offset_hz=1523.5, dial_hz=14_074_000, filled=("locator",), locator="FN42")
TWO = contact("2", call="JA1QRV", band="40m", frequency_hz=7_075_000)


def log(store: Store) -> list[Contact]:
    with store.reader() as db:
        return [one for _, one in contacts.standing(db)]


def copy_of(folder: Path) -> Path:
    return folder / "adif-copy" / "contacts-2026-05-01.adi"


async def fill(folder: Path) -> None:
    store = Store.open(folder, now=now)
    await store.commit(ONE, b"1", [("file", b"x", None)])
    await store.commit(TWO, b"2", [("file", b"x", None)])
    store.close()


def harm_all(path: Path) -> None:
    path.write_bytes(b"this is no database at all" * 100)


def harm_a_page(path: Path) -> None:
    with path.open("r+b") as file:
        file.seek(4096)
        file.write(os.urandom(4096 * 6))


def harm_the_tail(path: Path) -> None:
    with path.open("r+b") as file:
        file.truncate(path.stat().st_size // 2)


async def test_the_copy_is_an_adif_file_that_an_independent_reader_takes(tmp_path: Path) -> None:
    await fill(tmp_path)
    records, head = adif_io.read_from_file(str(copy_of(tmp_path)))
    assert [(record["CALL"], record["BAND"], record["FREQ"]) for record in records] == [
        ("W1QSB", "20m", "14.075523"),
        ("JA1QRV", "40m", "7.075"),
    ]
    assert head["PROGRAMID"] == "Watchkeeper"


@pytest.mark.parametrize("harm", [harm_all, harm_a_page, harm_the_tail])
async def test_a_damaged_database_is_set_aside_and_the_log_read_back(tmp_path: Path, harm: object) -> None:
    await fill(tmp_path)
    assert callable(harm)
    harm(tmp_path / DATABASE)
    (tmp_path / f"{DATABASE}-wal").write_bytes(b"stale")
    store = Store.open(tmp_path, now=now)
    assert log(store) == [ONE, TWO]
    aside = f"{DATABASE}.damaged-20260501T212000Z"
    assert (tmp_path / aside).exists()
    assert (tmp_path / f"{aside}-wal").exists()
    assert "was damaged" in store.notices[0]
    assert aside in store.notices[0]
    assert store.notices[1].startswith("2 contacts were read back from the ADIF copies")
    # the watch goes on, and what a sender repeats is still known
    assert (await store.commit(TWO, b"2", [])).status is Status.REPEATED
    assert (await store.commit(contact("3", call="W1QSC"), b"3", [])).status is Status.STORED
    store.close()
    reopened = Store.open(tmp_path, now=now)
    assert reopened.notices == []
    assert len(log(reopened)) == 3
    reopened.close()


async def test_a_database_that_is_gone_is_read_back_too(tmp_path: Path) -> None:
    await fill(tmp_path)
    (tmp_path / DATABASE).unlink()
    store = Store.open(tmp_path, now=now)
    assert log(store) == [ONE, TWO]
    store.close()


async def test_corrections_come_back_as_corrections(tmp_path: Path) -> None:
    store = Store.open(tmp_path, now=now)
    await store.commit(ONE, b"1", [])
    corrected = contact("1", revision=1, call="W1QSC")
    await store.commit(corrected, b"2", [])
    store.close()
    harm_all(tmp_path / DATABASE)
    store = Store.open(tmp_path, now=now)
    assert log(store) == [corrected]
    store.close()


async def test_a_torn_tail_costs_no_whole_record_and_is_mended(tmp_path: Path) -> None:
    """The database knows how far the copy came, so what was torn is written again."""
    await fill(tmp_path)
    copy = copy_of(tmp_path)
    copy.write_bytes(copy.read_bytes()[:-40])
    harm_all(tmp_path / DATABASE)
    store = Store.open(tmp_path, now=now)
    assert log(store) == [ONE]
    await store.commit(TWO, b"2", [])
    store.close()
    records, _ = adif_io.read_from_file(str(copy))
    assert [record["CALL"] for record in records] == ["W1QSB", "JA1QRV"]


def until_followed(steps: Queue[str]) -> None:
    while steps.get(timeout=10) != "followed":
        pass


async def test_what_a_full_disk_kept_from_the_copy_is_added_later(tmp_path: Path) -> None:
    steps: Queue[str] = Queue()
    store = Store.open(tmp_path, now=now, steps=steps.put)
    (tmp_path / "adif-copy").write_text("a file where the folder should be")
    assert (await store.commit(ONE, b"1", [])).status is Status.STORED
    until_followed(steps)
    assert any("is behind the log" in notice for notice in store.notices)
    (tmp_path / "adif-copy").unlink()
    await store.commit(TWO, b"2", [])
    until_followed(steps)
    assert store.notices == []
    store.close()
    records, _ = adif_io.read_from_file(str(copy_of(tmp_path)))
    assert [record["CALL"] for record in records] == ["W1QSB", "JA1QRV"]


async def test_records_of_the_copy_that_somebody_spoiled_are_named(tmp_path: Path) -> None:
    await fill(tmp_path)
    copy = copy_of(tmp_path)
    copy.write_bytes(copy.read_bytes().replace(b"<QSO_DATE:8>20260501", b"<QSO_DATE:8>20269901", 1))
    (tmp_path / DATABASE).unlink()
    store = Store.open(tmp_path, now=now)
    assert log(store) == [TWO]
    assert "contacts-2026-05-01.adi, line 7: QSO_DATE" in store.notices[1]
    store.close()


async def test_behind_a_large_import_every_contact_is_copied(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(adif_copy, "_LARGE", 1)
    file = tmp_path / "old.adi"
    file.write_bytes(b"".join(write_record(to_record(contact(str(n), call=f"W{n}QSB"))) for n in range(3)))
    store = Store.open(tmp_path, now=now)
    assert store.import_adif(file, file.name, lambda _done: None).summary.new == 3
    store.close()
    for number in range(3):  # each time it is opened once behind the import, and once behind a contact
        store = Store.open(tmp_path, now=now)
        await store.commit(contact(f"live {number}", call=f"JA{number}QRV"), b"1", ())
        store.close()
    found = [one.contact.call for one in copied(tmp_path) if one.contact is not None]
    assert found == ["JA0QRV", "JA1QRV", "JA2QRV"]
