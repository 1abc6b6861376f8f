"""Judging a source of events: whether an adapter says what the schema asks for, in its units, and in time."""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Callable, Iterator
from enum import StrEnum
from typing import NamedTuple

from ..radio import band, period
from ..radio.mode import TimedMode, is_known, timed
from ..schema.events import KINDS, MAX_NETWORK_DATAGRAM, AnyEvent, Contact, Event, Heard, Period, Sent, to_ms
from ..schema.wire import Decoded, Reason
from .counters import Counters

#: a hearing comes when its transmission is over, and at the latest so many periods behind its start
_LATEST_PERIODS = 2
#: periods whose hearings are remembered, to compare with the counts of the markers
_PERIODS = 64
_EXAMPLES = 3

#: what a field holds at most and at least on a station's bench: beyond it the unit is wrong. Common practice, no source
_PLAUSIBLE: dict[str, tuple[float, float]] = {
    "power_w": (0, 3000),
    "forward_w": (0, 3000),
    "power_set_w": (0, 3000),
    "swr": (1, 100),
    "alc_fraction": (0, 2),
    "supply_v": (0, 60),
    "supply_a": (-100, 100),
    "heatsink_c": (-40, 150),
    "clock_error_s": (-60, 60),
    "audio_dbfs": (-150, 0),
    "noise_dbfs_hz": (-200, 0),
    "filter_low_hz": (0, 6000),
    "filter_high_hz": (0, 20_000),
    "search_low_hz": (0, 6000),
    "search_high_hz": (0, 6000),
    "send_offset_hz": (0, 6000),
}

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
    """Watches one source, or all of them together, and says what its author should mend.

    ``since_ms`` says since when: of a period that was being told by then, nobody knows how many hearings came before.
    """

    def __init__(self, source: str | None = None, since_ms: int | None = None) -> None:
        self.kinds: Counter[str] = Counter(dict.fromkeys(KINDS, 0))
        self._source = source
        self._since_ms = since_ms
        self._first_seq: dict[tuple[str, str | None], int | None] = {}
        self._counters = Counters()
        self._given: set[tuple[str, str]] = set()
        self._heard: dict[tuple[str, int, str, int], int] = {}
        self._order: deque[tuple[str, int, str, int]] = deque()
        self._rules = {
            name: _Rule(name)
            for name in (
                "events are valid", "datagrams fit a network", "events are numbered", "modes are ADIF's",
                "dial frequencies lie in a band", "offsets and reports are plausible",
                "values fit their units", "texts are clean", "at is a period's start", "hearings come in time",
                "markers count right", "contacts ask for a receipt", "contacts end after they start",
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
        if len(self._first_seq) < _PERIODS:
            self._first_seq.setdefault((event.source, event.run), event.seq)
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
            self._note("contacts end after they start", event.ended_at >= event.started_at, f"contact {event.id}")

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
        for field, (least, most) in _PLAUSIBLE.items():
            value = getattr(event, field, None)
            if value is not None:
                told = f"{field} {value:g} in {event.kind}"
                self._note("values fit their units", least <= value <= most, told)
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
            in_time = _earliest_ms(mode, at_ms) <= arrived_ms <= at_ms + _LATEST_PERIODS * length_ms
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
        if came < event.count and self._came_late(event):
            return
        self._note("markers count right", event.count == came, f"{_time(event)} says {event.count}, {came} came")

    def _came_late(self, event: Period) -> bool:
        """Whether the period was being told before anybody listened."""
        mode = timed(event.mode)
        before = (self._first_seq.get((event.source, event.run)) or 0) > 1
        return (
            before
            and self._since_ms is not None
            and mode is not None
            and _earliest_ms(mode, to_ms(event.at)) < self._since_ms
        )


def _earliest_ms(mode: TimedMode, at_ms: int) -> int:
    """When a hearing of the period that starts at ``at_ms`` can come: a decoder's first pass may be an early one."""
    return at_ms + round((mode.start_s + mode.transmission_s - mode.period_s / 3) * 1000)


def _period(event: Heard | Period) -> tuple[str, int, str, int]:
    return (event.source, to_ms(event.at), event.mode, event.dial_hz)


def _time(event: Event) -> str:
    return f"{event.at:%H:%M:%S}.{event.at.microsecond // 1000:03d}"
