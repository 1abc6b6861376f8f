"""The one-file sender against real sockets and an injected clock."""

from __future__ import annotations

import ast
import json
import math
import socket
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.schema.wire import DEFAULT_PORT, decode
from watchkeeper.sender import DEFAULT_ADDRESS, Sender, send

KEY = b"a key of the bench, 32 bytes ..."
CONTACT: dict[str, Any] = {
    "call": "JA1QRV",
    "started_at": datetime(2026, 5, 1, 12, 0, tzinfo=UTC),
    "ended_at": "2026-05-01T12:01:30Z",
    "dial_hz": 14_074_000,
    "mode": "FT8",
}


class Watch:
    """The other side: a bare socket that hears and, when told, answers."""

    def __init__(self) -> None:
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.socket.bind(("127.0.0.1", 0))
        self.socket.setblocking(False)
        self.peer: Any = None
        self.now = 1000.0

    @property
    def address(self) -> tuple[str, int]:
        host, port = self.socket.getsockname()
        return host, port

    def datagrams(self) -> list[bytes]:
        """All that has come; loopback delivers within the sender's own call."""
        found: list[bytes] = []
        while True:
            try:
                datagram, self.peer = self.socket.recvfrom(10_000)
            except BlockingIOError:
                return found
            found.append(datagram)

    def events(self) -> list[dict[str, Any]]:
        events: list[dict[str, Any]] = []
        for datagram in self.datagrams():
            value = json.loads(datagram)
            events += value if isinstance(value, list) else [value]
        return events

    def answer(self, source: str, of: str, status: str = "stored") -> None:
        receipt = {"v": 1, "kind": "receipt", "source": source, "of": of, "status": status}
        self.socket.sendto(json.dumps(receipt).encode(), self.peer)

    def sender(self, **options: Any) -> Sender:
        return Sender("bench", self.address, elapsed=lambda: self.now, clock=lambda: 1_777_636_815.25, **options)


@pytest.fixture
def watch() -> Iterator[Watch]:
    watch = Watch()
    yield watch
    watch.socket.close()


def test_it_sends_to_the_default_port_of_the_watch() -> None:
    assert DEFAULT_ADDRESS == ("127.0.0.1", DEFAULT_PORT)


def test_events_are_numbered_within_their_run_and_valid(watch: Watch) -> None:
    sender = watch.sender(receiver="rx1")
    sender.send("heard", mode="FT8", dial_hz=14_074_000, offset_hz=1, snr_db=-3, text="CQ DL5QRM", late_s=None)
    sender.send("gauge", at=datetime(2026, 5, 1, 12, 0, 15, 4000, tzinfo=UTC), swr=1.5)
    sender.send("farewell", at=0.0)
    sender.close()
    first, second, third = watch.datagrams()
    (heard,), (gauge,) = decode(first).events, decode(second).events
    assert (heard.seq, heard.run, heard.receiver) == (1, sender.run, "rx1")
    assert json.loads(first)["at"] == "2026-05-01T12:00:15.250Z"
    assert b"late_s" not in first
    assert (gauge.seq, json.loads(second)["at"]) == (2, "2026-05-01T12:00:15.004Z")
    assert json.loads(third)["at"] == "1970-01-01T00:00:00.000Z"


def test_a_contact_is_repeated_with_growing_pauses_until_its_receipt(watch: Watch) -> None:
    sender = watch.sender()
    event = sender.send("contact", **CONTACT)
    assert event["started_at"] == "2026-05-01T12:00:00.000Z"
    (first,) = watch.datagrams()
    heard_at = []
    for _ in range(300):
        watch.now += 0.25
        sender.pump()
        copies = watch.datagrams()
        assert copies in ([], [first])
        if copies:
            heard_at.append(watch.now - 1000.0)
    assert heard_at == [0.5, 1.5, 3.5, 7.5, 15.5, 30.5, 60.5]
    assert sender.pending() == [event["id"]]
    watch.answer("someone-else", event["id"])
    watch.answer("bench", "another")
    assert sender.pump() == []
    watch.answer("bench", event["id"], "repeated")
    assert [receipt["status"] for receipt in sender.pump()] == ["repeated"]
    assert sender.pending() == []
    watch.now += 1000
    sender.pump()
    assert watch.datagrams() == []
    sender.close()


def test_sending_something_else_pumps_as_well(watch: Watch) -> None:
    sender = watch.sender()
    sender.send("contact", id="mine", **CONTACT)
    watch.now += 1
    sender.send("farewell")
    assert [event["kind"] for event in watch.events()] == ["contact", "farewell", "contact"]
    assert sender.close() == ["mine"]


def test_refusals_are_final_and_kept_for_the_author(watch: Watch) -> None:
    sender = watch.sender()
    sender.send("contact", id="mine", **CONTACT)
    watch.datagrams()
    watch.answer("bench", "mine", "refused")
    sender.pump()
    assert (sender.pending(), sender.receipts[0]["status"]) == ([], "refused")
    sender.close()


@pytest.mark.parametrize("noise", [b"", b"{", b"[]", b"null", b'{"kind":"receipt","source":"bench","of":[]}', b"\xff"])
def test_noise_instead_of_a_receipt_is_passed_over(watch: Watch, noise: bytes) -> None:
    sender = watch.sender()
    sender.send("contact", id="mine", **CONTACT)
    watch.datagrams()
    watch.socket.sendto(noise, watch.peer)
    assert sender.pump() == []
    assert sender.close() == ["mine"]


def test_waiting_ends_with_the_last_receipt(watch: Watch) -> None:
    sender = Sender("bench", watch.address)
    sender.send("contact", id="mine", **CONTACT)
    watch.datagrams()
    watch.answer("bench", "mine")
    assert sender.close(wait=60) == []


def test_nobody_listening_never_troubles_the_decoder() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as closed:
        closed.bind(("127.0.0.1", 0))
        address = closed.getsockname()
    sender = Sender("bench", address)
    for _ in range(5):
        sender.send("contact", **CONTACT)
    assert len(sender.close()) == 5
    sender.send("farewell")
    assert sender.unsent == 1


def test_batches_travel_in_few_datagrams(watch: Watch) -> None:
    sender = watch.sender()
    with sender.batch():
        for number in range(100):
            sender.send("gauge", swr=1 + number / 100)
        assert watch.datagrams() == []
    datagrams = watch.datagrams()
    events = [event for datagram in datagrams for event in decode(datagram).events]
    assert [event.seq for event in events] == list(range(1, 101))
    assert len(datagrams) == 2
    sender.close()


def test_batches_do_not_nest(watch: Watch) -> None:
    sender = watch.sender()
    with sender.batch(), pytest.raises(RuntimeError, match="open already"), sender.batch():
        pass
    sender.close()


@given(st.lists(st.integers(2, 2000).map(lambda size: b"x" * size), max_size=200), st.integers(1200, 8192))
def test_packing_keeps_order_and_limits(bodies: list[bytes], limit: int) -> None:
    joined = []
    for datagram in send.pack(bodies, limit):
        group = datagram[1:-1].split(b",") if datagram.startswith(b"[") else [datagram]
        assert len(group) <= send.MAX_BATCH
        assert len(datagram) <= limit or len(group) == 1
        joined += group
    assert joined == bodies


def test_sealed_repeats_are_sealed_anew(watch: Watch) -> None:
    sender = watch.sender(key=KEY)
    sender.send("contact", id="mine", **CONTACT)
    watch.now += 1
    sender.pump()
    first, second = watch.datagrams()
    assert first != second
    assert send.unseal(first, KEY) == send.unseal(second, KEY)
    receipt = json.dumps({"v": 1, "kind": "receipt", "source": "bench", "of": "mine", "status": "stored"}).encode()
    watch.socket.sendto(receipt, watch.peer)
    assert sender.pump() == []
    watch.socket.sendto(send.seal(receipt, KEY, 0), watch.peer)
    assert len(sender.pump()) == 1
    sender.close()


def test_the_wire_can_be_wrapped(watch: Watch) -> None:
    taken: list[bytes] = []
    sender = watch.sender(wrap=lambda sendto: lambda datagram, address: taken.append(datagram))
    sender.send("farewell")
    assert len(taken) == 1
    assert watch.datagrams() == []
    sender.close()


@pytest.mark.parametrize(
    "fields",
    [{"swr": math.nan}, {"text": "\ud800"}, {"note": "x" * 9000}, {"at": datetime(2026, 5, 1)}],  # noqa: DTZ001
)
def test_what_cannot_travel_is_said_at_once_and_costs_no_number(watch: Watch, fields: dict[str, Any]) -> None:
    sender = watch.sender()
    with pytest.raises(ValueError, match=r"\w"):
        sender.send("gauge", **fields)
    assert sender.seq == 0
    assert sender.send("gauge", swr=1.0)["seq"] == 1
    sender.close()


def test_the_file_stands_alone_and_reads_as_python_3_9() -> None:
    source = Path(send.__file__).read_text()
    tree = ast.parse(source, feature_version=(3, 9))
    imported = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    imported |= {node.module or "." for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    standard = {"__future__", "hashlib", "hmac", "json", "secrets", "select", "socket", "time"}
    assert imported == standard | {"collections", "contextlib", "datetime", "typing"}
