"""The rehearsal's world without a socket: what its sources say, as entries of a watch, in the order of event time."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from typing import Any

import msgspec

from watchkeeper.rehearsal import faults, scenario
from watchkeeper.rehearsal.play import Order, Session
from watchkeeper.schema.events import AnyEvent, Contact, to_ms
from watchkeeper.testing import Bench

_decode = msgspec.json.Decoder(AnyEvent).decode


class Simulated:
    """One rehearsal, played period by period into a bench."""

    def __init__(self, bench: Bench, seed: int, spec: str | None = None, name: str = "evening-20m", **own: Any) -> None:
        found = scenario.load(name)
        wire, further = faults.parse(spec)
        found = msgspec.structs.replace(found, fault=further, own=msgspec.structs.replace(found.own, **own), change=())
        self._session = Session(
            Order(
                scenario=found,
                name=name,
                seed=seed,
                periods=100_000,
                pace=None,
                to=("127.0.0.1", 9),
                start_ms=to_ms(found.start),
                wire=wire,
            )
        )
        self._got: list[bytes] = []
        for outlet in self._session.outlets:
            outlet.wire.wrap(self._take)
        self._bench = bench

    def _take(self, body: bytes, _address: object) -> None:
        self._got.append(body)

    @property
    def session(self) -> Session:
        """The rehearsal's own state: the truth."""
        return self._session

    def periods(self, count: int) -> Iterator[int]:
        """Play so many periods; yields the number of each once the bench has had all its events."""
        try:
            for number in range(count):
                self._period()
                yield number
        finally:
            self._session.close()

    def _period(self) -> None:
        self._session.step()
        for outlet in self._session.outlets:
            outlet.wire.flush()
        for event in self._events():
            if not isinstance(event, Contact):
                self._bench.feed(event)
        self._got.clear()

    def _events(self) -> Sequence[Any]:
        return [_decode(json.dumps(one).encode()) for body in self._got for one in _many(body)]


def _many(body: bytes) -> list[Any]:
    told = json.loads(body)
    return told if isinstance(told, list) else [told]
