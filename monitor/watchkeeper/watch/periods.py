"""Periods and bursts: when to judge, and when a period is closed.

A *stream* is one receiver of one source on one dial frequency in one mode. Its hearings come in bursts. A source that
sends ``period`` markers says itself where a burst ends and how many hearings there were; for any other, 200 ms of
silence does. Both are measured in the journal's own time, so a replay judges at the same places.
"""

from __future__ import annotations

from collections import OrderedDict, deque
from collections.abc import Iterable, Iterator

from ..model import Period
from ..radio import band
from ..schema import events
from .clock import period_ms

#: a source that sends markers is judged by them; silence is only for a marker that was lost
SILENCE_WITH_MARKERS_MS = 1500
#: an ``at`` this near to the time of arrival is a source that works in real time
REAL_TIME_MS = 60_000
KEPT_PERIODS = 4
#: this many periods back, a source has set its clock and is not late
STEP_PERIODS = 8
MAX_STREAMS = 64

StreamKey = tuple[str, str | None, str, int]


class Stream:
    """One receiver on one dial frequency: its period now, and what has come of it."""

    def __init__(self, event: events.Heard | events.Period) -> None:
        self.source = event.source
        self.mode = event.mode
        self.dial_hz = event.dial_hz
        self.band = band.of(event.dial_hz)
        self.length_ms = period_ms(event.mode)
        self.marked = False
        self.current: Period | None = None
        self.received = 0
        self.expected: int | None = None
        self.final = False
        self.last_t = 0
        self.past: deque[Period] = deque(maxlen=KEPT_PERIODS)

    def open(self, start_ms: int, t: int) -> Period:
        """Begin the period that starts at ``start_ms``."""
        self.current = self.period(start_ms)
        self.received = 0
        self.expected = None
        self.final = False
        self.last_t = t
        return self.current

    def period(self, start_ms: int, *, closed: bool = False) -> Period:
        """A period of this stream."""
        return Period(
            source=self.source,
            mode=self.mode,
            band=self.band,
            dial_hz=self.dial_hz,
            start_ms=start_ms,
            length_ms=self.length_ms,
            parity=start_ms // self.length_ms % 2,
            closed=closed,
        )

    def all_in(self) -> bool:
        """Whether all hearings that the last marker counted have arrived."""
        return self.expected is not None and self.received >= self.expected

    def unjudged(self) -> Iterator[Period]:
        """The periods with hearings that no judgement has seen, the oldest first."""
        for period in self.past:
            if period.fresh:
                yield period
        if self.current is not None and self.current.fresh:
            yield self.current

    def close(self) -> Period | None:
        """End the current period; None where there is none."""
        period, self.current = self.current, None
        if period is not None:
            period.closed = True
            self.past.append(period)
        return period


class PeriodBook:
    """All streams. Its methods return what is due *now* as (period, closes) pairs, in order."""

    def __init__(self, silence_ms: int, grace_ms: int) -> None:
        self._silence_ms = silence_ms
        self._grace_ms = grace_ms
        self._streams: OrderedDict[StreamKey, Stream] = OrderedDict()

    def obey(self, silence_ms: int, grace_ms: int) -> None:
        """Wait so long from now on."""
        self._silence_ms = silence_ms
        self._grace_ms = grace_ms

    @property
    def newest(self) -> Period | None:
        """The period that began last, open or closed."""
        found = [s.current or (s.past[-1] if s.past else None) for s in self._streams.values()]
        return max((p for p in found if p is not None), key=lambda p: p.start_ms, default=None)

    def stream(self, event: events.Heard | events.Period) -> Stream:
        """The stream of ``event``; the one that has been silent longest makes room."""
        key = (event.source, event.receiver, event.mode, event.dial_hz)
        stream = self._streams.get(key)
        if stream is None:
            stream = self._streams[key] = Stream(event)
            if len(self._streams) > MAX_STREAMS:
                self._streams.popitem(last=False)
        else:
            self._streams.move_to_end(key)
        return stream

    def place(self, stream: Stream, start_ms: int, t: int) -> tuple[Period, Period | None]:
        """(the period that starts at ``start_ms``, the one that ends because it begins or None)."""
        current = stream.current
        if current is not None and current.start_ms == start_ms:
            stream.last_t = t
            return current, None
        newest = current or (stream.past[-1] if stream.past else None)
        if newest is not None and newest.start_ms - STEP_PERIODS * stream.length_ms < start_ms <= newest.start_ms:
            stream.last_t = t
            return self._past(stream, start_ms), None
        ended = stream.close()
        return stream.open(start_ms, t), ended

    @staticmethod
    def _past(stream: Stream, start_ms: int) -> Period:
        for period in reversed(stream.past):
            if period.start_ms == start_ms:
                return period
        late = stream.period(start_ms, closed=True)
        # stands before the newer ones: the newest must remain last
        stream.past.appendleft(late)
        return late

    def after_heard(self, stream: Stream, period: Period) -> Iterable[tuple[Period, bool]]:
        """What one more hearing makes due: a marker that came before it waits for its count."""
        if period is not stream.current:
            return ()
        stream.received += 1
        return self._judge(stream) if stream.all_in() else ()

    def marked(self, stream: Stream, period: Period, event: events.Period) -> Iterator[tuple[Period, bool]]:
        """What a marker makes due."""
        stream.marked = True
        for field in ("listened_s", "audio_dbfs", "noise_dbfs_hz", "occupied"):
            value = getattr(event, field)
            if value is not None:
                setattr(period, field, value)
        if period is not stream.current:
            if period.fresh:
                yield period, False
            return
        stream.expected = max(event.count, stream.expected or 0)
        stream.final = stream.final or event.final
        if stream.all_in():
            yield from self._judge(stream)

    @staticmethod
    def _judge(stream: Stream) -> Iterator[tuple[Period, bool]]:
        closes = stream.final
        stream.expected = None
        for period in list(stream.unjudged()):
            if period is not stream.current or not closes:
                yield period, False
        if closes:
            ended = stream.close()
            assert ended is not None
            yield ended, True

    def due(self, t: int) -> Iterator[tuple[Period, bool]]:
        """What silence or the end of a grace makes due at the journal's time ``t``."""
        soonest_ms = min(self._silence_ms, SILENCE_WITH_MARKERS_MS, self._grace_ms)
        for stream in list(self._streams.values()):
            if t < stream.last_t + soonest_ms:
                continue  # the usual case while hearings come in
            if t >= self._silence_due(stream):
                for period in list(stream.unjudged()):
                    yield period, False
            if stream.current is not None and t >= self._grace_due(stream, stream.current):
                ended = stream.close()
                assert ended is not None
                yield ended, True

    def overtaken(self, now_ms: int) -> Iterator[tuple[Period, bool]]:
        """What the event clock at ``now_ms`` has left behind: other streams are well into a later period."""
        for stream in list(self._streams.values()):
            if stream.current is not None and stream.current.end_ms + self._grace_ms <= now_ms:
                ended = stream.close()
                assert ended is not None
                yield ended, True

    def next_due(self) -> int | None:
        """The journal time at which :meth:`due` has something next; None while nothing waits."""
        waiting = []
        for stream in self._streams.values():
            if any(True for _ in stream.unjudged()):
                waiting.append(self._silence_due(stream))
            if stream.current is not None:
                waiting.append(self._grace_due(stream, stream.current))
        return min(waiting, default=None)

    def _silence_due(self, stream: Stream) -> int:
        return stream.last_t + (SILENCE_WITH_MARKERS_MS if stream.marked else self._silence_ms)

    def _grace_due(self, stream: Stream, period: Period) -> int:
        if abs(stream.last_t - period.end_ms) < REAL_TIME_MS:
            return max(period.end_ms + self._grace_ms, stream.last_t + self._silence_ms)
        return stream.last_t + self._grace_ms
