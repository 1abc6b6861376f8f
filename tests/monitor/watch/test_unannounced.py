"""Contacts that nobody announced: offered after two minutes, logged once, taken back by a repeated report."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec
import pytest
from tests.monitor.watch.build import Bench, contact, heard, marker, sent
from tests.monitor.watch.test_keeper import CONFIG, contacts_in, live

from watchkeeper.config import Log, Unannounced
from watchkeeper.view import Table
from watchkeeper.watch.journal import Act

EXCHANGE: tuple[Any, ...] = (
    sent("CQ DL5QRM JO62", 0),
    heard("DL5QRM W1QSB FN42", 1), marker(1, 1, final=True),
    sent("W1QSB DL5QRM -12", 2),
    heard("DL5QRM W1QSB R-08", 3), marker(1, 3, final=True),
    sent("W1QSB DL5QRM RR73", 4),
)  # fmt: skip


def quiet(first: int, last: int) -> tuple[Any, ...]:
    """Periods in which only others are heard."""
    return tuple(
        item
        for period in range(first, last)
        for item in (heard("CQ F5QSA JN18", period), marker(1, period, final=True))
    )


def offers(bench: Bench) -> list[str]:
    return [hail.call or "" for hail in bench.watch.hails.recent if hail.rule == "looks complete"]


def test_it_is_offered_once_two_minutes_after_it_was_complete() -> None:
    bench = Bench()
    bench.feed(*EXCHANGE, *quiet(5, 11))
    assert offers(bench) == []
    bench.feed(*quiet(11, 40))
    assert offers(bench) == ["W1QSB"]
    assert bench.watch.views()[0].name == "core.unannounced"


def test_a_contact_that_is_announced_in_time_is_not_offered() -> None:
    from watchkeeper.watch.journal import Outcome

    bench = Bench()
    bench.feed(*EXCHANGE, contact("W1QSB", period=5))
    bench.watch.feed(bench.chunk.number(bench.t, outcome=Outcome(key="k", status="stored", contact=1)))
    bench.feed(*quiet(5, 40))
    assert offers(bench) == []


def test_without_the_last_roger_it_is_not_complete() -> None:
    bench = Bench()
    bench.feed(*EXCHANGE[:-1], *quiet(5, 40))
    assert offers(bench) == []


def test_a_repeated_report_opens_it_again() -> None:
    bench = Bench()
    bench.feed(*EXCHANGE, heard("DL5QRM W1QSB R-08", 5), marker(1, 5, final=True))
    station = bench.watch.station("W1QSB")
    assert station is not None
    assert station.lacks == ("our roger",)
    bench.feed(*quiet(7, 16))
    assert offers(bench) == []
    bench.feed(sent("W1QSB DL5QRM RR73", 16), *quiet(17, 30))
    assert offers(bench) == ["W1QSB"]


async def test_a_contest_exchange_is_offered_and_logged_whole(tmp_path: Path) -> None:
    exchange = (
        heard("DL5QRM W1QSB FN42", 1), marker(1, 1, final=True),
        sent("W1QSB DL5QRM 579 0013", 2),
        heard("DL5QRM W1QSB R 589 MA", 3), marker(1, 3, final=True),
        sent("W1QSB DL5QRM RR73", 4),
    )  # fmt: skip
    async with live(tmp_path) as watch:
        await watch.take(*exchange, *quiet(5, 20))
        (offer,) = [view for view in watch.keeper.watch.views() if view.name == "core.unannounced"]
        assert isinstance(offer, Table)
        assert offer.rows[0].cells[2:4] == ("579 0013", "589 MA")
        await watch.keeper.act(Act(act="log", call="W1QSB"))
        made = watch.keeper.watch.contacts[-1]
        assert (made.report_sent, made.report_received) == ("579", "589")
        assert (made.exchange_sent, made.exchange_received) == ("0013", "MA")


async def test_the_operator_logs_it_and_the_sources_own_contact_joins_it_later(tmp_path: Path) -> None:
    async with live(tmp_path) as watch:
        await watch.take(*EXCHANGE, *quiet(5, 20))
        with pytest.raises(ValueError, match="JA1QRV"):
            await watch.keeper.act(Act(act="log", call="JA1QRV"))
        await watch.keeper.act(Act(act="log", call="W1QSB"))
        assert contacts_in(watch.store) == ["W1QSB"]
        made = watch.keeper.watch.contacts[-1]
        assert (made.report_sent, made.report_received, made.locator) == ("-12", "-08", "FN42")
        assert made.source == "watchkeeper"
        with pytest.raises(ValueError, match="W1QSB"):
            await watch.keeper.act(Act(act="log", call="W1QSB"))
        await watch.take(contact("W1QSB", "late", ack=True))
        assert [receipt.status for receipt in watch.receipts] == ["stored"]
        with watch.store.reader() as db:
            assert db.execute("SELECT count(*) FROM same_as").fetchone() == (1,)


async def test_the_configuration_may_log_it_unasked_and_a_restart_changes_nothing(tmp_path: Path) -> None:
    config = msgspec.structs.replace(CONFIG, log=Log(unannounced=Unannounced.LOG))
    async with live(tmp_path, config) as watch:
        await watch.take(*EXCHANGE, *quiet(5, 20))
        assert contacts_in(watch.store) == ["W1QSB"]
        before = msgspec.json.encode(watch.keeper.snapshot())
    async with live(tmp_path, config) as watch:
        assert msgspec.json.encode(watch.keeper.snapshot()) == before
        await watch.take(*quiet(20, 30))
        assert contacts_in(watch.store) == ["W1QSB"]
