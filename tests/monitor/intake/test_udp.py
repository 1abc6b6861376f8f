"""The UDP intake on real loopback sockets."""

from __future__ import annotations

import asyncio
import json
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from watchkeeper.intake.arrival import Arrival, Peer
from watchkeeper.intake.queue import IntakeQueue
from watchkeeper.intake.seal import Seal
from watchkeeper.intake.udp import BATCH, MAX_AHEAD_MS, IntakeError, UdpIntake
from watchkeeper.schema.events import Receipt, stamp
from watchkeeper.schema.wire import Decoded

NOW = 1_777_636_815_000
KEY = b"a key of the bench, 32 bytes ..."
FAREWELL: dict[str, Any] = {"v": 1, "kind": "farewell", "source": "bench", "at": stamp(NOW)}


class Bench:
    """An intake with its queue, and a sender's bare socket."""

    def __init__(self, seal: Seal | None = None) -> None:
        self.queue = IntakeQueue()
        self.seen: list[Decoded] = []
        self._more = asyncio.Event()
        self.intake = UdpIntake(
            asyncio.get_running_loop(),
            "127.0.0.1",
            0,
            self.queue.put_many,
            lambda: NOW,
            seal,
            watcher=self._watch,
        )
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.socket.bind(("127.0.0.1", 0))
        self.socket.settimeout(2)

    def _watch(self, peer: Peer, datagram: bytes, decoded: Decoded) -> None:
        assert peer == self.socket.getsockname()
        self.seen.append(decoded)
        self._more.set()

    async def look(self, count: int) -> list[Decoded]:
        """What became of the datagrams, once ``count`` have been seen."""
        while len(self.seen) < count:
            self._more.clear()
            await asyncio.wait_for(self._more.wait(), 2)
        return self.seen

    def put(self, *values: Any) -> None:
        for value in values:
            body = value if isinstance(value, bytes) else json.dumps(value).encode()
            self.socket.sendto(body, self.intake.address)

    async def batch(self) -> list[Arrival]:
        return await asyncio.wait_for(self.queue.get_batch(100_000), 2)


@contextmanager
def standing(seal: Seal | None = None) -> Iterator[Bench]:
    bench = Bench(seal)
    bench.intake.start()
    try:
        yield bench
    finally:
        bench.intake.stop()
        bench.socket.close()


async def test_events_arrive_with_peer_and_time() -> None:
    with standing() as bench:
        bench.put(FAREWELL)
        (arrival,) = await bench.batch()
        assert arrival.event.source == "bench"
        assert arrival.peer == bench.socket.getsockname()
        assert arrival.arrived_ms == NOW


async def test_what_came_before_start_is_not_lost() -> None:
    bench = Bench()
    bench.put(FAREWELL)
    bench.intake.start()
    assert len(await bench.batch()) == 1
    bench.intake.stop()
    bench.socket.close()


async def test_stop_delivers_what_the_kernel_holds_and_may_come_twice() -> None:
    bench = Bench()
    bench.intake.start()
    bench.put(*[FAREWELL] * (BATCH + 3))
    bench.intake.stop()
    bench.intake.stop()
    assert len(await bench.batch()) == BATCH + 3
    bench.socket.close()


async def test_a_flood_is_taken_in_batches_that_leave_the_loop_a_turn() -> None:
    with standing() as bench:
        bench.put(*[FAREWELL] * (2 * BATCH))
        assert len(await bench.batch()) == BATCH
        assert len(await bench.batch()) == BATCH


async def test_noise_is_counted_and_never_raises() -> None:
    with standing() as bench:
        bench.put(b"", b"\xff", b"{", [FAREWELL, 3], {**FAREWELL, "kind": "smelt"}, FAREWELL)
        await bench.look(6)
        totals = bench.intake.counters.as_dict()
        assert (totals["datagrams"], totals["refused_datagrams"], totals["accepted"]) == (6, 4, 2)
        assert {reason for reason, count in totals["rejected"].items() if count} == {
            "not_utf8",
            "not_json",
            "not_object",
            "unknown_kind",
        }


async def test_what_lies_ahead_of_the_clock_is_refused() -> None:
    with standing() as bench:
        on_time = {**FAREWELL, "at": stamp(NOW + MAX_AHEAD_MS)}
        bench.put([{**FAREWELL, "at": stamp(NOW + MAX_AHEAD_MS + 1)}, on_time])
        (arrival,) = await bench.batch()
        assert arrival.event.at_ms == NOW + MAX_AHEAD_MS
        (decoded,) = await bench.look(1)
        assert [refusal.reason for refusal in decoded.refusals] == ["ahead"]


async def test_receipts_find_their_sender() -> None:
    with standing() as bench:
        bench.put(FAREWELL)
        (arrival,) = await bench.batch()
        bench.intake.send_receipt(arrival.peer, Receipt(v=1, source="bench", of="1", status="stored"))
        bench.intake.send_receipt(None, Receipt(v=1, source="bench", of="1", status="stored"))
        assert json.loads(bench.socket.recv(500)) == {
            "v": 1,
            "kind": "receipt",
            "source": "bench",
            "of": "1",
            "status": "stored",
        }


async def test_a_refused_event_that_asked_is_answered() -> None:
    with standing() as bench:
        bench.put({**FAREWELL, "id": "x1", "ack": True, "v": 9})
        await bench.look(1)
        answer = json.loads(bench.socket.recv(500))
        assert (answer["of"], answer["status"]) == ("x1", "refused")
        assert "version 9" in answer["why"]


async def test_who_is_ahead_is_not_told_so_that_its_repeat_comes() -> None:
    with standing() as bench:
        bench.put(
            {**FAREWELL, "id": "x1", "ack": True, "at": stamp(NOW + 61_000)},
            {**FAREWELL, "id": "x2", "ack": True, "v": 9},
        )
        await bench.look(2)
        assert json.loads(bench.socket.recv(500))["of"] == "x2"


async def test_a_multicast_group_is_joined() -> None:
    queue = IntakeQueue()
    # RFC 2365, 6.1: 239.255/16 is of local scope
    intake = UdpIntake(asyncio.get_running_loop(), "239.255.41.81", 0, queue.put_many, lambda: NOW, Seal(KEY))
    intake.start()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        sender.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton("127.0.0.1"))
        sender.sendto(Seal(KEY).close(json.dumps(FAREWELL).encode(), NOW), intake.address)
        (arrival,) = await asyncio.wait_for(queue.get_batch(), 2)
        sender.settimeout(2)
        intake.send_receipt(arrival.peer, Receipt(v=1, source="bench", of="1", status="stored"))
        assert json.loads(Seal(KEY).open(sender.recv(500), NOW))["of"] == "1"
    intake.stop()


async def test_sealed_both_ways() -> None:
    mine = Seal(KEY)
    with standing(Seal(KEY)) as bench:
        sealed = mine.close(json.dumps(FAREWELL).encode(), NOW)
        bench.put(FAREWELL, sealed, sealed)
        (arrival,) = await bench.batch()
        await bench.look(3)
        rejected = bench.intake.counters.as_dict()["rejected"]
        assert (rejected["unsealed"], rejected["seal_repeated"]) == (1, 1)
        bench.intake.send_receipt(arrival.peer, Receipt(v=1, source="bench", of="1", status="stored"))
        assert json.loads(mine.open(bench.socket.recv(500), NOW))["status"] == "stored"


async def test_where_there_is_no_key_a_sealed_datagram_is_refused_for_that() -> None:
    with standing() as bench:
        bench.put(Seal(KEY).close(json.dumps(FAREWELL).encode(), NOW))
        ((refusal,),) = [decoded.refusals for decoded in await bench.look(1)]
        assert (refusal.reason, "no key" in refusal.why) == ("bad_seal", True)


async def test_two_watches_on_one_port_is_one_clear_error() -> None:
    with standing() as bench:
        address, port = bench.intake.address
        loop = asyncio.get_running_loop()
        with pytest.raises(IntakeError, match=f"UDP port {port} on {address} is taken: another watch may be standing"):
            UdpIntake(loop, address, port, bench.queue.put_many, lambda: NOW)


@pytest.mark.parametrize("address", ["0.0.0.0", "192.0.2.1", "::"])
async def test_an_address_that_others_reach_needs_a_key(address: str) -> None:
    with pytest.raises(IntakeError, match=f"{address} can be reached by others"):
        UdpIntake(asyncio.get_running_loop(), address, 0, lambda arrivals: None, lambda: NOW)


async def test_other_addresses_that_cannot_work_are_named() -> None:
    loop = asyncio.get_running_loop()
    with pytest.raises(IntakeError, match="'here' is not an IP address"):
        UdpIntake(loop, "here", 0, lambda arrivals: None, lambda: NOW)
    with pytest.raises(IntakeError, match="ff18::1: of multicast groups only those of IPv4"):
        UdpIntake(loop, "ff18::1", 0, lambda arrivals: None, lambda: NOW, Seal(KEY))
    with pytest.raises(IntakeError, match=r"cannot listen on UDP port 0 of 192\.0\.2\.1"):  # RFC 5737: nobody's
        UdpIntake(loop, "192.0.2.1", 0, lambda arrivals: None, lambda: NOW, Seal(KEY))


async def test_what_the_kernel_dropped_is_known() -> None:
    # Linux counts in /proc/net/udp; the loop does not turn while we flood, so the buffer must overflow
    bench = Bench()
    bench.intake.start()
    assert bench.intake.kernel_drops() == 0
    big = b" " * 8000
    for _ in range(2 * bench.intake.buffer_bytes // 4000):
        bench.put(big)
    dropped = bench.intake.kernel_drops()
    bench.intake.stop()
    bench.socket.close()
    assert dropped > 0
    assert dropped + bench.intake.counters.datagrams == 2 * bench.intake.buffer_bytes // 4000


async def test_a_small_buffer_is_a_warning() -> None:
    with standing() as bench:
        assert (bench.intake.warning is None) == (bench.intake.buffer_bytes >= 4 * 1024 * 1024)
        bench.intake.buffer_bytes = 208 * 1024
        assert "208 KiB instead of 4096 KiB" in str(bench.intake.warning)


async def test_what_the_network_doubled_goes_no_further() -> None:
    with standing() as bench:
        numbered = {**FAREWELL, "run": "r", "seq": 5}
        bench.intake.start()
        bench.put(numbered, numbered, {**numbered, "seq": 6})
        await bench.look(3)
        assert [arrival.event.seq for arrival in await bench.queue.get_batch()] == [5, 6]
        assert bench.intake.counters.of("bench").doubled == 1


async def test_a_sender_without_runs_may_count_anew() -> None:
    with standing() as bench:
        numbered = {**FAREWELL, "seq": 5}
        bench.intake.start()
        bench.put(numbered, numbered)
        await bench.look(2)
        assert len(await bench.queue.get_batch()) == 2


async def test_a_repeat_is_answered_again_and_a_contact_goes_on_to_the_log() -> None:
    with standing() as bench:
        asking = {**FAREWELL, "run": "r", "seq": 5, "id": "f-1", "ack": True}
        at = FAREWELL["at"]
        contact = {
            **asking, "kind": "contact", "seq": 6, "id": "c-1", "call": "W1QSB", "started_at": at, "ended_at": at,
            "dial_hz": 14_074_000, "mode": "FT8",
        }  # fmt: skip
        bench.intake.start()
        bench.put(asking, asking, contact, contact)
        await bench.look(4)
        kinds = [type(arrival.event).__name__ for arrival in await bench.queue.get_batch()]
        assert kinds == ["Farewell", "Contact", "Contact"]
        assert json.loads(bench.socket.recv(8192)) == {
            "kind": "receipt", "v": 1, "source": "bench", "of": "f-1", "status": "repeated"
        }  # fmt: skip
