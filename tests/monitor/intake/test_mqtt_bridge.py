"""From a broker to the watch: events pass with their own source and numbers, contacts until they are receipted."""

from __future__ import annotations

import json
import socket
from collections.abc import Iterator
from typing import Any

import pytest

from watchkeeper.intake.mqtt_bridge import MAX_SOURCES, MqttBridge
from watchkeeper.sender import Sender


class Watch:
    """A socket in the watch's place."""

    def __init__(self) -> None:
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.socket.bind(("127.0.0.1", 0))
        self.socket.settimeout(10)
        self.address: tuple[str, int] = self.socket.getsockname()

    def take(self) -> tuple[dict[str, Any], Any]:
        datagram, peer = self.socket.recvfrom(9000)
        return json.loads(datagram), peer


@pytest.fixture
def watch() -> Iterator[Watch]:
    made = Watch()
    yield made
    made.socket.close()


def event(kind: str = "farewell", **fields: Any) -> dict[str, Any]:
    return {"v": 1, "kind": kind, "source": "decoder", "at": "2026-05-01T18:00:00.000Z", **fields}


CONTACT = event(
    "contact",
    id="c-1",
    call="JA1QRV",
    started_at="2026-05-01T17:58:00Z",
    ended_at="2026-05-01T18:00:00Z",
    dial_hz=14_074_000,
    mode="FT8",
)


def test_an_event_keeps_its_source_run_and_number(watch: Watch) -> None:
    bridge = MqttBridge(lambda source: Sender(source, watch.address))
    bridge.take(json.dumps([event(run="r", seq=7), event(run="r", seq=8)]).encode())
    assert [watch.take()[0]["seq"], watch.take()[0]["seq"]] == [7, 8]
    bridge.take(json.dumps(event("gauge", swr=1.5, run="r", seq=9)).encode())
    found, _ = watch.take()
    assert (found["kind"], found["source"], found["run"], found["swr"]) == ("gauge", "decoder", "r", 1.5)
    assert found["at"].startswith("2026-05-01T18:00:00")
    assert bridge.passed == 3
    bridge.close()


def test_a_contact_is_receipted_back_to_the_broker(watch: Watch) -> None:
    bridge = MqttBridge(lambda source: Sender(source, watch.address))
    bridge.take(json.dumps(CONTACT).encode())
    found, peer = watch.take()
    assert (found["id"], found["ack"], bridge.pending()) == ("c-1", True, 1)
    receipt = {"v": 1, "kind": "receipt", "source": "decoder", "of": "c-1", "status": "stored"}
    watch.socket.sendto(json.dumps(receipt).encode(), peer)
    came: list[bytes] = []
    while not came:
        came += bridge.receipts()
    assert [json.loads(one) for one in came] == [receipt]
    assert bridge.pending() == 0
    bridge.close()


@pytest.mark.parametrize("payload", [b"", b"\xff", b"{}", b"[1]", b'{"v":1,"kind":"heard"}', b"x" * 9000])
def test_what_is_no_event_is_counted_and_dropped(watch: Watch, payload: bytes) -> None:
    bridge = MqttBridge(lambda source: Sender(source, watch.address))
    bridge.take(payload)
    assert (bridge.passed, bridge.refused >= 1, bool(bridge.why)) == (0, True, True)


def test_many_sources_make_room_but_not_one_that_waits(watch: Watch) -> None:
    made: list[str] = []

    def sender_of(source: str) -> Sender:
        made.append(source)
        return Sender(source, watch.address)

    bridge = MqttBridge(sender_of)
    bridge.take(json.dumps(CONTACT).encode())
    for number in range(MAX_SOURCES + 5):
        bridge.take(json.dumps({**event(), "source": f"s{number}"}).encode())
    bridge.take(json.dumps(event()).encode())
    assert made.count("decoder") == 1
    bridge.take(json.dumps({**event(), "source": "s0"}).encode())
    assert made.count("s0") == 2
    assert bridge.pending() == 1
    bridge.close()
