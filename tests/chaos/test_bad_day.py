"""A bad day: floods, two watches on one port, listeners that never read, kills, clocks that jump, a whole day at once.

What must hold: no acknowledged contact is lost or doubled, what is shed is counted, and the watch stands.
"""

from __future__ import annotations

import contextlib
import json
import random
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from tests.benchmarks import band
from tests.benchmarks.daemon import Daemon, free_port, serving, start
from tests.benchmarks.flood import Course

from watchkeeper.cli.exits import Exit
from watchkeeper.faces.source import unix_address
from watchkeeper.schema import events
from watchkeeper.schema.wire import Reason, decode
from watchkeeper.sender import Sender
from watchkeeper.store.folder import DATABASE
from watchkeeper.testing import Bench
from watchkeeper_lookout import Lookout
from watchkeeper_openings import Openings
from watchkeeper_worked import Worked

pytestmark = pytest.mark.long

#: far beyond what a watch takes: as fast as the sender's loop goes
FLOOD = 1_000_000.0


def log_contact(sender: Sender, number: int) -> str:
    """Send a contact that asks for its receipt; its identity."""
    now = time.time()
    identity = f"c{number}"
    sender.send(
        "contact", id=identity, call=f"W{number % 10}QR{band.LETTERS[number // 10 % 26]}", at=now, ack=True,
        started_at=datetime.fromtimestamp(now - 60, UTC), ended_at=datetime.fromtimestamp(now, UTC),
        dial_hz=band.DIAL_HZ, mode="FT8", report_sent="-10", report_received="-12",
    )  # fmt: skip
    return identity


def wait_for_receipts(sender: Sender, seconds: float) -> None:
    """Repeat what has no receipt until all have one."""
    end = time.monotonic() + seconds
    while sender.pending() and time.monotonic() < end:
        sender.pump(0.05)


def logged(folder: Path) -> list[str]:
    """The identities of the contacts in the log, in its order."""
    with contextlib.closing(sqlite3.connect(f"file:{folder / DATABASE}?mode=ro", uri=True)) as db:
        rows = db.execute("SELECT body FROM contact ORDER BY id").fetchall()
    return [json.loads(body)["source_id"] for (body,) in rows]


def test_a_flood_sheds_hearings_and_counts_them_but_never_a_contact(tmp_path: Path) -> None:
    (tmp_path / "one-session.toml").write_text("[watch]\nsession_gap_h = 48", encoding="utf-8")
    with serving(tmp_path / "data", "--config", str(tmp_path / "one-session.toml")) as daemon:
        sender = Sender("shack", ("127.0.0.1", daemon.port))
        flood = [sys.executable, "-m", "tests.benchmarks.flood", "send", str(daemon.port), str(FLOOD), "400000", "20"]
        course_ms = (int(time.time()) - 86_400) // 30 * 30_000
        with subprocess.Popen([*flood, str(course_ms), "1"], stdout=subprocess.PIPE) as flooding:
            sent: list[str] = []
            while flooding.poll() is None:
                sent.append(log_contact(sender, len(sent)))
                sender.pump(0.1)
        wait_for_receipts(sender, 60)
        assert not sender.close()
        assert daemon.covered(band.SOURCE, band.RUN, 1, 20)
        intake = daemon.ask("/api/status")["intake"]
        source = daemon.ask("/api/status")["sources"][band.SOURCE]
    assert source["accepted"] + source["lost"] <= 400_000  # the last ones may be missing without a trace
    assert source["shed"] + source["lost"] + intake["kernel_drops"] > 0, "that was no flood"
    assert logged(tmp_path / "data") == sent


def test_kills_in_a_row_lose_and_double_no_acknowledged_contact(tmp_path: Path) -> None:
    folder, port, dice = tmp_path / "data", free_port(), random.Random(5)
    folder.mkdir()
    sender = Sender("shack", ("127.0.0.1", port))
    sent: list[str] = []
    for _ in range(8):
        process = start(folder, port)
        end = time.monotonic() + 2 + dice.random()
        while time.monotonic() < end:
            sent.append(log_contact(sender, len(sent)))
            sender.pump(0.02)
        process.send_signal(signal.SIGKILL)
        process.wait()
    process = start(folder, port)
    sent.append(log_contact(sender, len(sent)))  # its receipt tells that this last one is up
    wait_for_receipts(sender, 90)
    process.send_signal(signal.SIGTERM)
    code = process.wait(30)
    assert not sender.close()
    assert code == 0
    assert sorted(logged(folder)) == sorted(sent)


def test_a_second_watch_on_the_port_says_so_and_leaves_the_first_alone(tmp_path: Path) -> None:
    with serving(tmp_path / "one") as daemon:
        other = tmp_path / "two"
        other.mkdir()
        process = start(other, daemon.port)
        assert process.wait(30) == Exit.HELD
        assert f"UDP port {daemon.port}" in (other / "serve.log").read_text(encoding="utf-8")
        assert daemon.ask("/api/status")["intake"]["received"] == 0


@contextlib.contextmanager
def listeners(daemon: Daemon, count: int) -> Iterator[None]:
    """So many clients that ask for events and never read an answer."""
    with contextlib.ExitStack() as stack:
        for _ in range(count):
            sock = stack.enter_context(socket.socket(socket.AF_UNIX, socket.SOCK_STREAM))
            with unix_address(daemon.folder / "watch.sock") as address:
                sock.connect(address)
            sock.send(b"GET /api/events HTTP/1.1\r\nHost: watch\r\n\r\n")
        yield


def test_a_thousand_listeners_that_never_read_hold_nothing_up(tmp_path: Path) -> None:
    with serving(tmp_path / "data") as daemon:
        course = Course()
        course.send(daemon.port, 2_000, 2_020)
        with listeners(daemon, 1_000):
            course.send(daemon.port, 2_000, 10_100)
            before_mb = daemon.resident_mb()
            course.send(daemon.port, 2_000, 40_400)
            begun = time.monotonic()
            assert daemon.covered(band.SOURCE, band.RUN, course.last_seq, 30)
            assert time.monotonic() - begun < 30
            assert daemon.resident_mb() - before_mb < 64
        assert daemon.ask("/api/status")["intake"]["lost"] == 0


def test_a_day_at_contest_load_is_kept_whole_in_bounded_memory(tmp_path: Path) -> None:
    with serving(tmp_path / "data") as daemon:
        course = Course()
        sizes_mb = []
        for _ in range(24):
            course.send(daemon.port, 6_000, 240 * (band.HEARD + 1), 20)
            assert daemon.covered(band.SOURCE, band.RUN, course.last_seq, 60)
            sizes_mb.append(daemon.resident_mb())
        intake = daemon.ask("/api/status")["intake"]
        assert all(plugin["state"] == "running" for plugin in daemon.ask("/api/status")["plugins"])
    assert (intake["lost"], intake["shed"]) == (0, 0)
    assert intake["accepted"] == course.last_seq
    assert sizes_mb[-1] < 1.1 * sizes_mb[2], sizes_mb


@pytest.mark.parametrize("step_s", [3_600, -3_600, 30, -30, 86_400, 1])
def test_a_clock_that_jumps_stops_nothing_and_never_runs_the_event_clock_back(step_s: int) -> None:
    bench = Bench(Lookout, Openings, Worked)
    bench.start_ms = events.to_ms(datetime(2026, 12, 31, 23, 58, tzinfo=UTC))  # over midnight and the year's end
    last_ms = 0
    for number in range(24):
        bench.period(f"CQ W{number % 10}QSB FN42", f"DL5QRM JA{number % 10}QRV -12")
        if number == 11:
            bench.start_ms += step_s * 1000
        assert bench.watch.now_ms >= last_ms
        last_ms = bench.watch.now_ms
    assert bench.views()
    assert all(status.errors == 0 for status in bench.host.status())


def test_a_leap_second_is_refused_by_name_and_its_neighbours_are_taken() -> None:
    text = b'{"v":1,"kind":"farewell","source":"s","at":"2016-12-31T23:59:%sZ"}'
    assert [decode(text % second).refusals for second in (b"59", b"59.999")] == [(), ()]
    [refusal] = decode(text % b"60").refusals
    assert refusal.reason is Reason.BAD_VALUE
    assert refusal.where == "at"
