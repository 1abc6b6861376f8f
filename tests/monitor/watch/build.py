"""Builders of events and a watch in memory for the tests of this folder."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from watchkeeper.host.status import Rest, Resting
from watchkeeper.model import Contact, Hail, Hearing, Own, Period
from watchkeeper.schema import events
from watchkeeper.store.worked import WorkedIndex
from watchkeeper.view import AnyView, Urgency
from watchkeeper.watch.journal import Chunk
from watchkeeper.watch.pipeline import Watch
from watchkeeper.watch.rules import Rules

START = events.to_ms(datetime(2026, 5, 1, 18, 0, tzinfo=UTC))
OWN = Own(call="DL5QRM", locator="JO62qm", power_w=10.0)


def heard(text: str, period: int = 0, **more: Any) -> events.Heard:
    """A hearing in the ``period``-th 15 s period of the session on 20 m."""
    fields: dict[str, Any] = {
        "source": "sim",
        "mode": "FT8",
        "dial_hz": 14_074_000,
        "offset_hz": 1500.0,
        "snr_db": -10.0,
    }
    fields.update(more)
    return events.Heard(v=1, at=events.from_ms(START + period * 15_000), text=text, **fields)


def marker(count: int, period: int = 0, **more: Any) -> events.Period:
    """A period marker of the same source."""
    fields: dict[str, Any] = {"source": "sim", "mode": "FT8", "dial_hz": 14_074_000}
    fields.update(more)
    return events.Period(v=1, at=events.from_ms(START + period * 15_000), count=count, **fields)


def sent(text: str, period: int, **more: Any) -> events.Sent:
    """One own transmission."""
    fields: dict[str, Any] = {"source": "sim", "mode": "FT8", "dial_hz": 14_074_000, "offset_hz": 1500.0}
    fields.update(more)
    return events.Sent(v=1, at=events.from_ms(START + period * 15_000), text=text, **fields)


def contact(call: str, identity: str = "c-1", period: int = 8, **more: Any) -> events.Contact:
    """A finished contact."""
    at = events.from_ms(START + period * 15_000)
    fields: dict[str, Any] = {"source": "sim", "mode": "FT8", "dial_hz": 14_074_000, "offset_hz": 1500.0}
    fields.update(started_at=events.from_ms(START), ended_at=at)
    fields.update(more)
    return events.Contact(v=1, at=at, id=identity, call=call, **fields)


class Recorder:
    """Stands in for the plugin host: remembers what the watch told it, and hails every station that calls us."""

    def __init__(self, watch: Watch) -> None:
        self.watch = watch
        self.annotated: list[str] = []
        self.bursts: list[list[str]] = []
        self.closed: list[tuple[int, list[str]]] = []
        self.logged: list[Contact] = []
        self.events: list[events.Event] = []

    def annotate(self, hearing: Hearing) -> None:
        self.annotated.append(hearing.text)

    def burst_judged(self, period: Period) -> None:
        self.bursts.append([hearing.text for hearing in period.fresh])
        for hearing in period.fresh:
            if hearing.to_me:
                self.watch.hail("test", Hail(
                    key=f"calls-me|{hearing.call}", urgency=Urgency.URGENT, sentence=f"{hearing.call} calls you",
                    rule="calls me", at_ms=self.watch.now_ms, call=hearing.call,
                ))  # fmt: skip

    def period_closed(self, period: Period) -> None:
        self.closed.append((period.start_ms, [hearing.text for hearing in period.hearings]))

    def contact_logged(self, contact: Contact) -> None:
        self.logged.append(contact)

    def event_seen(self, event: events.Event) -> None:
        self.events.append(event)

    def views(self) -> Sequence[AnyView]:
        return ()

    def rested(self) -> tuple[Resting, ...]:
        return ()

    def apply(self, rest: Rest) -> None:
        raise AssertionError(rest)


class Bench:
    """A watch with a recorder, fed in journal time."""

    def __init__(self, own: Own = OWN, rules: Rules | None = None) -> None:
        self.watch = Watch(rules or Rules(), own, WorkedIndex())
        self.seen = Recorder(self.watch)
        self.watch.attach(self.seen)
        self.chunk = Chunk()
        self.t = START + 3_600_000  # a recording: the journal's time has nothing to do with the events'

    def feed(self, *items: Any, after_ms: int = 1) -> None:
        """Feed events, each ``after_ms`` of journal time after the one before."""
        for item in items:
            self.t += after_ms
            self.watch.feed(self.chunk.number(self.t, event=item))

    def tick(self, after_ms: int) -> None:
        """Let journal time pass."""
        self.t += after_ms
        self.watch.feed(self.chunk.number(self.t))
