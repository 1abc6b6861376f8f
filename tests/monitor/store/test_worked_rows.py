"""The worked index from the rows of the log: any state of it, with and without a snapshot."""

from __future__ import annotations

import sqlite3
from contextlib import closing

import msgspec
from hypothesis import given
from hypothesis import strategies as st
from tests.monitor.store.making import STARTED_MS, contact

from watchkeeper.store import contacts, worked_rows
from watchkeeper.store.contacts import record
from watchkeeper.store.migrations import migrate_core
from watchkeeper.store.store import Store
from watchkeeper.store.told import CONFIRMED, facts_of, told_by
from watchkeeper.store.worked import ALL, Dimension, WorkedIndex

CALLS = ("W1QSB", "W1QSB/P", "JA1QRV", "DL5QRM", "VK3QSD")
logged = st.tuples(
    st.integers(1, 8),  # source id: the same again is a correction
    st.sampled_from(CALLS),
    st.sampled_from(["20m", "40m"]),
    st.sampled_from(["FT8", "CW"]),
    st.booleans(),
)


def content(index: WorkedIndex) -> object:
    return index.count, [
        (dimension, value, index.where(dimension, value), index.is_confirmed(dimension, value, "20m"))
        for dimension in ALL
        for call in CALLS
        if (value := facts_of(call, "FN42").get(dimension)) is not None
    ]


@given(st.lists(logged, min_size=1, max_size=12), st.data())
def test_every_state_is_the_same_with_and_without_snapshots(
    done: list[tuple[int, str, str, str, bool]], data: st.DataObject
) -> None:
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as db:
        migrate_core(db)
        states = {}
        for revision, (source_id, call, band, mode, confirmed) in enumerate(done):
            one = contact(
                str(source_id), revision=revision, call=call, band=band, mode=mode, confirmed=confirmed, locator="FN42"
            )
            record(db, one, b"", (), committed_ms=STARTED_MS, forward=False)
            before_id = contacts.newest(db) + 1
            index, _ = worked_rows.index_before(db, before_id)
            states[before_id] = content(index)
            if data.draw(st.booleans()):
                worked_rows.save(db, before_id - 1, index.dump())
        assert {number: content(worked_rows.index_before(db, number)[0]) for number in states} == states
        db.execute("DELETE FROM worked_snapshot")
        assert {number: content(worked_rows.index_before(db, number)[0]) for number in states} == states


async def test_a_correction_takes_the_wrong_call_out(store: Store) -> None:
    await store.commit(contact("1", call="JA1QRV"), b"1", [])
    assert store.worked().is_worked(Dimension.ENTITY, "339")
    await store.commit(contact("1", call="W1QSB", revision=1), b"2", [])
    assert not store.worked().is_worked(Dimension.ENTITY, "339")
    assert store.worked(before_id=2).is_worked(Dimension.ENTITY, "339")
    assert store.worked(before_id=1).count == 0


async def test_a_large_log_is_read_once_and_then_from_its_snapshot(store: Store) -> None:
    body = msgspec.json.encode(contact())
    rows = [(f"k{n}", f"W{n % 10}Q{chr(65 + n % 26)}{chr(65 + n // 26 % 26)}", body) for n in range(2_500)]

    def fill(db: sqlite3.Connection) -> None:
        db.executemany(
            "INSERT INTO contact (key, revision, digest, call, started_ms, band, mode, committed_ms, told, body)"
            f" VALUES (?, 0, x'', ?, {STARTED_MS}, '20m', 'FT8', {STARTED_MS}, 'FN42', ?)",
            rows,
        )

    await store.change(fill)
    first = store.worked()
    await store.change(lambda db: None)
    with store.reader() as db:
        index, read = worked_rows.index_before(db, contacts.newest(db) + 1)
    assert (index.count, read) == (2_500, 0)
    assert content(index) == content(first)
    assert first.worked_today("W0QAA", "20m", "FT8", STARTED_MS)
    assert index.worked_today("W0QAA", "20m", "FT8", STARTED_MS)
    await store.commit(contact(call="JA1QRV"), b"1", [])
    assert store.worked().is_worked(Dimension.ENTITY, "339")


def test_what_a_contact_says_outweighs_what_its_call_tells() -> None:
    """A special call may be used from elsewhere: the record's own DXCC field says where (ADIF 3.1.7, DXCC)."""
    told = told_by(contact(call="W1QSB", entity_code=6, cq_zone=1, itu_zone=1, continent="NA", state="AK"))
    values = facts_of("W1QSB", told).values
    assert (values[Dimension.ENTITY], values[Dimension.CQ_ZONE], values[Dimension.STATE]) == ("6", "1", "6 AK")
    assert facts_of("W1QSB", "").values[Dimension.ENTITY] == "291"
    assert told_by(contact(confirmed=True)).endswith(CONFIRMED)
