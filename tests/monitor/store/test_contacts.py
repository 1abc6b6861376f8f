"""Identity, correction and likeness of contacts, and their outbox rows."""

from __future__ import annotations

import pytest
from tests.monitor.store.making import STARTED_MS, contact, now

from watchkeeper.store import contacts, outbox
from watchkeeper.store.contacts import Outcome, Status, modes_alike
from watchkeeper.store.outbox import OutboxRow, State
from watchkeeper.store.store import Store

ONE = b"digest one"
TWO = b"digest two"
PAYLOADS = [("file", b"record", None), ("home log", b"{}", None)]


def standing(store: Store) -> list[int]:
    with store.reader() as db:
        return [row_id for row_id, _ in contacts.standing(db)]


def rows(store: Store) -> list[OutboxRow]:
    with store.reader() as db:
        return list(outbox.listed(db, states=list(State)))


async def test_a_new_contact_is_stored_with_a_row_for_each_destination(store: Store) -> None:
    outcome = await store.commit(contact(), ONE, PAYLOADS)
    assert outcome == Outcome(status=Status.STORED, contact_id=1)
    with store.reader() as db:
        assert contacts.by_id(db, 1) == contact()
    assert [(row.destination, row.key, row.payload, row.state) for row in rows(store)] == [
        ("file", "DL5QRM|shack|1", b"record", State.WAITING),
        ("home log", "DL5QRM|shack|1", b"{}", State.WAITING),
    ]
    now_ms = round(now().timestamp() * 1000)
    assert [(row.created_ms, row.due_ms, row.tries) for row in rows(store)] == [(now_ms, 0, 0)] * 2


async def test_the_same_again_is_repeated_and_changes_nothing(store: Store) -> None:
    await store.commit(contact(), ONE, PAYLOADS)
    assert await store.commit(contact(), ONE, PAYLOADS) == Outcome(status=Status.REPEATED, contact_id=1)
    assert standing(store) == [1]
    assert len(rows(store)) == 2


async def test_other_content_under_the_same_id_is_refused_and_says_why(store: Store) -> None:
    await store.commit(contact(), ONE, PAYLOADS)
    outcome = await store.commit(contact(call="JA1QRV"), TWO, PAYLOADS)
    assert (outcome.status, outcome.contact_id) == (Status.REFUSED, 1)
    assert outcome.why is not None
    assert "(revision 0)" in outcome.why
    assert "higher revision" in outcome.why
    assert standing(store) == [1]


async def test_a_higher_revision_corrects_by_a_new_row_that_is_forwarded_behind_the_first(store: Store) -> None:
    await store.commit(contact(), ONE, PAYLOADS)
    corrected = contact(revision=2, call="W1QSC")
    assert await store.commit(corrected, TWO, PAYLOADS) == Outcome(status=Status.STORED, contact_id=2, corrects=1)
    assert standing(store) == [2]
    forwarded = [row for row in rows(store) if row.destination == "file"]
    assert [(row.lane, row.key) for row in forwarded] == [
        ("DL5QRM|shack|1", "DL5QRM|shack|1"),
        ("DL5QRM|shack|1", "DL5QRM|shack|1#2"),
    ]


async def test_what_was_corrected_can_be_repeated_but_not_come_late(store: Store) -> None:
    await store.commit(contact(), ONE, PAYLOADS)
    await store.commit(contact(revision=5), TWO, PAYLOADS)
    assert (await store.commit(contact(), ONE, PAYLOADS)).status is Status.REPEATED
    assert (await store.commit(contact(revision=5), TWO, PAYLOADS)).status is Status.REPEATED
    late = await store.commit(contact(revision=1), b"digest three", PAYLOADS)
    assert (late.status, late.contact_id) == (Status.REFUSED, 2)
    assert late.why == "revision 1 comes after revision 5, which is in the log"
    assert standing(store) == [2]


async def test_a_like_contact_under_another_id_joins_the_first_and_is_not_forwarded(store: Store) -> None:
    await store.commit(contact("1"), ONE, PAYLOADS)
    second = await store.commit(contact("2", started_ms=STARTED_MS + 120_000), TWO, PAYLOADS)
    third = await store.commit(contact("3", started_ms=STARTED_MS + 240_000), TWO, PAYLOADS)
    assert (second.status, second.same_as, third.same_as) == (Status.STORED, 1, 1)
    assert standing(store) == [1]
    assert {row.contact_id for row in rows(store)} == {1}


async def test_a_chain_of_like_contacts_is_one_group(store: Store) -> None:
    for number in range(3):  # the last is like the second only
        one = contact(str(number), started_ms=STARTED_MS + number * 240_000)
        outcome = await store.commit(one, str(number).encode(), PAYLOADS)
    assert outcome.same_as == 1
    assert standing(store) == [1]


async def test_a_correction_of_a_joined_contact_is_not_forwarded_either(store: Store) -> None:
    await store.commit(contact("1"), ONE, PAYLOADS)
    await store.commit(contact("2"), TWO, PAYLOADS)
    outcome = await store.commit(contact("2", revision=1, report_sent="-07"), b"digest three", PAYLOADS)
    assert (outcome.corrects, outcome.same_as) == (2, 1)
    assert {row.contact_id for row in rows(store)} == {1}


@pytest.mark.parametrize(
    "changes",
    [
        {"call": "W1QSC"},
        {"band": "40m"},
        {"mode": "FT4"},  # two timed modes of one group are two contacts all the same
        {"started_ms": STARTED_MS + 300_001},
        {"started_ms": STARTED_MS - 300_001},
        {"station_call": "DL6QRN"},  # another position's call
    ],
)
async def test_what_differs_is_a_contact_of_its_own(store: Store, changes: dict[str, object]) -> None:
    await store.commit(contact("1"), ONE, PAYLOADS)
    assert (await store.commit(contact("2", **changes), TWO, PAYLOADS)).same_as is None
    assert standing(store) == [1, 2]


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"started_ms": STARTED_MS + 300_000},
        {"started_ms": STARTED_MS - 300_000},
        {"station_call": None},  # nobody says that it was another's
    ],
)
async def test_what_may_be_the_same_contact_joins_the_first(store: Store, changes: dict[str, object]) -> None:
    await store.commit(contact("1"), ONE, PAYLOADS)
    assert (await store.commit(contact("2", **changes), TWO, PAYLOADS)).same_as == 1


async def test_a_contact_is_found_by_its_key_and_content_and_by_what_its_source_calls_it(store: Store) -> None:
    await store.commit(contact("1"), ONE, PAYLOADS)
    await store.commit(contact("1", revision=1), TWO, PAYLOADS)
    await store.commit(contact("1", revision=2), ONE, PAYLOADS)
    key = contact("1").key
    assert (store.contact_row(key, ONE), store.contact_row(key, TWO)) == (3, 2)
    assert (store.contact_row(key, b"digest three"), store.contact_row("DL5QRM|shack|2", ONE)) == (None, None)
    assert store.is_announced("shack", "1", "W1QSB", STARTED_MS)
    for source, source_id, call, started_ms in (
        ("other", "1", "W1QSB", STARTED_MS),
        ("shack", "2", "W1QSB", STARTED_MS),
        ("shack", "1", "W1QSC", STARTED_MS),
        ("shack", "1", "W1QSB", STARTED_MS + 1),
    ):
        assert not store.is_announced(source, source_id, call, started_ms)


async def test_the_log_flags_only_what_ends_in_the_future(store: Store) -> None:
    now_ms = round(now().timestamp() * 1000)
    for number, ended_ms in enumerate((now_ms, now_ms + contacts.FUTURE_MS, now_ms + contacts.FUTURE_MS + 1)):
        await store.commit(contact(str(number), call=f"W{number}QSB", ended_ms=ended_ms), ONE, PAYLOADS)
    with store.reader() as db:
        found = [one for _, one in contacts.standing(db)]
    assert [one.flags for one in found] == [(), (), (contacts.IN_FUTURE,)]
    assert not any(one.confirmed for one in found)


async def test_what_is_not_in_the_log_is_nothing(store: Store) -> None:
    await store.commit(contact(), ONE, PAYLOADS)
    with store.reader() as db:
        assert contacts.by_id(db, 2) is None
        assert outbox.find(db, 99) is None


def test_a_submode_is_alike_the_mode_it_is_filed_under() -> None:
    """ADIF 3.1.7, Submode enumeration: FT4 and Q65 are submodes of MFSK, FT8 is none."""
    assert modes_alike("FT4", "MFSK")
    assert modes_alike("MFSK", "Q65")
    assert not modes_alike("FT4", "Q65")
    assert not modes_alike("FT8", "MFSK")
    assert modes_alike("NOVEL", "NOVEL")


async def test_a_payload_that_cannot_be_encoded_never_blocks_the_contact(store: Store) -> None:
    outcome = await store.commit(contact(), ONE, [("file", b"record", None), ("home log", None, "no locator")])
    assert outcome.status is Status.STORED
    assert [(row.destination, row.state, row.why) for row in rows(store)] == [
        ("file", State.WAITING, None),
        ("home log", State.DEAD, "cannot be encoded: no locator"),
    ]


async def test_what_is_not_to_be_forwarded_has_no_outbox_rows(store: Store) -> None:
    await store.commit(contact(), ONE, PAYLOADS, forward=False)
    assert rows(store) == []


async def test_what_changes_the_log_takes_the_next_number_even_of_an_empty_one(store: Store) -> None:
    assert store.newest_contact() == 0
    path = store.folder / "empty.adi"
    path.write_bytes(b"")
    for number in (1, 2):
        store.undo_import(store.import_adif(path, path.name, lambda _done: None).id)
        assert store.newest_contact() == number
    assert (await store.commit(contact(), ONE, PAYLOADS)).contact_id == 3
    assert store.newest_contact() == 3
