"""A whole rehearsal over a real socket: valid events, contacts with receipts, the same under the same seed."""

from __future__ import annotations

import hashlib
import json
import socket
import subprocess
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from threading import Condition, Thread
from typing import Any

import msgspec
import pytest

from watchkeeper.rehearsal import scenario
from watchkeeper.rehearsal.__main__ import main
from watchkeeper.rehearsal.faults import WIRE, WireFaults
from watchkeeper.rehearsal.operating import Policy
from watchkeeper.rehearsal.play import Order, Session
from watchkeeper.schema import events

_START_MS = 1_742_059_800_000  # 2025-03-15 17:30 UTC


@dataclass
class Sink:
    """Takes datagrams as a watch does and gives receipts for contacts."""

    address: tuple[str, int]
    bodies: list[bytes] = field(default_factory=list)
    arrived: Condition = field(default_factory=Condition)

    def events(self) -> Iterator[events.AnyEvent]:
        for body in self.bodies:
            found = msgspec.json.decode(body)
            for one in found if isinstance(found, list) else [found]:
                yield msgspec.convert(one, events.AnyEvent)

    def digest(self) -> str:
        return hashlib.sha256(b"\n".join(self.bodies)).hexdigest()


@pytest.fixture
def sink() -> Iterator[Callable[[], Sink]]:
    stopped: list[tuple[socket.socket, Thread]] = []

    def make() -> Sink:
        taker = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        taker.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 22)
        taker.bind(("127.0.0.1", 0))
        found = Sink(taker.getsockname())
        thread = Thread(target=_serve, args=(taker, found), daemon=True)
        thread.start()
        stopped.append((taker, thread))
        return found

    yield make
    for taker, thread in stopped:
        with closing(socket.socket(socket.AF_INET, socket.SOCK_DGRAM)) as last:
            last.sendto(b"", taker.getsockname())
        thread.join()
        taker.close()


def _serve(taker: socket.socket, sink: Sink) -> None:
    while True:
        body, sender = taker.recvfrom(65536)
        if not body:
            return
        with sink.arrived:
            sink.bodies.append(body)
            sink.arrived.notify()
        if b'"ack":true' in body and body.endswith(b"}"):
            event = msgspec.json.decode(body)
            receipt = {"v": 1, "kind": "receipt", "source": event["source"], "of": event["id"], "status": "stored"}
            taker.sendto(json.dumps(receipt).encode(), sender)


def play(to: Sink, truth: Path | None = None, **changes: Any) -> dict[str, Any]:
    """Play a short evening into a sink and wait until its last event has arrived."""
    name = changes.pop("name", "evening-20m")
    order = {
        "scenario": scenario.load(name), "name": name, "seed": 7, "periods": 24, "pace": None, "to": to.address,
        "start_ms": _START_MS, "truth": truth,
    } | changes  # fmt: skip
    return Session(Order(**order)).play()


def settled(sink: Sink, figures: dict[str, Any]) -> Sink:
    """Wait until all datagrams that the wire let through are there."""
    with sink.arrived:
        assert sink.arrived.wait_for(lambda: len(sink.bodies) >= figures["datagrams_passed"], timeout=10)
    return sink


def test_every_event_is_of_the_schema_and_numbered(sink: Callable[[], Sink]) -> None:
    to = sink()
    figures = play(to)
    found = list(settled(to, figures).events())
    assert [event.seq for event in found] == list(range(1, figures["events_sent"] + 1))
    assert {event.kind for event in found} >= {"station", "tuning", "heard", "period", "sent", "gauge", "contact"}
    assert found[-1].kind == "farewell"
    assert len({event.run for event in found}) == 1


def test_contacts_are_made_and_their_receipts_come(sink: Callable[[], Sink]) -> None:
    to = sink()
    figures = play(to)
    contacts = [event for event in settled(to, figures).events() if isinstance(event, events.Contact)]
    assert figures["contacts_made"] == len(contacts) == figures["receipts"] >= 1
    assert figures["receipts_missing"] == 0
    for contact in contacts:
        assert contact.ack
        assert contact.report_sent is not None
        assert contact.report_received is not None
        assert contact.started_at < contact.ended_at
        assert contact.call[-3:][0] == "Q"


def test_the_same_seed_gives_the_same_bytes_at_any_pace(sink: Callable[[], Sink], tmp_path: Path) -> None:
    first, second, third = sink(), sink(), sink()
    truths = [tmp_path / name for name in ("a.json", "b.json", "c.json")]
    settled(first, play(first, truths[0]))
    settled(second, play(second, truths[1], pace=3000.0))
    settled(third, play(third, truths[2], seed=8))
    assert first.digest() == second.digest() != third.digest()
    assert truths[0].read_bytes() == truths[1].read_bytes() != truths[2].read_bytes()


@pytest.mark.parametrize("hash_seed", ["1", "2"])
def test_the_command_gives_the_same_under_any_hash_seed(sink: Callable[[], Sink], hash_seed: str) -> None:
    to, reference = sink(), sink()
    command = [
        sys.executable, "-m", "watchkeeper.rehearsal", "--periods", "8", "--seed", "7", "--to",
        f"127.0.0.1:{to.address[1]}",
    ]  # fmt: skip
    done = subprocess.run(command, env={"PYTHONHASHSEED": hash_seed}, capture_output=True, check=True, timeout=60)
    figures = json.loads(done.stdout.splitlines()[-1])
    start_ms = events.to_ms(scenario.load("evening-20m").start)
    settled(reference, play(reference, periods=8, start_ms=start_ms))
    assert settled(to, figures).digest() == reference.digest()


def test_the_truth_tells_what_happened(sink: Callable[[], Sink], tmp_path: Path) -> None:
    to, path = sink(), tmp_path / "truth.json"
    figures = play(to, path)
    truth = json.loads(path.read_text(encoding="utf-8"))
    assert len(truth["contacts"]) == figures["contacts_made"]
    calls = {station["call"] for station in truth["stations"]}
    assert {contact["call"] for contact in truth["contacts"]} <= calls
    assert {report["by"] for report in truth["reports"]} <= calls
    assert set(truth["reach"]["decoder"]) <= calls
    assert truth["openings"]
    heard = [event.text for event in settled(to, figures).events() if isinstance(event, events.Heard)]
    assert all(phantom["text"] in heard for phantom in truth["phantoms"])


def test_hearings_are_as_untidy_as_the_air(sink: Callable[[], Sink]) -> None:
    """In passes with a marker behind each, some again in a later one, some after the last, none below the floor."""
    to = sink()
    figures = play(to, periods=60)
    found = list(settled(to, figures).events())
    heard = [event for event in found if isinstance(event, events.Heard)]
    markers = [event for event in found if isinstance(event, events.Period)]
    assert {event.pass_ for event in heard} == {1, 2, 3}
    assert min(event.snr_db for event in heard) == -24
    texts = Counter((event.at, event.text) for event in heard)
    assert any(count > 1 for count in texts.values())
    closed: set[object] = set()
    late = 0
    for event in found:
        if isinstance(event, events.Period) and event.final:
            closed.add(event.at)
        elif isinstance(event, events.Heard):
            late += event.at in closed
    assert 0 < late < 0.05 * len(heard)
    silent = [marker for marker in markers if marker.listened_s == 0]
    assert len(silent) == sum(isinstance(event, events.Sent) for event in found)
    assert all(marker.count == 0 and marker.final for marker in silent)


def test_markers_count_what_went_before(sink: Callable[[], Sink]) -> None:
    to = sink()
    figures = play(to)
    count: Counter[object] = Counter()
    for event in settled(to, figures).events():
        if isinstance(event, events.Heard):
            count[event.at] += 1
        elif isinstance(event, events.Period):
            assert event.count == count[event.at]


def test_reports_of_others_come_minutes_late(sink: Callable[[], Sink]) -> None:
    to = sink()
    figures = play(to, periods=60)
    newest_ms, delays = 0, []
    for event in settled(to, figures).events():
        if isinstance(event, events.Heard):
            newest_ms = max(newest_ms, event.at_ms)
        elif isinstance(event, events.Reception):
            delays.append(newest_ms - event.at_ms)
            assert event.call == "DL5QRM"
    assert delays
    assert min(delays) >= 30_000


def test_contacts_come_through_a_bad_wire(sink: Callable[[], Sink]) -> None:
    to = sink()
    figures = play(to, wire=WIRE)
    assert figures["receipts_missing"] == 0
    assert figures["contacts_made"] == figures["receipts"] >= 1
    assert figures["wire"]["lost"] > 0
    assert figures["wire"]["doubled"] > 0
    assert figures["wire"]["reordered"] > 0


def test_spoilt_datagrams_are_never_valid_events(sink: Callable[[], Sink]) -> None:
    to = sink()
    figures = play(to, wire=WireFaults(corrupt=0.2), periods=8)
    broken = 0
    for body in settled(to, figures).bodies:
        try:
            msgspec.json.decode(body, type=events.AnyEvent)
        except (msgspec.DecodeError, UnicodeDecodeError):
            broken += 1
    assert broken == figures["wire"]["corrupted"] > 0


def test_a_clock_three_seconds_off_silences_the_band(sink: Callable[[], Sink]) -> None:
    healthy, off = sink(), sink()
    found = scenario.load("evening-20m")
    faulty = msgspec.structs.replace(found, fault=(scenario.Fault(kind="clock", value=3.0),))
    assert play(off, scenario=faulty)["heard"] < 0.05 * play(healthy)["heard"]


def test_a_narrow_passband_hides_most_of_the_band(sink: Callable[[], Sink]) -> None:
    to = sink()
    found = scenario.load("evening-20m")
    faulty = msgspec.structs.replace(found, fault=(scenario.Fault(kind="passband", value=500.0),))
    figures = play(to, scenario=faulty)
    heard = [event.offset_hz for event in settled(to, figures).events() if isinstance(event, events.Heard)]
    inside = sum(1245 <= offset <= 1755 for offset in heard)
    assert inside > 0.9 * len(heard)


def test_interference_fills_a_stretch_in_which_nothing_decodes(sink: Callable[[], Sink]) -> None:
    to = sink()
    found = scenario.load("evening-20m")
    faulty = msgspec.structs.replace(found, fault=(scenario.Fault(kind="interference", value=6.0),))
    figures = play(to, scenario=faulty)
    all_events = list(settled(to, figures).events())
    jammed = [event for event in all_events if isinstance(event, events.Heard) and 1190 < event.offset_hz < 1290]
    finals = [event for event in all_events if isinstance(event, events.Period) and event.final and event.count]
    heard = [event for event in all_events if isinstance(event, events.Heard)]
    assert len(jammed) < 0.3 * len(heard) * 100 / 2500  # only what is louder than the noise comes through
    assert all(marker.occupied is not None and (1180.0, 1300.0) in marker.occupied for marker in finals)


def test_a_slow_clock_shows_in_every_hearing(sink: Callable[[], Sink]) -> None:
    to = sink()
    found = scenario.load("evening-20m")
    faulty = msgspec.structs.replace(found, fault=(scenario.Fault(kind="clock", value=1.8),))
    figures = play(to, scenario=faulty)
    late = sorted(event.late_s or 0.0 for event in settled(to, figures).events() if isinstance(event, events.Heard))
    assert 1.7 < late[len(late) // 2] < 2.3


def test_a_club_feeds_from_four_sources(sink: Callable[[], Sink]) -> None:
    to = sink()
    figures = play(to, name="club", periods=4)
    found = list(settled(to, figures).events())
    assert len({event.source for event in found}) == 4
    assert {event.receiver for event in found if isinstance(event, events.Heard)} == {None, "beam", "loop"}
    assert {event.mode for event in found if isinstance(event, events.Heard)} == {"FT8", "FT4"}
    assert len(to.bodies) < len(found)  # one source packs its events


def test_a_park_hour_has_two_callers_at_once_and_a_band_change(sink: Callable[[], Sink], tmp_path: Path) -> None:
    to, path = sink(), tmp_path / "truth.json"
    figures = play(to, path, name="park-activation", periods=160)
    found = list(settled(to, figures).events())
    assert {event.dial_hz for event in found if isinstance(event, events.Heard)} == {14_074_000, 7_074_000}
    assert not any(isinstance(event, events.Reception) for event in found)
    truth = json.loads(path.read_text(encoding="utf-8"))
    at_once = Counter(caller["at"] for caller in truth["callers"])
    assert max(at_once.values()) >= 2
    assert figures["contacts_made"] >= 5


@pytest.mark.parametrize("policy", [Policy.RANDOM, Policy.ADVICE])
def test_an_operator_without_advice_still_works_somebody(sink: Callable[[], Sink], policy: Policy) -> None:
    to = sink()
    assert play(to, policy=policy, periods=80)["contacts_made"] >= 1


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (["--scenario", "nowhere"], "nowhere"),
        (["--pace", "-1"], "pace"),
        (["--to", "here"], "HOST:PORT"),
        (["--faults", "fire"], "fire"),
        (["--start", "now"], "future"),
        (["--start", "2025-01-01T00:00:00"], "time zone"),
        (["--periods", "0"], "periods"),
        (["--evening", "0"], "--evening 0: the first is 1"),
        (["--evening", "-3"], "--evening -3: the first is 1"),
    ],
)
def test_what_is_asked_wrongly_is_said(arguments: list[str], word: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(arguments) == 2
    assert word in capsys.readouterr().err
