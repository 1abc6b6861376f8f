"""Faults by the command line and the scenario file."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.rehearsal import faults
from watchkeeper.rehearsal.faults import Timeline, WireFaults
from watchkeeper.rehearsal.scenario import Fault
from watchkeeper.rehearsal.wire import FaultyWire

_HERE = ("127.0.0.1", 9)


def test_wire_alone_means_a_tenth_lost_doubled_and_reordered() -> None:
    assert faults.parse("wire") == (WireFaults(loss=0.1, double=0.1, reorder=0.1), ())


def test_parts_are_joined_by_commas() -> None:
    wire, timeline = faults.parse("loss=0.2, corrupt=0.05,clock=3@600-1200,swr")
    assert wire == WireFaults(loss=0.2, corrupt=0.05)
    assert timeline == (
        Fault(kind="clock", from_s=600, to_s=1200, value=3.0),
        Fault(kind="swr", value=faults.USUAL["swr"]),
    )


@pytest.mark.parametrize("spec", [None, "", " , "])
def test_no_faults(spec: str | None) -> None:
    wire, timeline = faults.parse(spec)
    assert not wire.any
    assert timeline == ()


@pytest.mark.parametrize(
    ("spec", "word"),
    [("los=0.1", "los"), ("loss=2", "share"), ("clock=", "clock="), ("loss=1.2.3", "number"), ("lossy=2", "between")],
)
def test_what_is_wrong_is_said(spec: str, word: str) -> None:
    with pytest.raises(ValueError, match=word):
        faults.parse(spec)


@given(st.text(max_size=40))
def test_any_text_is_read_or_refused_with_a_sentence(spec: str) -> None:
    try:
        faults.parse(spec)
    except ValueError as error:
        assert str(error)  # noqa: PT017 - the sentence is the outcome under test


def test_a_timeline_says_what_is_there_and_since_when() -> None:
    timeline = Timeline([Fault(kind="deaf", from_s=10, to_s=20, value=30)], 1_000_000)
    assert timeline.value("deaf", 1_009_999, 0.0) == 0.0
    assert timeline.value("deaf", 1_010_000, 0.0) == 30.0
    assert timeline.value("deaf", 1_020_000, 0.0) == 0.0
    found = timeline.active("deaf", 1_015_000)
    assert found is not None
    assert timeline.age_s(found, 1_015_000) == 5.0


def through(wire: WireFaults, count: int = 2000, seed: int = 5) -> tuple[list[bytes], FaultyWire]:
    arrived: list[bytes] = []
    way = FaultyWire(seed, wire)
    send = way.wrap(lambda body, _address: arrived.append(body))
    for number in range(count):
        send(b'{"number":%d}' % number, _HERE)
    way.flush()
    return arrived, way


def test_a_sound_wire_changes_nothing() -> None:
    arrived, way = through(WireFaults())
    assert arrived == [b'{"number":%d}' % number for number in range(2000)]
    assert way.counts["sent"] == 2000


def test_shares_are_as_asked_for() -> None:
    arrived, way = through(WireFaults(loss=0.1, double=0.1, reorder=0.1))
    assert 140 < way.counts["lost"] < 260
    assert 120 < way.counts["doubled"] < 220
    assert 120 < way.counts["reordered"] < 260
    assert way.counts["sent"] == 2000
    assert len(arrived) == way.counts["passed"] == 2000 - way.counts["lost"] + way.counts["doubled"]
    numbers = [int(body[10:-1]) for body in arrived]
    assert numbers != sorted(numbers)


def test_the_fate_of_a_datagram_is_the_same_under_the_same_seed() -> None:
    faulty = WireFaults(loss=0.2, double=0.1, reorder=0.1, corrupt=0.1)
    assert through(faulty)[0] == through(faulty)[0]
    assert through(faulty)[0] != through(faulty, seed=6)[0]


def test_a_repeat_is_not_lost_for_ever() -> None:
    arrived: list[bytes] = []
    send = FaultyWire(1, WireFaults(loss=0.5)).wrap(lambda body, _address: arrived.append(body))
    for _ in range(64):
        send(b"the same", _HERE)
    assert 0 < len(arrived) < 64


def test_oversized_and_unknown_ones_come_on_top() -> None:
    arrived, way = through(WireFaults(oversize=0.05, unknown=0.05))
    assert sum(len(body) > 8192 for body in arrived) == way.counts["oversized"] > 50
    assert sum(b'"weather"' in body for body in arrived) == way.counts["unknown"] > 50


def test_a_lossy_source_loses_before_the_wire() -> None:
    arrived: list[bytes] = []
    way = FaultyWire(1, WireFaults())
    send = way.wrap(lambda body, _address: arrived.append(body))
    way.lossy = 0.25
    for number in range(1000):
        send(b"%d" % number, _HERE)
    assert 680 < len(arrived) < 820
