"""Judging a source of events: whether an adapter says what the schema asks for, in its units, and in time."""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Callable, Iterator
from enum import StrEnum
from typing import NamedTuple

from ..radio import band, period
from ..radio.mode import is_known, timed
from ..schema.events import KINDS, MAX_NETWORK_DATAGRAM, AnyEvent, Contact, Event, Heard, Period, Sent, to_ms
from ..schema.wire import Decoded, Reason
from .counters import Counters

#: a hearing comes when its transmission is over, and at the latest so many periods behind its start
_LATEST_PERIODS = 2
#: periods whose hearings are remembered, to compare with the counts of the markers
_PERIODS = 64
_EXAMPLES = 3

#: optional fields by kind, and what the watch cannot show without them
_WANTED: dict[tuple[str, str], str] = {
    ("heard", "late_s"): "clock errors",
    ("period", "listened_s"): "rates per period really listened to",
    ("period", "audio_dbfs"): "the audio level",
    ("period", "occupied"): "a band that is busy but not decoded",
    ("tuning", "filter_low_hz"): "a passband that is too narrow",
    ("tuning", "search_low_hz"): "a search that is too narrow",
    ("tuning", "send_parity"): "which stations can hear you",
    ("station", "locator"): "distances and directions",
    ("station", "power_w"): "the chance to be heard",
    ("contact", "report_sent"): "complete log entries",
    ("contact", "report_received"): "complete log entries",
    ("contact", "offset_hz"): "the exact frequency in the log",
    ("gauge", "sending"): "readings told apart by sending and receiving",
}
_KINDS_WANTED: dict[str, str] = {
    "station": "who operates, from where",
    "tuning": "the frequency before anything is heard",
    "heard": "everything: without hearings there is no watch",
    "period": "an early list, and empty periods",
    "sent": "what your exchanges still lack",
    "contact": "the log",
    "gauge": "the state of the transmitter and the supply",
}


class Verdict(StrEnum):
    """How a rule came out."""

    DONE = "done"
    FAILED = "failed"
    MISSING = "missing"  # nothing that breaks the schema, but the watch could do more with it


class Check(NamedTuple):
    """One rule and how it came out; ``why`` holds an example of what is wrong."""

    rule: str
    verdict: Verdict
    why: str = ""


class _Rule:
    """Counts how often a rule was kept and broken, and keeps the first examples."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._kept = 0
        self._broken = 0
        self._examples: list[str] = []

    def note(self, kept: bool, why: Callable[[], str]) -> None:
        if kept:
            self._kept += 1
            return
        self._broken += 1
        if len(self._examples) < _EXAMPLES:
            self._examples.append(why())

    def check(self) -> Iterator[Check]:
        """Nothing for a rule that never came to the test."""
        if self._broken:
            count = self._kept + self._broken
            yield Check(self._name, Verdict.FAILED, f"{self._broken} of {count}: " + "; ".join(self._examples))
        elif self._kept:
            yield Check(self._name, Verdict.DONE)


class SourceJudge:
    """Watches one source, or all of them together, and says what its author should mend."""

    def __init__(self, source: str | None = None) -> None:
        self.kinds: Counter[str] = Counter(dict.fromkeys(KINDS, 0))
        self._source = source
        self._counters = Counters()
        self._given: set[tuple[str, str]] = set()
        self._heard: dict[tuple[str, int, str, int], int] = {}
        self._order: deque[tuple[str, int, str, int]] = deque()
        self._rules = {
            name: _Rule(name)
            for name in (
                "events are valid", "datagrams fit a network", "events are numbered", "modes are ADIF's",
                "dial frequencies lie in a band", "offsets and reports are plausible", "texts are clean",
                "at is a period's start", "hearings come in time", "markers count right", "contacts ask for a receipt",
            )
        }  # fmt: skip

    def note(self, datagram: bytes, decoded: Decoded, arrived_ms: int) -> None:
        """Take in one datagram and what became of it."""
        events = [event for event in decoded.events if self._source in (None, event.source)]
        refusals = [refusal for refusal in decoded.refusals if self._source in (None, refusal.source)]
        self._counters.accept(events)
        self._counters.reject(refusals)
        for refusal in refusals:
            where = f" at {refusal.where}" if refusal.where else ""
            self._note(
                "events are valid", refusal.reason is Reason.UNKNOWN_KIND, f"{refusal.reason}{where}: {refusal.why}"
            )
        if events:
            self._note("datagrams fit a network", len(datagram) <= MAX_NETWORK_DATAGRAM, f"{len(datagram)} bytes")
        for event in events:
            self._event(event, arrived_ms)

    def checks(self) -> list[Check]:
        """All rules that came to the test, then what is missing for full function."""
        found = [check for rule in self._rules.values() for check in rule.check()]
        if self._counters.accepted:
            lost = self._counters.lost
            verdict = Verdict.FAILED if lost else Verdict.DONE
            found.append(Check("no number is missing", verdict, f"{lost} never came" if lost else ""))
        for kind, use in _KINDS_WANTED.items():
            if not self.kinds[kind]:
                found.append(Check(f"{kind} events", Verdict.MISSING, f"for {use}"))
        for (kind, field), use in _WANTED.items():
            if self.kinds[kind] and (kind, field) not in self._given:
                found.append(Check(f"{field} in {kind}", Verdict.MISSING, f"for {use}"))
        return found

    def _note(self, rule: str, kept: bool, why: str) -> None:
        self._rules[rule].note(kept, lambda: why)

    def _event(self, event: AnyEvent, arrived_ms: int) -> None:
        self.kinds[event.kind] += 1
        self._note("events are valid", True, "")
        self._note(
            "events are numbered", event.run is not None and event.seq is not None, f"{event.kind} without run or seq"
        )
        for kind, field in _WANTED:
            if kind == event.kind and getattr(event, field) not in (None, ()):
                self._given.add((kind, field))
        self._units(event)
        if isinstance(event, Heard | Period):
            self._timing(event, arrived_ms)
        if isinstance(event, Heard):
            self._count(event)
        elif isinstance(event, Period):
            self._marker(event)
        elif isinstance(event, Contact):
            self._note("contacts ask for a receipt", event.ack, f"contact {event.id} without ack")

    def _units(self, event: AnyEvent) -> None:
        mode, dial_hz = getattr(event, "mode", None), getattr(event, "dial_hz", None)
        if mode is not None:
            self._note("modes are ADIF's", is_known(mode), mode)
        if dial_hz is not None:
            self._note("dial frequencies lie in a band", band.of(dial_hz) is not None, f"{dial_hz} Hz in {event.kind}")
        if isinstance(event, Heard):
            plausible = 0 <= event.offset_hz <= 6000 and -40 <= event.snr_db <= 60 and abs(event.late_s or 0) <= 5
            told = f"offset {event.offset_hz:g} Hz, {event.snr_db:g} dB, late {event.late_s or 0:g} s"
            self._note("offsets and reports are plausible", plausible, told)
        if isinstance(event, Heard | Sent):
            clean = event.text == " ".join(event.text.split()) and event.text.isprintable()
            self._note("texts are clean", clean, repr(event.text))

    def _timing(self, event: Heard | Period, arrived_ms: int) -> None:
        mode = timed(event.mode)
        if mode is None:
            return
        at_ms, length_ms = to_ms(event.at), period.length_ms(event.mode)
        self._note("at is a period's start", at_ms % length_ms == 0, f"{event.kind} at {_time(event)}")
        if event.live and isinstance(event, Heard):
            earliest_ms = at_ms + round((mode.start_s + mode.transmission_s) * 1000) - length_ms // 3
            in_time = earliest_ms <= arrived_ms <= at_ms + _LATEST_PERIODS * length_ms
            late_s = (arrived_ms - at_ms) / 1000
            self._note("hearings come in time", in_time, f"at {_time(event)} came {late_s:.1f} s behind it")

    def _count(self, event: Heard) -> None:
        key = _period(event)
        if key not in self._heard:
            self._order.append(key)
            if len(self._order) > _PERIODS:
                del self._heard[self._order.popleft()]
        self._heard[key] = self._heard.get(key, 0) + 1

    def _marker(self, event: Period) -> None:
        came = self._heard.get(_period(event), 0)
        self._note("markers count right", event.count == came, f"{_time(event)} says {event.count}, {came} came")


def _period(event: Heard | Period) -> tuple[str, int, str, int]:
    return (event.source, to_ms(event.at), event.mode, event.dial_hz)


def _time(event: Event) -> str:
    return f"{event.at:%H:%M:%S}.{event.at.microsecond // 1000:03d}"
