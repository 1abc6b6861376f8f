"""Imports: merged without doubling, told in numbers, taken back as a whole."""

from __future__ import annotations

import asyncio
import bisect
import multiprocessing
import os
import random
import signal
import sqlite3
import threading
from collections.abc import Awaitable
from contextlib import closing
from functools import partial
from pathlib import Path

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.monitor.store.making import STARTED_MS, contact, now

from watchkeeper.adif import write_record
from watchkeeper.adif.contact import to_record
from watchkeeper.model import Contact
from watchkeeper.store import import_parts, imports
from watchkeeper.store.contacts import Outcome, standing
from watchkeeper.store.database import connect_reader
from watchkeeper.store.errors import BrokenOffError, FolderError
from watchkeeper.store.folder import ADIF_COPY, DATABASE
from watchkeeper.store.imports import Imported
from watchkeeper.store.merging import Summary
from watchkeeper.store.search import Wanted, find, tally
from watchkeeper.store.store import Store
from watchkeeper.store.worked import Dimension

HEADER = b"a log\n<ADIF_VER:5>3.1.7 <EOH>\n"
PLAIN = b"<CALL:5>W1QSB <QSO_DATE:8>20260501 <TIME_ON:6>211500 <BAND:3>20m <MODE:3>FT8 <GRIDSQUARE:4>FN42 <EOR>\n"
LATER = PLAIN.replace(b"211500", b"211930")
HOUR_MS = 3_600_000


def take(store: Store, data: bytes, name: str = "log.adi") -> Imported:
    path = store.folder / name
    path.write_bytes(data)
    seen: list[float] = []
    done = store.import_adif(path, name, seen.append)
    assert seen == sorted(seen)
    assert seen[-1] == 1.0
    return done


def log(store: Store) -> list[Contact]:
    with store.reader() as db:
        return [one for _, one in standing(db)]


def test_new_contacts_are_added_and_counted_for(store: Store) -> None:
    done = take(store, HEADER + PLAIN + PLAIN.replace(b"W1QSB", b"W1QSC"))
    assert done == Imported(id=1, summary=Summary(read=2, new=2), refused=[])
    assert [(one.call, one.band, one.mode, one.locator, one.started_ms) for one in log(store)] == [
        ("W1QSB", "20m", "FT8", "FN42", STARTED_MS),
        ("W1QSC", "20m", "FT8", "FN42", STARTED_MS),
    ]
    index = store.worked()
    assert index.count == 2
    assert index.is_worked(Dimension.LOCATOR, "FN42", "20m", "FT8")
    assert index.is_worked(Dimension.ENTITY, "291")


def test_the_same_file_again_is_all_equal(store: Store) -> None:
    take(store, HEADER + PLAIN)
    assert take(store, HEADER + PLAIN).summary == Summary(read=1, equal=1)
    assert len(log(store)) == 1


@pytest.mark.parametrize(
    ("other", "equal"),
    [
        (LATER, True),  # four and a half minutes later
        (PLAIN.replace(b"211500", b"212001"), False),
        (PLAIN.replace(b"211500", b"211000"), True),  # before: out of order
        (PLAIN.replace(b"20m", b"40m"), False),
        (PLAIN.replace(b"FT8", b"JT9"), False),
        (PLAIN.replace(b"W1QSB", b"W1QSC"), False),
    ],
)
def test_likeness_is_call_band_mode_and_some_minutes(store: Store, other: bytes, equal: bool) -> None:
    summary = take(store, HEADER + PLAIN + other).summary
    assert (summary.new, summary.equal) == ((1, 1) if equal else (2, 0))
    summary = take(store, HEADER + other, "again.adi").summary
    assert (summary.new, summary.equal) == (0, 1)


async def test_what_was_logged_live_is_equal_and_keeps_its_row(store: Store) -> None:
    await store.commit(contact(), b"1", [])
    assert take(store, HEADER + LATER).summary == Summary(read=1, equal=1)
    assert log(store) == [contact()]


async def test_a_contact_that_was_imported_is_known_when_a_decoder_tells_it(store: Store) -> None:
    take(store, HEADER + PLAIN)
    outcome = await store.commit(contact(), b"1", [("file", b"x", None)])
    assert outcome.same_as == 1
    assert len(log(store)) == 1


def test_misuse_is_mended_and_counted(store: Store) -> None:
    """FT4 is a submode of MFSK (ADIF 3.1.7, Submode enumeration); the band follows from the frequency."""
    ft4 = PLAIN.replace(b"<MODE:3>FT8", b"<MODE:3>FT4")
    by_frequency = PLAIN.replace(b"<BAND:3>20m", b"<FREQ:6>14.075").replace(b"W1QSB", b"W1QSC")
    wrong_length = PLAIN.replace(b"<GRIDSQUARE:4>", b"<GRIDSQUARE:3>").replace(b"W1QSB", b"W1QSD")
    done = take(store, HEADER + ft4 + by_frequency + wrong_length + PLAIN.replace(b"W1QSB", b"W1QSE"))
    assert done.summary == Summary(read=4, new=4, mended=3)
    assert [(one.call, one.band, one.mode) for one in log(store)] == [
        ("W1QSB", "20m", "FT4"),
        ("W1QSC", "20m", "FT8"),
        ("W1QSD", "20m", "FT8"),
        ("W1QSE", "20m", "FT8"),
    ]


def test_what_makes_no_contact_is_refused_with_its_place(store: Store) -> None:
    done = take(store, HEADER + PLAIN + PLAIN.replace(b"20260501", b"20260231") + b"<BAND:3>20m <EOR>\n")
    assert done.summary == Summary(read=3, new=1, refused=2)
    assert [(one.record, one.line) for one in done.refused] == [(2, 4), (3, 5)]
    assert "20260231" in done.refused[0].why
    assert "CALL" in done.refused[1].why


def test_a_confirmation_reaches_the_contact_that_the_log_has(store: Store) -> None:
    take(store, HEADER + PLAIN)
    assert not store.worked().is_confirmed(Dimension.CALL, "W1QSB")
    confirmed = LATER.replace(b"<EOR>", b"<LOTW_QSL_RCVD:1>Y <LOTW_QSLRDATE:8>20260601 <EOR>")
    done = take(store, HEADER + confirmed)
    assert done.summary == Summary(read=1, equal=1, mended=1)
    assert take(store, HEADER + confirmed).summary == Summary(read=1, equal=1)
    (one,) = log(store)
    assert one.confirmed
    assert one.started_ms == STARTED_MS
    assert one.extra["LOTW_QSLRDATE"] == "20260601"
    assert store.worked().is_confirmed(Dimension.CALL, "W1QSB", "20m", "FT8")
    store.undo_import(done.id)
    assert not log(store)[0].confirmed
    assert not store.worked().is_confirmed(Dimension.CALL, "W1QSB")


async def test_undo_takes_one_import_back_and_nothing_else(store: Store) -> None:
    await store.commit(contact("1", call="JA1QRV"), b"1", [])
    first = take(store, HEADER + PLAIN)
    take(store, HEADER + PLAIN.replace(b"W1QSB", b"W1QSC"), "second.adi")
    session_before = store.newest_contact()
    assert store.undo_import(first.id) == 1
    assert [one.call for one in log(store)] == ["JA1QRV", "W1QSC"]
    assert not store.worked().is_worked(Dimension.CALL, "W1QSB")
    assert store.worked(before_id=session_before + 1).is_worked(Dimension.CALL, "W1QSB")  # as it was then
    with pytest.raises(KeyError):
        store.undo_import(first.id)
    assert take(store, HEADER + PLAIN).summary.new == 1


def test_a_file_that_is_not_there_leaves_no_trace(store: Store) -> None:
    with pytest.raises(FileNotFoundError):
        store.import_adif(store.folder / "none.adi", "none.adi", lambda _done: None)
    with store.reader() as db:
        assert list(imports.listed(db)) == []


def test_where_no_copy_can_be_kept_nothing_is_imported_and_nothing_lies_about(store: Store) -> None:
    (store.folder / ADIF_COPY).write_bytes(b"in the way")
    with pytest.raises(FolderError, match=f"no copy of it can be kept in .*{ADIF_COPY}: File exists"):
        take(store, HEADER + PLAIN)
    assert log(store) == []
    (store.folder / ADIF_COPY).unlink()
    assert take(store, HEADER + PLAIN).summary.new == 1
    assert [path.name for path in (store.folder / ADIF_COPY).iterdir()] == ["import-1.adi"]


def test_what_is_no_adif_at_all_adds_nothing(store: Store) -> None:
    assert take(store, b"").summary == Summary()
    assert take(store, bytes(range(256)) * 40).summary.new == 0


def test_an_adx_file_is_read_as_well(store: Store) -> None:
    adx = """<?xml version="1.0" encoding="UTF-8"?><ADX><HEADER></HEADER><RECORDS><RECORD><CALL>W1QSB</CALL>
    <QSO_DATE>20260501</QSO_DATE><TIME_ON>2115</TIME_ON><BAND>20m</BAND><MODE>FT8</MODE></RECORD></RECORDS></ADX>"""
    assert take(store, adx.encode(), "log.adx").summary == Summary(read=1, new=1)
    assert [one.call for one in log(store)] == ["W1QSB"]


@pytest.mark.parametrize("shared", [True, False])
def test_a_shared_log_can_be_read_all_the_while(store: Store, monkeypatch: pytest.MonkeyPatch, shared: bool) -> None:
    monkeypatch.setattr(imports, "_CACHE_KIB", 16)  # so that pages are written long before the commit
    minutes = range(0, 1440, 6)
    path = store.folder / "log.adi"
    path.write_bytes(b"".join(PLAIN.replace(b"211500", b"%02d%02d00" % divmod(minute, 60)) for minute in minutes))
    found: set[int | str] = set()

    def read(_done: float) -> None:
        with closing(connect_reader(store.path, busy_ms=0)) as db:
            try:
                found.add(db.execute("SELECT count(*) FROM contact").fetchone()[0])
            except sqlite3.OperationalError as fault:
                found.add(fault.sqlite_errorname)

    store.import_adif(path, path.name, read, shared=shared)
    assert found == {0 if shared else "SQLITE_BUSY"}
    assert len(log(store)) == len(minutes)


async def test_an_import_that_is_broken_off_leaves_no_trace_and_keeps_no_contact_waiting(store: Store) -> None:
    path = store.folder / "log.adi"
    path.write_bytes(PLAIN)
    waiting: list[Awaitable[Outcome]] = []

    async def comes() -> None:
        waiting.append(store.commit(contact(call="JA1QRV"), b"digest", []))

    def end(_done: float) -> None:
        asyncio.run_coroutine_threadsafe(comes(), loop).result()
        store.break_off_imports()

    loop = asyncio.get_running_loop()
    with pytest.raises(BrokenOffError, match="nothing of it is kept"):
        await asyncio.to_thread(store.import_adif, path, path.name, end, shared=True)
    assert (await waiting[0]).status == "stored"
    assert [one.call for one in log(store)] == ["JA1QRV"]
    assert list((store.folder / ADIF_COPY).glob("import-*")) == []
    with pytest.raises(BrokenOffError):
        store.import_adif(path, path.name, lambda _done: None)


def test_an_interrupt_breaks_an_import_off(store: Store) -> None:
    path = store.folder / "log.adi"
    path.write_bytes(PLAIN)
    told = threading.Event()

    def interrupt(_done: float) -> None:
        os.kill(os.getpid(), signal.SIGINT)
        told.wait(20)

    with pytest.raises(KeyboardInterrupt):
        store.import_adif(path, path.name, interrupt)
    told.set()
    store.change_now(lambda _db: None)  # behind the import
    assert log(store) == []


@pytest.mark.long
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_of_the_processes_that_read_only_the_end_breaks_an_import_off(
    store: Store, monkeypatch: pytest.MonkeyPatch, number: signal.Signals
) -> None:
    monkeypatch.setattr(os, "sched_getaffinity", lambda _pid: {0})
    path = store.folder / "log.adi"
    path.write_bytes(PLAIN.replace(b"<EOR>", b"<COMMENT:60000>" + b"x" * 60_000 + b"<EOR>") * 400)  # six parts

    def signal_it(_done: float) -> None:
        for child in multiprocessing.active_children():
            assert child.pid is not None
            os.kill(child.pid, number)

    if number == signal.SIGINT:
        assert store.import_adif(path, path.name, signal_it).summary.read == 400
        return
    with pytest.raises(BrokenOffError, match="nothing of the import is kept"):
        store.import_adif(path, path.name, signal_it)
    assert log(store) == []


def test_imports_come_back_when_the_database_dies(tmp_path: Path) -> None:
    store = Store.open(tmp_path, now=now)
    first = take(store, HEADER + PLAIN)
    take(store, HEADER + PLAIN.replace(b"W1QSB", b"W1QSC"), "second.adi")
    store.undo_import(first.id)
    store.close()
    (tmp_path / DATABASE).write_bytes(b"no database" * 1000)
    store = Store.open(tmp_path, now=now)
    assert [one.call for one in log(store)] == ["W1QSC"]
    assert any("1 contacts were read back" in notice for notice in store.notices)
    store.close()


records = st.builds(
    contact,
    call=st.sampled_from(["W1QSB", "JA1QRV", "VK3QSD/P"]),
    band=st.sampled_from(["20m", "40m"]),
    mode=st.sampled_from(["FT8", "FT4"]),
    started_ms=st.integers(0, 40).map(lambda n: STARTED_MS + n * 60_000),
    comment=st.none() | st.just("with <EOR> in it"),
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(records, max_size=30), st.integers(200, 900))
def test_parts_meet_where_records_do_wherever_the_file_is_cut(
    tmp_path: Path, made: list[Contact], part_bytes: int
) -> None:
    """One comment holds an end mark: a cut there is no cut between records, and must be found out."""
    path = tmp_path / "log.adi"
    path.write_bytes(HEADER + b"".join(write_record(to_record(one)) for one in made))
    cuts = import_parts.cuts(path, part_bytes)
    read = partial(import_parts.read_part, path)
    parts = list(import_parts.joined(cuts, map(read, cuts, cuts[1:]), read))
    assert [call for part in parts for call in part.calls] == [one.call for one in made]
    assert [at for part in parts for at in part.started_ms] == [one.started_ms for one in made]
    assert sum(part.read for part in parts) == len(made)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=30)
@given(st.lists(st.lists(records, max_size=12), min_size=1, max_size=3))
def test_no_two_contacts_of_the_log_are_alike_and_none_is_missing(
    tmp_path_factory: pytest.TempPathFactory, files: list[list[Contact]]
) -> None:
    store = Store.open(tmp_path_factory.mktemp("data"), now=now)
    model: list[Contact] = []
    for made in files:
        summary = take(store, HEADER + b"".join(write_record(to_record(one)) for one in made)).summary
        new = 0
        for one in made:
            if not any(alike(one, other) for other in model):
                model.append(one)
                new += 1
        assert (summary.read, summary.new, summary.equal) == (len(made), new, len(made) - new)
    with store.reader() as db:
        found = [(one.call, one.band, one.mode, one.started_ms) for _, one in find(db, Wanted())]
        counted = tally(db)
    assert sorted(found) == sorted((one.call, one.band, one.mode, one.started_ms) for one in model)
    assert counted.contacts == len(model) == store.worked().count
    store.close()


def alike(one: Contact, other: Contact) -> bool:
    same = (one.call, one.band, one.mode) == (other.call, other.band, other.mode)
    return same and abs(one.started_ms - other.started_ms) <= 5 * 60_000


def field(name: str, data: str, off: int, behind: str) -> str:
    return f"<{name}:{max(0, len(data.encode()) + off)}>{data}{behind}"


good = st.fixed_dictionaries(
    {
        "CALL": st.sampled_from(["W1QSB", "ja1qrv", "VK3QSD/P"]),
        "QSO_DATE": st.sampled_from(["20260501", "20260502"]),
        "TIME_ON": st.sampled_from(["2115", "211500", "030000"]),
        "BAND": st.sampled_from(["20m", "40M"]),
        "MODE": st.sampled_from(["FT8", "FT4", "mfsk"]),
    }
)
strange = st.dictionaries(
    st.sampled_from(["CALL", "MODE", "SUBMODE", "BAND", "FREQ", "TIME_OFF", "ADX", "EOH", "STATE", "MY_SIG", "X Y"]),
    st.text(st.characters(max_codepoint=0x2FF), max_size=6) | st.sampled_from(["<EOR>", "<EOH>", "<?xml?>", "a\x1bb"]),
    max_size=3,
)
written = st.builds(
    lambda fields, more, off, behind, mark: "".join(
        [*(field(name, data, off, behind) for name, data in (fields | more).items()), mark]
    ).encode(),
    good,
    strange,
    st.sampled_from([0, 0, 0, 1, -1]),
    st.sampled_from([" ", "", "\r\n", " a remark "]),
    st.sampled_from(["<EOR>\n", "<eor>", ""]),
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
@given(st.lists(written, max_size=8))
def test_whatever_was_taken_in_can_be_read_again(tmp_path_factory: pytest.TempPathFactory, made: list[bytes]) -> None:
    """The log keeps records as they came, so what the import understood must be understood at every later look."""
    store = Store.open(tmp_path_factory.mktemp("data"), now=now)
    summary = take(store, b"".join(made)).summary
    assert summary.read == summary.new + summary.equal + summary.refused
    with store.reader() as db:
        rows = db.execute("SELECT call, band, mode, started_ms FROM contact ORDER BY id").fetchall()
        found = list(standing(db))
    assert [(one.call, one.band, one.mode, one.started_ms) for _, one in found] == rows
    assert len(rows) == summary.new
    ascii_only = [one for _, one in found if f"{one.call}{one.band}{one.mode}".isascii()]
    again = take(store, b"".join(write_record(to_record(one)) for one in ascii_only), "again.adi").summary
    assert (again.equal, again.new) == (len(ascii_only), 0)
    store.close()


@pytest.mark.long
def test_a_large_file_in_many_parts_is_merged_as_if_it_were_read_in_one(store: Store) -> None:
    """Large enough to be read by several processes, and for the index to be made anew; partly out of order."""
    dice = random.Random(4)
    model: dict[tuple[str, str], list[int]] = {}
    expected = Summary()
    path = store.folder / "large.adi"
    with path.open("wb") as file:
        file.write(HEADER)
        at_ms = STARTED_MS
        while file.tell() < 44 * 1024 * 1024:
            at_ms += dice.randrange(0, 20) * 1000
            began_ms = at_ms - dice.choice((0, 0, 0, 0, 0, 0, 0, 4, 6, 600)) * 60_000
            one = msgspec.structs.replace(
                contact(call=f"DL{dice.randrange(10)}QR{dice.choice('ABCDEFGH')}"),
                started_ms=began_ms,
                ended_ms=began_ms,
                comment="x" * dice.choice((0, 20, 4000)),
            )
            file.write(write_record({name: text for name, text in to_record(one).items() if "APP" not in name}))
            expected.read += 1
            starts = model.setdefault((one.call, one.mode), [])
            place = bisect.bisect_left(starts, began_ms - 5 * 60_000)
            if place < len(starts) and starts[place] <= began_ms + 5 * 60_000:
                expected.equal += 1
            else:
                starts.insert(place, began_ms)
                expected.new += 1
    assert store.import_adif(path, path.name, lambda _done: None).summary == expected
    assert store.worked().count == expected.new
    assert store.import_adif(path, path.name, lambda _done: None).summary.new == 0
