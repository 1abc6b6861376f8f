"""Sender and intake over a wire that loses, doubles and reorders: receipts and repeats make up for it.

The model is bookkeeping in plain sets: what the wire let through, and which receipts came back.
"""

from __future__ import annotations

import asyncio
import random
from datetime import UTC, datetime
from typing import Any

import pytest

from watchkeeper.intake.arrival import Arrival
from watchkeeper.intake.seal import Seal
from watchkeeper.intake.udp import UdpIntake
from watchkeeper.schema.events import Contact, Receipt
from watchkeeper.sender import Sender
from watchkeeper.sender.send import SendTo

AT = datetime(2026, 5, 1, 12, 0, tzinfo=UTC)
KEY = b"a key of the bench, 32 bytes ..."


class FaultyWire:
    """Wraps a socket's ``sendto``: each datagram is lost, doubled or held back, by a seeded chance."""

    def __init__(self, seed: int) -> None:
        self.lost = 0
        self._chance = random.Random(seed)
        self._held: list[bytes] = []

    def __call__(self, sendto: SendTo) -> SendTo:
        def send(datagram: bytes, address: Any) -> None:
            fate = self._chance.random()
            if fate < 0.3:
                self.lost += 1
            elif fate < 0.4:
                self._held.append(datagram)
            else:
                sendto(datagram, address)
                if fate < 0.5:
                    sendto(datagram, address)
            if self._held and self._chance.random() < 0.5:
                sendto(self._held.pop(), address)

        return send


class Log:
    """Keeps contacts by id, and answers only after it did; loses some of the answers as well."""

    def __init__(self, seed: int, key: bytes | None) -> None:
        self.kept: dict[str, str] = {}
        self.numbers: list[int] = []
        self._chance = random.Random(-seed - 1)
        self.intake = UdpIntake(
            asyncio.get_running_loop(),
            "127.0.0.1",
            0,
            self._take,
            lambda: round(AT.timestamp() * 1000),
            None if key is None else Seal(key),
        )

    def _take(self, arrivals: list[Arrival]) -> None:
        for arrival in arrivals:
            event = arrival.event
            assert event.seq is not None
            self.numbers.append(event.seq)
            if not isinstance(event, Contact):
                continue
            status = "repeated" if event.id in self.kept else "stored"
            self.kept[event.id] = event.call
            if self._chance.random() < 0.7:
                receipt = Receipt(v=1, source=event.source, of=event.id, status=status)
                self.intake.send_receipt(arrival.peer, receipt)


@pytest.mark.parametrize("key", [None, KEY], ids=["plain", "sealed"])
@pytest.mark.parametrize("seed", range(5))
async def test_every_contact_arrives_and_is_confirmed(seed: int, key: bytes | None) -> None:
    log = Log(seed, key)
    log.intake.start()
    wire = FaultyWire(seed)
    now = 0.0
    sender = Sender("bench", log.intake.address, key=key, wrap=wire, clock=lambda: AT.timestamp(), elapsed=lambda: now)
    for number in range(40):
        sender.send("heard", at=AT, mode="FT8", dial_hz=14_074_000, offset_hz=number, snr_db=-3, text="CQ DL5QRM")
        sender.send(
            "contact",
            id=f"c{number}",
            call=f"DL{number}QRM",
            started_at=AT,
            ended_at=AT,
            dial_hz=14_074_000,
            mode="FT8",
        )
    for _ in range(2000):
        await asyncio.sleep(0)
        now += 1.0
        sender.pump()
        if not sender.pending():
            break
    assert sender.pending() == []
    assert wire.lost > 0
    assert log.kept == {f"c{number}": f"DL{number}QRM" for number in range(40)}
    assert {receipt["of"] for receipt in sender.receipts} == set(log.kept)
    log.intake.stop()
    totals = log.intake.counters.as_dict()
    seen = set(log.numbers)
    # of what the wire doubled, contacts alone are handed on: the log answers each time
    assert len(log.numbers) <= totals["accepted"]
    assert totals["doubled"] == totals["accepted"] - len(seen) > 0
    # contacts came in the end, so hearings alone are missing; before the first that came nothing is known to be
    assert totals["lost"] == len(set(range(log.numbers[0], 81)) - seen) > 0
    sender.close()
