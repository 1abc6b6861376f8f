"""The live watch with a real store: contacts, receipts, restarts, sessions."""

from __future__ import annotations

import asyncio
import sqlite3
from collections.abc import AsyncIterator, Iterator, Sequence
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any, NamedTuple

import msgspec
import pytest
from tests.monitor.watch.build import START, contact, heard, marker

from watchkeeper.config import Config, PluginSettings, Station, Watch, load
from watchkeeper.schema import events
from watchkeeper.store.errors import DiskFullError
from watchkeeper.store.store import Store
from watchkeeper.store.worked import Dimension
from watchkeeper.watch.journal import Act, decode
from watchkeeper.watch.keeper import Keeper

CONFIG = Config(
    station=Station(call="DL5QRM", locator="JO62qm", power_w=10.0),
    plugins=PluginSettings(allow=("lookout", "worked")),
    watch=Watch(session_gap_h=2.0),
)
#: the computer's clock in the 2000th period of 15 s
LATER = START + 2000 * 15_000


class Came(NamedTuple):
    event: Any
    peer: Any = "somebody"
    arrived_ms: int = START


class Queue:
    """Hands out what was put, a batch a call, then closes."""

    def __init__(self, *batches: Sequence[Came]) -> None:
        self._batches: Iterator[Sequence[Came]] = iter(batches)

    async def get_batch(self, most: int = 256) -> Sequence[Came]:
        return next(self._batches, ())


class Live:
    """A keeper on a folder, with the receipts that it gave."""

    def __init__(self, folder: Path, config: Config = CONFIG) -> None:
        self.store = Store.open(folder)
        self.receipts: list[events.Receipt] = []
        self.changes = 0
        self.keeper = Keeper(
            config,
            self.store,
            clock_ms=lambda: START,
            answer=lambda _peer, receipt: self.receipts.append(receipt),
            changed=self._changed,
        )

    def _changed(self) -> None:
        self.changes += 1

    async def take(self, *items: Any, arrived_ms: int = START) -> None:
        await self.keeper.run(Queue([Came(item, arrived_ms=arrived_ms) for item in items]))


@asynccontextmanager
async def live(folder: Path, config: Config = CONFIG) -> AsyncIterator[Live]:
    made = Live(folder, config)
    try:
        await made.keeper.start()
        yield made
        await made.keeper.stop()
    finally:
        made.store.close()


def contacts_in(store: Store) -> list[str]:
    with store.reader() as db:
        return [row[0] for row in db.execute("SELECT call FROM contact ORDER BY id")]


async def test_a_contact_is_stored_once_and_acknowledged_each_time(tmp_path: Path) -> None:
    async with live(tmp_path) as watch:
        await watch.take(contact("W1QSB", ack=True), contact("W1QSB", ack=True), contact("JA1QRV", "c-2"))
        assert [receipt.status for receipt in watch.receipts] == ["stored", "repeated"]
        assert contacts_in(watch.store) == ["W1QSB", "JA1QRV"]
        assert watch.keeper.watch.contacts_logged == 2


async def test_another_content_under_the_same_id_is_refused_with_the_reason(tmp_path: Path) -> None:
    async with live(tmp_path) as watch:
        await watch.take(contact("W1QSB", ack=True), contact("JA1QRV", ack=True))
        assert [receipt.status for receipt in watch.receipts] == ["stored", "refused"]
        assert watch.receipts[1].why
        assert contacts_in(watch.store) == ["W1QSB"]


async def test_what_follows_a_contact_already_sees_it_worked(tmp_path: Path) -> None:
    async with live(tmp_path) as watch:
        await watch.take(contact("W1QSB"), heard("CQ W1QSB FN42", 9))
        assert watch.keeper.watch.worked.is_worked(Dimension.CALL, "W1QSB")


async def test_the_journal_holds_every_entry_and_its_outcome_in_order(tmp_path: Path) -> None:
    async with live(tmp_path) as watch:
        await watch.take(heard("CQ W1QSB FN42"), marker(1, final=True), contact("W1QSB"), heard("CQ JA1QRV PM95", 9))
        number = watch.keeper.session.number
    reopened = Store.open(tmp_path)
    entries = list(decode(reopened.read_journal(number)))
    reopened.close()
    assert [entry.n for entry in entries] == [1, 2, 3, 4, 5]
    kinds = [type(entry.event).__name__ if entry.event else "outcome" for entry in entries]
    assert kinds == ["Heard", "Period", "Contact", "outcome", "Heard"]


async def test_a_restart_goes_on_where_it_stopped(tmp_path: Path) -> None:
    async with live(tmp_path) as watch:
        await watch.take(heard("DL5QRM W1QSB FN42", 1), marker(1, 1, final=True), contact("W1QSB"))
        before = watch.keeper.snapshot()
        hailed = list(watch.keeper.watch.hails.recent)
    assert hailed, "somebody called us, so there was a hail"
    async with live(tmp_path) as watch:
        assert msgspec.json.encode(watch.keeper.snapshot()) == msgspec.json.encode(before)
        await watch.take(heard("DL5QRM W1QSB FN42", 9), marker(1, 9, final=True))
        again = [hail.key for hail in watch.keeper.watch.hails.recent]
        assert len(again) == len(set(again)), "a hold-off survives the restart"
        await watch.take(contact("W1QSB", ack=True))
        assert [receipt.status for receipt in watch.receipts] == ["repeated"]


async def test_after_a_restart_contacts_that_came_from_outside_count(tmp_path: Path) -> None:
    async with live(tmp_path) as watch:
        await watch.take(contact("W1QSB"))
    outside = Store.open(tmp_path)
    from watchkeeper.model import Own
    from watchkeeper.watch import contacts

    other = contacts.build(contact("JA1QRV", "x-1"), Own(call="DL5QRM"), None, None, START)
    await outside.commit(other.contact, other.digest, [])
    outside.close()
    async with live(tmp_path) as watch:
        assert watch.keeper.watch.worked.is_worked(Dimension.CALL, "JA1QRV")
        assert watch.keeper.watch.worked.is_worked(Dimension.CALL, "W1QSB")


async def test_two_silent_hours_begin_a_new_session(tmp_path: Path) -> None:
    async with live(tmp_path) as watch:
        await watch.take(heard("CQ W1QSB FN42"))
        first = watch.keeper.session.number
        await watch.take(heard("CQ W1QSB FN42", 100))
        assert watch.keeper.session.number == first
        await watch.take(heard("CQ W1QSB FN42", 700))
        assert watch.keeper.session.number == first + 1
        last = watch.store.last_session()
        assert last is not None
        assert last.id == first + 1


async def test_the_operator_begins_a_new_session_by_an_act(tmp_path: Path) -> None:
    async with live(tmp_path) as watch:
        await watch.take(heard("CQ W1QSB FN42"))
        first = watch.keeper.session.number
        await watch.keeper.act(Act(act="session"))
        assert watch.keeper.session.number == first + 1
        assert not list(watch.keeper.watch.stations())


async def test_an_activation_counts_on_in_the_next_session_and_after_a_restart(tmp_path: Path) -> None:
    config = msgspec.structs.replace(
        CONFIG,
        station=msgspec.structs.replace(
            CONFIG.station, activations=(events.Activation(programme="POTA", reference="DE-0042"),)
        ),
    )

    def counted(watch: Live) -> list[str]:
        worked = watch.keeper.watch.worked
        return [one.call for one in worked.activated("POTA", "DE-0042")]

    async with live(tmp_path, config) as watch:
        await watch.take(contact("W1QSB"))
        assert counted(watch) == [], "it is of this session, which plugins are told of as it goes"
        await watch.keeper.act(Act(act="session"))
        assert counted(watch) == ["W1QSB"]
        await watch.take(contact("W2QSB", "c-2"))
    async with live(tmp_path, config) as watch:
        assert counted(watch) == ["W1QSB"], "the session goes on, and so does its baseline"


async def test_without_a_commit_there_is_no_receipt_and_the_repeat_succeeds(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from watchkeeper.store.errors import DiskFullError

    async with live(tmp_path) as watch:
        commit = watch.store.commit

        def full(*args: Any, **more: Any) -> Any:
            done: asyncio.Future[Any] = asyncio.get_running_loop().create_future()
            done.set_exception(DiskFullError("no room"))
            return done

        monkeypatch.setattr(watch.store, "commit", full)
        await watch.take(contact("W1QSB", ack=True))
        assert watch.receipts == []
        assert not watch.keeper.watch.worked.is_worked(Dimension.CALL, "W1QSB")
        monkeypatch.setattr(watch.store, "commit", commit)
        await watch.take(contact("W1QSB", ack=True))
        assert [receipt.status for receipt in watch.receipts] == ["stored"]


async def test_faces_are_told_once_a_batch(tmp_path: Path) -> None:
    async with live(tmp_path) as watch:
        before = watch.changes
        await watch.take(*(heard(f"CQ W{n}QSB FN42") for n in range(1, 10)))
        assert watch.changes - before == 1


async def test_a_contact_that_the_process_died_over_is_found_again(tmp_path: Path) -> None:
    """Killed between the commit and the entry of its outcome: the journal ends with the contact, the log has it."""
    async with live(tmp_path) as watch:
        await watch.take(contact("W1QSB"))
        number = watch.keeper.session.number
    with sqlite3.connect(tmp_path / "watchkeeper.db") as db:
        (body,) = db.execute("SELECT body FROM journal WHERE session = ? ORDER BY id DESC", (number,)).fetchone()
        assert b'"outcome"' in body
        db.execute("DELETE FROM journal WHERE body = ?", (body,))
    db.close()
    async with live(tmp_path) as watch:
        assert watch.keeper.watch.contacts_logged == 1
        assert watch.keeper.watch.worked.is_worked(Dimension.CALL, "W1QSB")
        await watch.take(contact("W1QSB", ack=True))
        assert [receipt.status for receipt in watch.receipts] == ["repeated"]
        assert watch.keeper.watch.contacts_logged == 1


async def test_a_second_source_that_lives_in_another_time_begins_no_session_at_every_turn(tmp_path: Path) -> None:
    async with live(tmp_path) as watch:
        await watch.take(heard("CQ W1QSB FN42", 0))
        await watch.take(heard("CQ JA1QRV PM95", 2000, source="live"), arrived_ms=LATER)
        second = watch.keeper.session.number
        for period in range(1, 6):
            both = heard("CQ W1QSB FN42", period), heard("CQ JA1QRV PM95", 2000 + period, source="live")
            await watch.take(*both, arrived_ms=LATER)
        assert watch.keeper.session.number == second


async def test_a_stray_event_of_long_ago_begins_no_session(tmp_path: Path) -> None:
    async with live(tmp_path) as watch:
        await watch.take(heard("CQ W1QSB FN42", 2000), arrived_ms=LATER)
        first = watch.keeper.session.number
        stray = heard("CQ JA1QRV PM95", 0)
        await watch.take(heard("CQ W1QSB FN42", 2001), stray, heard("CQ W1QSB FN42", 2002), arrived_ms=LATER)
        assert watch.keeper.session.number == first
        assert watch.keeper.watch.now_ms == START + 2003 * 15_000


async def test_a_computer_set_back_by_hours_begins_one_session(tmp_path: Path) -> None:
    async with live(tmp_path) as watch:
        await watch.take(heard("CQ W1QSB FN42", 2000), arrived_ms=LATER)
        first = watch.keeper.session.number
    async with live(tmp_path) as watch:  # it may have been set while the watch was down
        await watch.take(heard("CQ W1QSB FN42", 0), heard("CQ W1QSB FN42", 1), heard("CQ W1QSB FN42", 2))
        assert watch.keeper.session.number == first + 1


async def test_a_source_that_begins_anew_in_another_time_begins_one_session(tmp_path: Path) -> None:
    async with live(tmp_path) as watch:
        await watch.take(heard("CQ W1QSB FN42", 2000, run="first", seq=1), arrived_ms=LATER)
        first = watch.keeper.session.number
        again = [heard("CQ W1QSB FN42", number, run="second", seq=number + 1) for number in range(3)]
        await watch.take(*again, arrived_ms=LATER)
        assert watch.keeper.session.number == first + 1
        assert watch.keeper.watch.now_ms == START + 3 * 15_000


async def test_a_source_that_lives_in_the_past_begins_none_when_it_starts_again(tmp_path: Path) -> None:
    async with live(tmp_path) as watch:
        await watch.take(heard("CQ W1QSB FN42", 0, source="old", run="a", seq=1))
        await watch.take(heard("CQ JA1QRV PM95", 2000, run="live", seq=1), arrived_ms=LATER)
        second = watch.keeper.session.number
        for number in range(1, 4):
            again = heard("CQ W1QSB FN42", number, source="old", run=f"a{number}", seq=1)
            here = heard("CQ JA1QRV PM95", 2000 + number, run="live", seq=1 + number)
            await watch.take(again, here, arrived_ms=LATER)
        assert watch.keeper.session.number == second


async def test_a_leap_in_the_midst_of_what_came_at_once_begins_one_session(tmp_path: Path) -> None:
    async with live(tmp_path) as watch:
        before = [heard("CQ W1QSB FN42", 2000 + number, run="first", seq=1 + number) for number in range(2)]
        after = [heard("CQ W1QSB FN42", number, run="second", seq=1 + number) for number in range(2)]
        await watch.take(before[0], arrived_ms=LATER)
        first = watch.keeper.session.number
        await watch.take(before[1], *after, arrived_ms=LATER)
        assert watch.keeper.session.number == first + 1
        assert watch.keeper.watch.now_ms == START + 2 * 15_000


async def test_a_contact_of_long_ago_begins_no_session(tmp_path: Path) -> None:
    async with live(tmp_path) as watch:
        await watch.take(heard("CQ W1QSB FN42", 2000))
        first = watch.keeper.session.number
        await watch.take(contact("W1QSB", period=8, ack=True), heard("CQ W1QSB FN42", 1, live=False))
        assert watch.keeper.session.number == first
        assert [receipt.status for receipt in watch.receipts] == ["stored"]


QUITTER = """
import asyncio
from watchkeeper.api import hookimpl

class Quitter:
    name = "quitter"
    api = 1

    def __init__(self, config, context):
        pass

    @hookimpl
    async def async_run(self, stop):
        raise OSError("the line is dead")
"""


async def test_a_rest_for_what_goes_on_beside_the_hooks_is_journaled_though_nothing_arrives(tmp_path: Path) -> None:
    folder = tmp_path / "plugins"
    folder.mkdir()
    (folder / "quitter.py").write_text(QUITTER)
    config = msgspec.structs.replace(CONFIG, plugins=PluginSettings(folder=folder, allow=("quitter",)))
    async with live(tmp_path / "data", config) as watch:
        for _ in range(8):
            await asyncio.sleep(0)
        (status,) = [each for each in watch.keeper.plugins() if each.name == "quitter"]
        assert (status.state, status.reason) == ("rested", "its background task ended: OSError: the line is dead")
        await watch.store.pulse()
        entries = [msgspec.json.decode(line) for line in watch.store.read_journal(watch.keeper.session.number)]
        assert [entry["rest"]["plugin"] for entry in entries] == ["quitter"]


async def test_a_rest_that_cannot_be_entered_is_told_at_once_and_hinders_no_stop(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    folder = tmp_path / "plugins"
    folder.mkdir()
    (folder / "quitter.py").write_text(QUITTER)
    config = msgspec.structs.replace(CONFIG, plugins=PluginSettings(folder=folder, allow=("quitter",)))

    def fail() -> None:
        raise DiskFullError("no room left for the log")

    async with live(tmp_path / "data", config) as watch:
        monkeypatch.setattr(watch.keeper.session.pump, "settle", fail)
        for _ in range(8):
            await asyncio.sleep(0)
        (told,) = [record for record in caplog.records if record.levelname == "ERROR"]
        assert told.message == "a plugin's rest could not be entered"
        assert told.exc_info is not None
        assert isinstance(told.exc_info[1], DiskFullError)


async def test_what_the_environment_says_of_a_plugin_is_journaled_as_its_value(tmp_path: Path) -> None:
    config = load(environ={"WATCHKEEPER_PLUGINS__LOOKOUT__SHOWN": "7", "WATCHKEEPER_PLUGINS__MQTT__ENABLED": "false"})
    async with live(tmp_path, config) as watch:
        last = watch.store.last_session()
        assert last is not None
        sections = msgspec.json.decode(last.header)["config"]["plugins"]["sections"]
        assert sections == {"lookout": {"shown": 7}, "mqtt": {"enabled": False}}
    async with live(tmp_path, config) as watch:
        assert watch.keeper.session.pump.entries == 0, "nothing changed, so no reload was entered"
        states = {plugin.name: plugin.state for plugin in watch.keeper.plugins()}
        assert (states["lookout"], states["mqtt"]) == ("running", "off")


CARRIER = """
from watchkeeper.api import Sending, SendResult, hookimpl


class Shed:
    name = "shed"

    def encode(self, contact):
        return contact.call.encode()

    async def send(self, payload, key):
        return Sending(result=SendResult.TRY_LATER, why="closed")


class Plugin:
    name = "carrier"
    api = 1

    def __init__(self, config, context):
        pass

    @hookimpl
    async def async_run(self, stop):
        raise OSError("the line is dead")

    @hookimpl
    def destinations(self):
        return [Shed()]
"""


async def test_contacts_wait_for_the_destinations_of_a_plugin_that_rests(tmp_path: Path) -> None:
    folder = tmp_path / "plugins"
    folder.mkdir()
    (folder / "carrier.py").write_text(CARRIER)
    config = msgspec.structs.replace(CONFIG, plugins=PluginSettings(folder=folder, allow=("carrier",)))
    for number, call in enumerate(("CE3QRT", "CE4QRT"), 1):  # the second start is in the midst of the rest
        async with live(tmp_path / "data", config) as watch:
            await watch.take(heard(f"CQ {call}", number), marker(1, number, final=True))
            for _ in range(8):
                await asyncio.sleep(0)
            assert {plugin.name: plugin.state for plugin in watch.keeper.plugins()}["carrier"] == "rested"
            await watch.take(contact(call, call))
            assert watch.keeper.dispatcher.status()["shed"].waiting == number
